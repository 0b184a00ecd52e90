"""A customer's job: kept, found, changed by one at a time, closed."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import pytest

from matchlib.archive import Archive, export_bundle, import_bundle
from matchlib.colorimetry import Tolerance
from matchlib.domain import CoatSchedule, Colour, Ground, Reading, Recipe, Viewing
from matchlib.errors import ArchiveError, DomainError
from matchlib.job import Job, Plan
from matchlib.mixing import CoatUse, JobArea, Limits, TransferRange
from tests.faults.making import panels

RECIPE = Recipe(Ground.parse("silver"), Colour.parse("teal"), CoatSchedule.of(4, "6:1"))
TARGET = (Reading(lab=(50.1, -20.25, -10.0)),)
FULL = Job(
    "tank, teal over silver",
    "Customer Seven",
    dt.date(2027, 4, 1),
    (*TARGET, Reading(Viewing(geometry="45as15"), lab=(80.0, -25.0, -12.5))),
    (2.0, 1.0),
    Tolerance("CMC", 0.8, 2.0, 1.0),
    Limits(
        grounds=("silver", "graphite"),
        min_ratio="10:1",
        stock={"teal": 120.0},
        area=JobArea.flat(2.0),
        use=CoatUse.of_film(
            10.0, volume_solids=0.4, transfer=TransferRange.of_surface(small=False)
        ),
    ),
    Plan(RECIPE, "P1", (2, 4)),
    ("P1", "P2"),
    "spray",
    "the rear fender too",
)


def test_a_job_comes_back_as_it_was_kept(place: str) -> None:
    with Archive.open(place, create=True) as archive:
        archive.add(panels(1, 4))
        kept = archive.keep_job(FULL, who="Ines")
        assert (kept.number, kept.version) == (1, 1)
        assert replace(kept, number=0, version=0) == FULL
    with Archive.open(place) as archive:
        assert archive.job(1) == kept
        change = archive.history()[-1]
        assert (change.action, change.who, change.subject) == ("job begun", "Ines", "job 1")
        assert archive.check() == ()


def test_jobs_are_found_by_customer_and_by_whether_they_are_done(place: str) -> None:
    with Archive.open(place, create=True) as archive:
        one = archive.keep_job(Job("one", "ÅSA Kvist"))
        two = archive.keep_job(Job("two", "Bo 100%"))
        assert archive.jobs() == (two, one)
        assert archive.jobs(customer="åsa") == (one,)
        assert archive.jobs(customer="%") == (two,)
        done = archive.keep_job(replace(one, state="done", outcome="matched"))
        assert archive.jobs(done=True) == (done,)
        assert archive.jobs(done=False) == (two,)
        again = archive.keep_job(replace(done, state="read", outcome=""))
        assert archive.jobs(done=False) == (two, again)


def test_a_change_on_a_stale_job_is_refused_and_nothing_is_lost(place: str) -> None:
    with Archive.open(place, create=True) as archive, Archive.open(place) as other:
        number = archive.keep_job(Job("one")).number
        mine, theirs = archive.job(number), other.job(number)
        changed = other.keep_job(replace(theirs, notes="theirs"))
        with pytest.raises(ArchiveError, match="changed elsewhere"):
            archive.keep_job(replace(mine, notes="mine"))
        assert archive.job(number) == changed
        assert changed.notes == "theirs"
        assert other.keep_job(changed) == changed, "a job kept unchanged counts as a change"


def test_a_change_of_a_job_can_be_undone(place: str) -> None:
    with Archive.open(place, create=True) as archive:
        first = archive.keep_job(Job("one", target=TARGET))
        second = archive.keep_job(replace(first, plan=Plan(RECIPE), state="spray"))
        number = archive.history()[-1].number
        archive.undo(number)
        back = archive.job(first.number)
        assert replace(back, version=0) == replace(first, version=0)
        assert back.version == second.version + 1
        with pytest.raises(ArchiveError, match="changed again"):
            archive.undo(number)
        gone = archive.undo(1)
        assert (archive.jobs(), archive.check()) == ((), ())
        archive.undo(gone)
        again = archive.job(first.number)
        assert replace(again, version=0) == replace(first, version=0)
        with pytest.raises(ArchiveError, match="changed elsewhere"):
            archive.keep_job(replace(back, notes="seen before it went"))
        assert archive.check() == ()


def test_a_job_of_a_panel_or_number_that_is_not_there_is_refused(place: str) -> None:
    with Archive.open(place, create=True) as archive:
        with pytest.raises(ArchiveError, match="P1, P2"):
            archive.keep_job(FULL)
        with pytest.raises(ArchiveError, match="no job"):
            archive.job(1)
        assert archive.jobs() == ()


def test_a_backup_holds_the_jobs(place: str, tmp_path) -> None:
    with (
        Archive.open(place, create=True) as archive,
        Archive.open(tmp_path / "other.db", create=True) as other,
    ):
        archive.add(panels(1, 4))
        archive.keep_job(FULL)
        import_bundle(export_bundle(archive, tmp_path / "all.zip", customers=True), other)
        assert other.jobs() == archive.jobs()


@pytest.mark.parametrize(
    "wrong",
    [
        {"name": ""},
        {"state": "painted"},
        {"state": "done"},
        {"outcome": "matched"},
        {"state": "done", "outcome": "given up"},
        {"target": (*TARGET, *TARGET)},
        {"target": TARGET, "weights": (1.0, 2.0)},
        {"target": TARGET, "weights": (0.0,)},
        {"plan": Plan(RECIPE)},
    ],
)
def test_what_is_no_job_is_refused(wrong: dict) -> None:
    with pytest.raises(DomainError):
        Job(**{"name": "one", **wrong})


def test_a_plan_reads_after_coats_that_it_has() -> None:
    assert Plan(RECIPE, read_after=(3, 2, 3)).read_after == (2, 3)
    with pytest.raises(DomainError, match="1 to 4"):
        Plan(RECIPE, read_after=(5,))


def test_a_job_goes_its_way_and_keeps_its_target() -> None:
    job = Job("one")
    assert job.state == "target"
    job = job.aimed(TARGET)
    assert job.state == "recipe"
    assert job.aimed(TARGET) == job
    with pytest.raises(DomainError, match="a new job"):
        job.aimed((Reading(lab=(1.0, 2.0, 3.0)),))
    job = job.planned(Plan(RECIPE))
    assert job.state == "spray"
    assert job.planned(None).state == "recipe"
    job = job.sprayed("P1").sprayed("P1")
    assert (job.state, job.panels) == ("read", ("P1",))
    done = job.closed("given up", "the customer took another colour")
    assert not done.open
    assert done.reopened() == job
    with pytest.raises(DomainError, match="reason"):
        job.closed("given up")


def test_a_job_being_sprayed_stays_so_whatever_else_is_said_of_it() -> None:
    job = Job("one").aimed(TARGET).sprayed("P1").planned(Plan(RECIPE, "P2"))
    on = replace(job, panels=("P1", "P2"))
    assert on.aimed(TARGET, Tolerance(value=2.0)).state == "spray"
    assert on.without("P1").state == "spray"
    assert on.without("P2").state == "read", "its plan went with its card"
    given_up = on.closed("given up", "late")
    assert given_up.reopened("spray") == on
    assert given_up.reopened("read").state == "read"
