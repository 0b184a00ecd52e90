"""The panels of the archive, pressed from Python: what they show, change and undo."""

from __future__ import annotations

import re
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from matchlib.archive import Archive
from matchlib.demo import DEMO_WRONG_BACKS, demo_panels
from matchlib.errors import ArchiveError
from matchlib.tails import chance_words
from workbook.archive_view import ArchiveView, open_view
from workbook.desk import UNFORESEEN, Desk, LongWork, Said


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two colours of the demonstration; two of its wrong backs among them."""
    place = tmp_path_factory.mktemp("shop") / "panels.db"
    names = {"violet", "lagoon"}
    with Archive.open(place, create=True) as archive:
        archive.add(
            [
                p
                for p in demo_panels()
                if p.recipe.colour is None or set(p.recipe.colour.names) <= names
            ],
            file="panels.csv",
            who="test",
        )
    return place


@pytest.fixture(scope="module")
def view(shop: Path) -> Iterator[ArchiveView]:
    opened = open_view(str(shop))
    assert opened.desk is not None, opened.trouble
    opened.opening()
    for name in ("coverage", "reach", "drift", "findings", "repeatability", "next_panels", "why"):
        getattr(opened, name)()
    opened.history()
    opened.desk.fitting.join(60)
    assert opened.desk.model is not None, opened.desk.fitting.said.html
    yield opened
    opened.desk.session.close()


def plain(html: str) -> str:
    return re.sub(r"<[^>]+>", " ", html)


def test_coverage_shows_counts_and_what_was_never_sprayed(view: ArchiveView) -> None:
    panel = view.panels["coverage"]
    assert "violet over black" in panel.shown.html
    assert "never" in panel.shown.html
    whole = panel.shown.html
    panel.colour.value = "lagoon"
    assert panel.shown.html != whole
    panel.colour.value = panel.colour.options[0]
    assert panel.shown.html == whole


def test_reach_names_its_axes_and_follows_the_choice(view: ArchiveView) -> None:
    panel = view.panels["reach"]
    for words in ("a* (green", "b* (blue", "chroma C*", "lightness L*", "How far each colour goes"):
        assert words in panel.shown.html
    assert 'scope="row">lagoon' in panel.shown.html
    panel.colour.value = "violet"
    assert 'scope="row">lagoon' not in panel.shown.html
    panel.colour.value = panel.colour.options[0]


def test_drift_parts_and_counts(view: ArchiveView) -> None:
    panel = view.panels["drift"]
    assert "a year (95%" in panel.shown.html
    panel.by.value = "sprayer"
    for name in ("day bench", "evening bench", "apprentice"):
        assert name in panel.shown.html
    panel.measure.value = "difference"
    assert "ΔE00 from the law" in panel.shown.html
    panel.by.value, panel.measure.value = "all", "lightness"


def test_repeatability_has_intervals_by_sprayer_and_lot(view: ArchiveView) -> None:
    panel = view.panels["repeatability"]
    panel.button.press("go")
    panel.work.join(60)
    assert panel.work.said.html == ""
    assert f"{panel.found.floor:.2f}" in panel.shown.html
    for words in ("film, from panel to panel", "lot 12", "apprentice", "95% from"):
        assert words in panel.shown.html


def test_next_panels_shrink_the_uncertainty(view: ArchiveView) -> None:
    panel = view.panels["next_panels"]
    panel.count.value = 3.0
    panel.button.press("go")
    panel.work.join(60)
    assert len(panel.plan.panels) == 3
    assert panel.plan.after < panel.plan.before
    for chosen in panel.plan.panels:
        assert chosen.recipe.words in plain(panel.shown.html)


def test_why_explains_and_refuses_in_words(view: ArchiveView) -> None:
    panel = view.panels["why"]
    panel.ground.value, panel.colour.value = "silver", "lagoon"
    assert "one coat more" in panel.shown.html
    assert "The nearest panels" in panel.shown.html
    before = panel.shown.html
    panel.ratio.value = "colour 1 : carrier 6"
    assert "Not done" in panel.said.html
    assert panel.shown.html == before
    panel.ratio.value = "6:1"
    assert panel.said.html == ""


def test_findings_are_fixed_ignored_and_undone_with_a_log(view: ArchiveView) -> None:
    panel = view.panels["findings"]
    archive = panel.desk.session.archive
    panel.actions.press("look")
    panel.work.join(60)
    assert panel.work.said.html == ""
    found = {f.codes[0]: f for f in panel.findings if f.proposed is not None}
    assert set(found) <= set(DEMO_WRONG_BACKS) | set(found)
    assert {"T052", "T077"} & set(found), "the wrong backs are found"
    code = next(c for c in ("T077", "T052") if c in found)
    was = archive.panel(code).recipe
    assert "likelier" in panel.shown.html
    assert f"{chance_words(found[code].probability)} likely" in panel.shown.html
    assert "ΔE00 between them" in panel.shown.html

    panel.who.value, panel.why.value = "Ada", "looked at the panel"
    at = panel.findings.index(found[code])
    panel.shown.press(f"fix {at}")
    assert archive.panel(code).recipe == found[code].proposed
    last = archive.history(code)[-1]
    assert (last.who, last.action) == ("Ada", "amended")
    assert last.why.startswith("looked at the panel")
    assert f"Undo {last.number}" in view.panels["history"].shown.html
    assert code not in {f.codes[0] for f in panel.findings}
    panel.desk.fitting.join(60)

    panel.actions.press("undo")
    assert archive.panel(code).recipe == was
    panel.desk.fitting.join(60)

    at = panel.findings.index(found[code])
    panel.shown.press(f"ignore {at}")
    assert len(archive.ignored()) == 1
    assert f"ignore {at}" not in panel.shown.html
    assert "1 ignored" in panel.shown.html
    panel.actions.press("again")
    assert not archive.ignored()
    assert f"ignore {at}" in panel.shown.html

    panel.shown.press(f"aside {at}")
    assert code in archive.deleted()
    number = archive.history(code)[-1].number
    view.panels["history"].shown.press(str(number))
    assert code not in archive.deleted()
    view.panels["history"].shown.press("99999")
    assert "Not done" in view.panels["history"].said.html
    panel.desk.fitting.join(60)


def test_history_gathers_imports_and_asks_for_one_panel(view: ArchiveView) -> None:
    panel = view.panels["history"]
    panel.code.value = ""
    panel.redraw()
    assert "panels.csv" in panel.shown.html
    panel.code.value = "T001"
    assert "added" in panel.shown.html
    panel.code.value = "no such panel"
    assert "no panel of this code" in panel.said.html
    panel.code.value = ""


def test_an_archive_that_is_not_there_is_said_in_words(tmp_path: Path) -> None:
    closed = open_view(str(tmp_path / "nothing.db"))
    assert isinstance(closed.trouble, ArchiveError)
    said = closed.opening()
    assert isinstance(said, Said)
    assert "no archive here" in said.html
    assert "No archive is open" in closed.coverage().html


def test_without_a_name_the_demonstration_is_opened(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("WORKBOOK_ARCHIVE", raising=False)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    desk = Desk.open()
    assert len(desk.session.archive) == len(demo_panels())
    assert "demonstration" in desk.name
    desk.session.close()


def test_work_is_stopped_between_its_steps_and_says_what_failed() -> None:
    work = LongWork("Counting", again="Count")
    begun, going = threading.Event(), threading.Event()
    done: list[int] = []

    def compute() -> int:
        begun.set()
        going.wait(10)
        work.step(0.5)
        return 1

    assert work.ask("one", compute, done.append)
    begun.wait(10)
    assert not work.ask("two", compute, done.append)
    assert "Still at work" in work.said.html
    work.bar.cancel()
    assert not work.bar.running
    going.set()
    work.join(10)
    assert not done
    assert "Stopped" in work.bar.text
    assert work.again.layout.display is None

    work.start("three", lambda: 1 / 0, done.append)
    work.join(10)
    assert f"{UNFORESEEN} (ZeroDivisionError)." in plain(work.said.html)
    assert work.again.layout.display is None
    assert work.ask("four", lambda: 4, done.append)
    assert work.again.layout.display == "none"
    work.join(10)
    assert done == [4]


def test_validation_runs_on_what_is_chosen(view: ArchiveView) -> None:
    view.accuracy()
    panel = view.panels["accuracy"]
    panel.by.value = []
    panel.button.press("go")
    assert "Choose what to leave out" in panel.work.said.html
    panel.by.value = ["ground"]
    panel.button.press("go")
    panel.work.join(120)
    assert panel.work.said.html == ""
    assert "times repeatability" in panel.shown.html
    assert "nearest panel" in panel.shown.html.casefold()
    assert "wrong back counts as a miss" in panel.shown.html
