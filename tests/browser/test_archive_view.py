"""The archive's notebook in a real browser: top to bottom, the main presses, by value."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from matchlib.archive import Archive
from matchlib.demo import demo_panels
from tests.browser import harness
from workbook.session import Session

pytestmark = pytest.mark.browser

BOOK = "analyse_the_archive.ipynb"


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An archive of one colour with a wrong back, and its fit, so that pages open at once."""
    place = tmp_path_factory.mktemp("shop")
    some = [p for p in demo_panels() if p.recipe.colour is None or str(p.recipe.colour) == "lagoon"]
    with Archive.open(place / "panels.db", create=True) as archive:
        archive.add(some, file="panels.csv", who="test")
    with Session.open(place / "panels.db") as session:
        session.fit()
    shutil.copy(harness.ROOT / "notebooks" / BOOK, place / BOOK)
    return place


def environment(shop: Path) -> dict[str, str]:
    return {"WORKBOOK_ARCHIVE": str(shop / "panels.db"), "OMP_NUM_THREADS": "1"}


@pytest.fixture(scope="module")
def voila(shop: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[harness.Served]:
    room = tmp_path_factory.mktemp("voila")
    with harness.serve_voila(shop, room, environment(shop)) as served:
        yield served


@pytest.fixture(scope="module")
def lab(shop: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[harness.Served]:
    room = tmp_path_factory.mktemp("lab")
    with harness.serve_lab(shop, room, environment(shop)) as served:
        yield served


def recipe_of(shop: Path, code: str) -> str:
    with Archive.open(shop / "panels.db") as archive:
        return str(archive.panel(code).recipe)


def press(page: Any, name: str) -> None:
    """Press by keyboard, as someone without a mouse would."""
    page.get_by_role("button", name=name, exact=True).focus()
    page.keyboard.press("Enter")


def test_under_voila(browser: Any, voila: harness.Served, shop: Path, artifacts: Path) -> None:
    from playwright.sync_api import expect

    expect.set_options(timeout=60_000)
    page = browser.new_page(viewport={"width": 1280, "height": 800})
    watch = harness.Watch().on(page)
    harness.open_in_voila(page, voila, BOOK)
    expect(page.get_by_text("Dashed: round all recipes")).to_be_visible()
    expect(page.get_by_text(f"panels.db: {len(list_of(shop))} panels")).to_be_visible()
    expect(page.get_by_text("lagoon over black", exact=True)).to_be_visible()

    # A wrong back is found, put right, logged, and taken back.
    was = recipe_of(shop, "T077")
    page.get_by_role("textbox", name="Who decides").fill("Ada")
    press(page, "Look for what is wrong")
    expect(page.get_by_role("heading", name="T077: wrong ground")).to_be_visible()
    press(page, "Change T077 as proposed")
    expect(page.get_by_text("T077 now reads")).to_be_visible()
    assert recipe_of(shop, "T077") == was.replace("over silver", "over pale gold") != was
    expect(page.get_by_role("row", name="amended")).to_contain_text("Ada")
    press(page, "Undo the last decision")
    expect(page.get_by_text("T077 is as it was")).to_be_visible()
    assert recipe_of(shop, "T077") == was

    press(page, "Choose panels")
    expect(page.get_by_text("These 5 panels bring the uncertainty")).to_be_visible()
    press(page, "Work out repeatability")
    expect(page.get_by_text("What makes panels differ")).to_be_visible()

    # A new panel: the ratio is questioned before it is kept.
    for name, text in (("Panel code", "N-1"), ("Coats", "3"), ("L*", "40"), ("a*", "-9")):
        page.get_by_role("textbox", name=name, exact=True).fill(text)
    page.get_by_role("textbox", name="b*", exact=True).fill("-40")
    page.get_by_role("textbox", name="Mix ratio").last.fill("1:6")
    expect(page.get_by_text("Was 6:1 meant")).to_be_visible()
    press(page, "Turn the ratio round")
    expect(page.get_by_text("N-1: lagoon over silver: 3 coats of 6 parts carrier")).to_be_visible()
    press(page, "Keep this panel")
    expect(page.get_by_text("1 panel added")).to_be_visible()
    assert recipe_of(shop, "N-1") == "lagoon over silver, 3@6:1"
    press(page, "Print its label")
    link = page.get_by_role("link", name="Label of N-1")
    expect(link).to_have_attribute("download", "label.pdf")
    press(page, "Undo")
    expect(page.get_by_text("N-1 was put aside again")).to_be_visible()

    watch.check()
    assert harness.serious(page) == []
    harness.shoot(page, artifacts, "archive-voila", most=9000)
    page.close()


def list_of(shop: Path) -> list[str]:
    with Archive.open(shop / "panels.db") as archive:
        return [p.code for p in archive.panels()]


def test_long_work_is_cancelled_and_begun_again(browser: Any, voila: harness.Served) -> None:
    from playwright.sync_api import expect

    expect.set_options(timeout=60_000)
    page = browser.new_page(viewport={"width": 1280, "height": 800})
    watch = harness.Watch().on(page)
    harness.open_in_voila(page, voila, BOOK)
    expect(page.get_by_text("Dashed: round all recipes")).to_be_visible()
    cancel = page.get_by_role("button", name="Cancel", exact=True)
    result = page.get_by_text("Errors on what was left out")
    press(page, "Validate")
    expect(cancel).to_be_visible()
    press(page, "Validate")
    expect(page.get_by_text("Still at work; wait, or press Cancel.")).to_be_visible()
    press(page, "Cancel")
    expect(page.get_by_text("Stopped; nothing was changed.")).to_be_visible()
    expect(cancel).to_be_hidden()
    assert result.count() == 0
    press(page, "Validate")
    expect(cancel).to_be_visible()
    expect(page.get_by_text("Stopped; nothing was changed.")).to_be_hidden()
    expect(result.first).to_be_visible()
    expect(cancel).to_be_hidden()
    watch.check()
    page.close()


def test_nothing_is_lost_by_a_reload(
    browser: Any, voila: harness.Served, shop: Path, artifacts: Path
) -> None:
    from playwright.sync_api import expect

    expect.set_options(timeout=60_000)
    tablet = browser.new_context(viewport={"width": 820, "height": 1180})
    page = tablet.new_page()
    harness.open_in_voila(page, voila, BOOK)
    code = page.get_by_role("textbox", name="Panel code", exact=True)
    for name, text in (("Panel code", "N-7"), ("Coats", "3"), ("L*", "40.5"), ("Note", "a run")):
        page.get_by_role("textbox", name=name, exact=True).fill(text)
    page.get_by_role("combobox", name="Clear coat").last.select_option("no")
    # The longest word is seen whole at this width.
    source = page.get_by_role("combobox", name="Read by")
    assert source.input_value() == "spectrophotometer"
    wide = source.evaluate(
        """(e) => {
             const pen = document.createElement('canvas').getContext('2d');
             pen.font = getComputedStyle(e).font;
             return [e.clientWidth, pen.measureText('spectrophotometer').width];
           }"""
    )
    assert wide[0] >= wide[1] + 16 + 24, "padding and arrow beside the word"
    page.wait_for_timeout(1000)
    page.reload()
    expect(code).to_have_value("N-7")
    expect(page.get_by_role("textbox", name="L*", exact=True)).to_have_value("40.5")
    expect(page.get_by_role("textbox", name="Note", exact=True)).to_have_value("a run")
    expect(page.get_by_role("combobox", name="Clear coat").last).to_have_value("no")
    for name, text in (("a*", "-9"), ("b*", "-40")):
        page.get_by_role("textbox", name=name, exact=True).fill(text)
    page.get_by_role("textbox", name="Mix ratio").last.fill("6:1")
    harness.shoot(page, artifacts, "archive-entry-820", most=9000)
    press(page, "Keep this panel")
    expect(page.get_by_text("1 panel added")).to_be_visible()
    assert "N-7" in list_of(shop)
    page.reload()
    undo = page.get_by_role("button", name="Undo", exact=True)
    expect(undo).to_be_enabled()
    expect(code).to_have_value("")
    undo.press("Enter")
    expect(page.get_by_text("N-7 was put aside again")).to_be_visible()
    assert "N-7" not in list_of(shop)
    tablet.close()


def test_in_lab(browser: Any, lab: harness.Served, artifacts: Path) -> None:
    from playwright.sync_api import expect

    expect.set_options(timeout=60_000)
    page = browser.new_page(viewport={"width": 1280, "height": 1000})
    watch = harness.Watch().on(page)
    harness.open_in_lab(page, lab, BOOK)
    expect(page.get_by_text("Dashed: round all recipes")).to_be_visible()
    slider = page.get_by_role("slider", name="Coats")
    slider.focus()
    page.keyboard.press("ArrowRight")
    expect(page.get_by_text("lagoon over silver: 4 coats of 6 parts carrier").first).to_be_visible()
    page.get_by_role("combobox", name="What is looked at").select_option("chroma")
    expect(page.get_by_role("img", name="ΔC*, reading less law")).to_be_visible()
    watch.check()
    assert harness.serious(page, ".jp-OutputArea-output") == []
    harness.shoot(page, artifacts, "archive-lab", most=3000)
    page.close()
