"""Cancel ends the thread that computes, wherever a panel computes long, and nothing was changed."""

from __future__ import annotations

import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from matchlib.archive import Archive
from matchlib.demo import demo_panels
from matchlib.domain import Reading
from matchlib.regression import FilmRegressor
from matchlib.suggest import Target
from workbook.archive_view import ArchiveView, open_view
from workbook.desk import LongWork
from workbook.session import Session

LONG = 120.0
"""Generous: no test here is of time [s]."""


def fill(place: Path) -> Path:
    """One colour of the demonstration and the bare grounds."""
    with Archive.open(place, create=True) as archive:
        archive.add(
            [p for p in demo_panels() if p.recipe.bare or p.recipe.colour.names == ("violet",)],
            file="panels.csv",
            who="test",
        )
    return place


@pytest.fixture(scope="module")
def view(tmp_path_factory: pytest.TempPathFactory) -> Iterator[ArchiveView]:
    opened = open_view(str(fill(tmp_path_factory.mktemp("shop") / "panels.db")))
    assert opened.desk is not None, opened.trouble
    opened.opening()
    for name in ("findings", "repeatability", "accuracy", "next_panels"):
        getattr(opened, name)()
    opened.desk.fitting.join(LONG)
    assert opened.desk.model is not None, opened.desk.fitting.said.html
    yield opened
    opened.desk.session.close()


def cancel_when_it_moves(work: LongWork) -> list[float]:
    """Press Cancel as soon as the bar shows a share; returns the shares shown."""
    shown: list[float] = []

    def moved(change: Any) -> None:
        if change["new"] is not None:
            shown.append(change["new"])
            work.bar.cancel()

    work.bar.observe(moved, "value")
    return shown


@pytest.mark.parametrize("name", ["findings", "repeatability", "accuracy", "next_panels"])
def test_cancel_ends_the_thread_and_changes_nothing(
    view: ArchiveView, name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("workbook.desk.task._TOLD_EVERY", 0.0)  # every step is to be seen
    panel = view.panels[name]
    archive = view.desk.session.archive
    before = archive.content_hash(), len(archive.history()), panel.shown.html
    shown = cancel_when_it_moves(panel.work)
    panel.start()
    thread = panel.work.thread
    panel.work.join(LONG)
    panel.work.bar.unobserve_all("value")
    assert thread is not None
    assert not thread.is_alive()
    assert len(shown) == 1, "it goes no step further"
    assert panel.work.bar.text == "Stopped; nothing was changed."
    assert not panel.work.bar.running
    assert (archive.content_hash(), len(archive.history()), panel.shown.html) == before

    panel.start()
    panel.work.join(LONG)
    assert panel.work.said.html == ""
    assert panel.shown.html != before[2]


def test_a_cancelled_fit_is_kept_nowhere_and_can_be_begun_again(tmp_path: Path) -> None:
    place = fill(tmp_path / "panels.db")
    opened = open_view(str(place))
    assert opened.desk is not None
    desk, heard = opened.desk, []
    desk.on_model(heard.append)
    shown = cancel_when_it_moves(desk.fitting)
    opened.opening()
    desk.fitting.join(LONG)
    desk.fitting.bar.unobserve_all("value")
    assert not desk.fitting.busy
    assert len(shown) == 1
    assert "Stopped" in desk.fitting.bar.text
    assert desk.model is None
    assert not heard
    assert not list(tmp_path.glob("*.fit.npz")), "no half-fitted model is kept"
    assert desk.fitting.again.layout.display is None, "and a button to begin again is there"

    desk.fitting.again.press("go")
    desk.fitting.join(LONG)
    assert desk.fitting.said.html == ""
    assert desk.fitting.again.layout.display == "none"
    assert heard == [desk.model]
    assert (tmp_path / "panels.db.fit.npz").is_file()
    desk.session.close()


def test_cancel_is_heard_while_another_fit_is_waited_for(view: ArchiveView) -> None:
    panel, desk = view.panels["next_panels"], view.desk
    waits = threading.Event()
    panel.work.bar.observe(lambda c: waits.set() if "Waiting" in c["new"] else None, "text")
    with desk._lock:
        panel.start()
        assert waits.wait(LONG)
        panel.work.bar.cancel()
        panel.work.join(LONG)
        assert not panel.work.busy
    panel.work.bar.unobserve_all("text")
    assert "Stopped" in panel.work.bar.text


def test_the_bar_moves_on_through_what_is_left(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("workbook.desk.task._TOLD_EVERY", 0.0)
    work, shown = LongWork("Counting"), []
    work.bar.observe(lambda c: shown.append((c["new"], work.bar.text)), "value")

    def count() -> None:
        work.step(0.6, "first")
        work.step(None, "nobody can tell")
        rest = work.rest()
        rest(0.5, "second")
        work.rest()(1.0, "third")

    work.start("counting", count)
    work.join(LONG)
    assert [share for share, _ in shown] == [0.6, None, pytest.approx(0.8), 1.0]
    assert work.said.html == ""


def test_leaving_while_it_fits_does_not_hang(tmp_path: Path) -> None:
    place = fill(tmp_path / "panels.db")
    code = (
        "import sys, threading\n"
        "from workbook.archive_view import open_view\n"
        "view = open_view(sys.argv[1])\n"
        "moving = threading.Event()\n"
        "view.desk.fitting.bar.observe(lambda _: moving.set(), 'value')\n"
        "view.opening()\n"
        f"assert moving.wait({LONG})\n"
        "assert view.desk.fitting.busy\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(place)], timeout=LONG, capture_output=True, check=False
    )
    assert done.returncode == 0, done.stderr.decode()
    assert not list(tmp_path.glob("*.fit.npz"))


def test_a_fit_from_before_the_tried_panels_came_in_serves(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    fits: list[int] = []
    fit = FilmRegressor.fit

    def counted(self: FilmRegressor, X: Any, *args: Any, **more: Any) -> FilmRegressor:
        fits.append(len(X))
        return fit(self, X, *args, **more)

    monkeypatch.setattr(FilmRegressor, "fit", counted)
    place = fill(tmp_path / "panels.db")
    target = Target.of_readings(Reading(lab=(22.0, 30.0, -34.0)))
    with Session.open(place) as session:
        old = next(p for p in session.archive.panels() if not p.recipe.bare)
        session.fit()
        assert len(fits) == 1
        tried = type(old).of("TRIED 1", old.recipe, (Reading(lab=(25.0, 28.0, -30.0)),))
        session.archive.add([tried], file="bench", who="test")
        first = session.correct(target, codes=["TRIED 1"])
        assert len(fits) == 1, "what was fitted before it came in knows nothing of it"
        session.fit()
        assert len(fits) == 2, "the archive has a panel more"
        again = session.correct(target, codes=[" TRIED  1"])
        assert len(fits) == 3
        assert fits[2] == fits[0]
        session.correct(target, codes=["TRIED 1"])
        session.next_panels(target, codes=["TRIED 1"])
        assert len(fits) == 3, "and the fit without it is kept"
        session.archive.amend(old.code, readings=(Reading(lab=(30.0, 30.0, -30.0)),))
        session.correct(target, codes=["TRIED 1"])
        assert len(fits) == 4, "another archive's fit never answers"
    assert first.words == again.words
    with Session.open(place) as session:
        session.correct(target, codes=["TRIED 1"])
        assert len(fits) == 4
