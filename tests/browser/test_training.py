"""The training notebook in a real browser: ladders, an exercise answered, the record, a lesson."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import pytest

from matchlib.archive import Archive
from matchlib.demo import demo_panels
from tests.browser import harness
from workbook.session import Session
from workbook.training.record import load

pytestmark = pytest.mark.browser

BOOK = "train_on_grounds.ipynb"


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An archive of two colours, and its fit."""
    place = tmp_path_factory.mktemp("school")
    names = {"cherry", "honey"}
    some = [
        p for p in demo_panels() if p.recipe.colour is None or set(p.recipe.colour.names) <= names
    ]
    with Archive.open(place / "panels.db", create=True) as archive:
        archive.add(some, who="test")
    with Session.open(place / "panels.db") as session:
        session.fit()
    shutil.copy(harness.ROOT / "notebooks" / BOOK, place / BOOK)
    return place


def environment(shop: Path) -> dict[str, str]:
    return {"WORKBOOK_ARCHIVE": str(shop / "panels.db"), "OMP_NUM_THREADS": "1"}


def learn(page: Any, shop: Path, trainee: str) -> None:
    """One exercise by keyboard, and a lesson; the record is read back from the archive."""
    from playwright.sync_api import expect

    expect.set_options(timeout=60_000)
    expect(page.get_by_role("img", name="cherry over silver at 6:1, as predicted")).to_be_visible()
    page.get_by_role("checkbox", name="pale gold").check()
    expect(page.get_by_text("No panel of cherry over pale gold was ever sprayed")).to_be_visible()

    page.get_by_role("textbox", name="Trainee").fill(trainee)
    page.get_by_role("combobox", name="Question").select_option("coats")
    page.get_by_role("button", name="New exercise").focus()
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="How many coats are on it?")).to_be_visible()
    answers = page.get_by_role("group", name="Answers").get_by_role("button")
    answers.nth(1).focus()
    page.keyboard.press("Enter")
    expect(page.get_by_text("Your score: ΔE00")).to_be_visible()
    expect(page.get_by_text("1 answer on record")).to_be_visible()
    with Archive.open(shop / "panels.db") as archive:
        held = load(archive, trainee)
    assert len(held) == 1
    score = page.get_by_text("Your score: ΔE00").inner_text()
    assert f"Panel {held[0]['panel']}." in score
    assert f"ΔE00 {held[0]['miss']:.1f} off" in score

    page.get_by_role("combobox", name="Lesson").select_option("gold")
    expect(page.get_by_text("gain b* over pale gold")).to_be_visible()
    expect(page.get_by_role("columnheader", name="Δb*")).to_be_visible()


def test_under_voila_on_a_dark_tablet(
    browser: Any, shop: Path, tmp_path: Path, artifacts: Path
) -> None:
    with harness.serve_voila(shop, tmp_path, environment(shop)) as served:
        page = browser.new_page(viewport={"width": 820, "height": 1180}, color_scheme="dark")
        watch = harness.Watch().on(page)
        harness.open_in_voila(page, served, BOOK)
        learn(page, shop, "tablet")
        watch.check()
        assert harness.serious(page) == []
        harness.shoot(page, artifacts, "training-voila-dark")
        wide = page.evaluate("() => document.documentElement.scrollWidth")
        assert wide <= 820, "the page must not scroll sideways on a tablet"
        page.close()


def test_in_lab(browser: Any, shop: Path, tmp_path: Path, artifacts: Path) -> None:
    with harness.serve_lab(shop, tmp_path, environment(shop)) as served:
        page = browser.new_page(viewport={"width": 1280, "height": 1000})
        watch = harness.Watch().on(page)
        harness.open_in_lab(page, served, BOOK)
        learn(page, shop, "desk")
        watch.check()
        assert harness.serious(page, ".jp-OutputArea-output") == []
        harness.shoot(page, artifacts, "training-lab", most=4000)
        page.close()
