"""The target of a job: typed, pasted, a file, a photograph, a panel, an aged finish."""

from __future__ import annotations

import datetime as dt
from types import SimpleNamespace

import pytest

from matchlib.domain import Reading, Viewing
from matchlib.errors import MatchlibError
from tests.pages.jobs import begun, press, sprayed
from workbook.jobs.app import JobsScreen
from workbook.jobs.target import of_text
from workbook.page import Press


@pytest.mark.parametrize(
    "typed",
    [
        *("27.1 45.9 28.5", "27,1 45,9 28,5", "27,1; 45,9; 28,5", "L* 27.1, a* 45.9, b* 28.5"),
        *(
            "27.1,45.9,28.5",
            "CIE L*a*b* 27.1 45.9 28.5",
            "L=27.1 a=45.9 b=28.5",
            "27.1\t45.9\t28.5",
        ),
        *("L: 27.1 a: 45.9 b: 28.5", "L* = 27,1 a* = 45,9 b* = 28,5", "L*a*b*: 27.1 45.9 28.5"),
        "45:0 = L: 27.1 a: 45.9 b: 28.5",
    ],
)
def test_a_target_is_read_as_people_write_it(screen: JobsScreen, typed: str) -> None:
    (reading,) = of_text(typed, screen.session)
    assert reading.lab == (27.1, 45.9, 28.5)


def test_several_places_of_an_aged_finish_are_shown_before_they_are_kept(
    screen: JobsScreen,
) -> None:
    press(screen, "new")
    places = "27 45 28\n28 46 29\n26 44.5 27"
    assert "27.0 45.2 28.0" in press(screen, "look", lab=places)
    press(screen, "begin", lab=places, name="hood")
    assert "27.0 45.2 28.0" in press(screen, "step", "target")


def test_a_target_may_be_a_panel_or_angles_and_nothing_else(screen: JobsScreen) -> None:
    (own,) = of_text("t041", screen.session)
    assert own.lab == pytest.approx((41.175, -13.91, -48.785), abs=0.01)
    several = of_text("45as15: 60 10 5\n45as45: 40 20 10", screen.session)
    assert [r.viewing.geometry for r in several] == ["45as15", "45as45"]
    for wrong in ("", "27 45", "green", "27 45 28 9", "500 0 0", "nan 1 2"):
        with pytest.raises(MatchlibError):
            of_text(wrong, screen.session)


def test_what_is_typed_is_harmless(screen: JobsScreen) -> None:
    begun(screen, name="<script>alert(1)</script>")
    assert "<script" not in screen.draw()
    press(screen, "jobs")
    assert "<script" not in screen.draw()


def test_a_card_of_the_library_begins_a_job(screen: JobsScreen) -> None:
    screen.address = {"panel": "T041"}
    screen.press(Press("open"))
    assert screen.address["job"] == "new"


def test_a_target_needs_what_passes_and_weights_that_suit_it(screen: JobsScreen) -> None:
    press(screen, "new")
    two = "45as15: 60 10 5\n45as45: 40 20 10"
    wrong = (
        {"passes": "1 2"},
        {"passes": "one"},
        {"kind": "box", "passes": "1"},
        {"weights": "1 2 3"},
        {"weights": "1 -2"},
        {"weights": "much"},
        {"lab": "5 90 90", "weights": ""},
    )
    for fields in wrong:
        with pytest.raises(MatchlibError):
            screen.press(Press("begin", "", {"lab": two, "passes": "1", **fields}))
    assert screen.session.archive.jobs() == ()
    fields = {"lab": two, "kind": "box", "passes": "1 2,5 3", "weights": "2 1", "name": " ring "}
    screen.press(Press("begin", "", {**fields, "due": "2027-03-01", "notes": "by hand"}))
    (job,) = screen.session.archive.jobs()
    assert (job.name, job.due, job.notes) == ("ring", dt.date(2027, 3, 1), "by hand")
    assert (job.tolerance.box, job.weights) == ((1.0, 2.5, 3.0), (2.0, 1.0))
    at = {"version": str(job.version), "name": "", "customer": "Ann", "due": "2027-04-01"}
    screen.press(Press("words", "", {**at, "lab": "1 2 3"}))
    now = screen.job.job
    assert (now.name, now.customer, now.due) == ("ring", "Ann", dt.date(2027, 4, 1))
    assert now.target == job.target, "another target is another job"


def test_a_minus_of_a_word_processor_is_a_minus(screen: JobsScreen) -> None:
    (reading,) = of_text("40 −9,5 -40", screen.session)
    assert reading.lab == (40.0, -9.5, -40.0)


def test_a_file_is_the_sample_or_the_card_in_hand(screen: JobsScreen) -> None:
    sample = b"panel,L,a,b,illuminant,observer,geometry\nx,27.1,45.9,28.5,D65,10,45:0\n"
    press(screen, "new")
    screen.press(Press("file", "sample.csv", {"passes": "1"}, sample))
    assert screen.job.job.target[0].lab == (27.1, 45.9, 28.5)
    sprayed(screen)
    screen.press(Press("file", "card.csv", {}, sample))
    assert len(screen.session.archive.jobs()) == 1
    assert screen.job.panel.readings[0].lab == (27.1, 45.9, 28.5)


def test_an_aged_finish_is_typed_place_by_place(screen: JobsScreen) -> None:
    press(screen, "new")
    press(
        screen,
        "begin",
        lab="27.1 45.9 28.5\n26.5 45.0 28.0\n27.9 46.4 29.3",
        name="old door",
        passes="1",
    )
    job = screen.job.job
    (target,) = job.target
    assert target.lab == pytest.approx((27.1667, 45.7667, 28.6), abs=1e-3)
    assert job.tolerance.value > 1.0, "the finish's own spread passes"
    assert "3 places of the finish" in job.notes
    press(screen, "new")
    with pytest.raises(MatchlibError, match="several places"):
        press(screen, "begin", lab="27.1 45.9 28.5\n26.5 45.0 28.0", name="two", passes="1")


def test_a_photograph_is_a_target_and_a_reading_and_its_picture_is_kept(
    screen: JobsScreen,
) -> None:
    seen = Reading(Viewing(geometry="photo"), "photo", (28.0, 45.0, 29.0), sd=2.0)
    found = SimpleNamespace(reading=SimpleNamespace(reading=seen), picture=b"small JPEG")
    press(screen, "new")
    fields = {"name": "by phone", "passes": "1"}
    screen.use_photo(found, Press("photo_use", "", fields))
    assert screen.job.job.target == (seen,)
    sprayed(screen)
    press(screen, "step", "read")
    screen.use_photo(found, Press("photo_use"))
    card = screen.job.panel
    (reading,) = card.stages[-1].readings
    assert (reading.source, reading.lab) == ("photo", seen.lab)
    (kept,) = screen.session.archive.attachments(card.code)
    assert reading.picture == kept.name
