"""Photographs wherever a page asks for a reading: proposed, tapped, dragged, set by keys, used."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

from matchlib.archive import Archive
from tests.browser import harness
from tests.browser.test_jobs import heading, own, press, settled, spray_on, tablet
from tests.tools.render_scene import Rendered, Scene, render, to_jpeg

pytestmark = pytest.mark.browser

SCENE = Scene().but(second="gold")


@pytest.fixture(scope="module")
def one(tmp_path_factory: pytest.TempPathFactory) -> tuple[Rendered, Path]:
    """A photograph of one card."""
    true, place = render(Scene()), tmp_path_factory.mktemp("one") / "one.jpg"
    place.write_bytes(to_jpeg(true))
    return true, place


def tap(page: Any, stage: Any, corners: Any) -> None:
    stage.scroll_into_view_if_needed()
    box = stage.bounding_box()
    for x, y in corners:
        page.mouse.click(
            box["x"] + box["width"] * x / SCENE.width, box["y"] + box["height"] * y / SCENE.height
        )


def give(page: Any, photograph: Path) -> None:
    page.get_by_label("Choose a photograph").set_input_files(str(photograph))


def use(page: Any) -> None:
    from playwright.sync_api import expect

    ready = page.get_by_role("button", name="Use this reading")
    expect(ready).to_be_enabled(timeout=harness.PATIENCE)
    ready.click()
    settled(page)


def test_a_sample_is_photographed_and_its_corners_are_tapped(
    browser: Any, served: harness.Served, room: Path, tmp_path: Path, artifacts: Path
) -> None:
    from playwright.sync_api import expect

    true, photograph = render(SCENE), tmp_path / "two.jpg"
    photograph.write_bytes(to_jpeg(true))
    page = tablet(browser, served)
    watch = harness.Watch().on(page)
    press(page, "new")
    page.get_by_label("Name", exact=True).fill("a gate")
    press(page, "photo")
    camera = page.locator("input[capture=environment]")
    assert camera.count() == 1, "a tablet offers its camera"
    give(page, photograph)
    asked = page.get_by_text("More than one area of this picture could be the panel")
    expect(asked).to_be_visible(timeout=harness.PATIENCE)
    stage = page.get_by_role("application", name="The photograph")
    status = page.locator(".wb-marks [role=status]")
    harness.shoot(page, artifacts, "photo-question")

    # The middle of one that was found says that it is the panel; then the other, by its corners.
    tap(page, stage, [true.panel.mean(axis=0)])
    expect(status).to_contain_text("the panel")
    corners = true.second.mean(axis=0) + 0.85 * (true.second - true.second.mean(axis=0))
    tap(page, stage, corners[:3])
    expect(status).to_contain_text("Corner 4 of 4")
    tap(page, stage, corners[3:])
    expect(status).to_contain_text("Marked: the chart, the panel")

    # A corner is dragged, and one of the chart is set by keys and taken back.
    spots = page.locator(".wb-marks-corner")
    count, edge = spots.count(), spots.last.bounding_box()
    page.mouse.move(edge["x"] + 9, edge["y"] + 9)
    page.mouse.down()
    page.mouse.move(edge["x"] + 14, edge["y"] + 5)
    page.mouse.up()
    assert spots.count() == count
    stage.focus()
    page.keyboard.press("Backspace")
    expect(status).to_contain_text("Corner 4 of 4")
    tap(page, stage, corners[3:])
    assert harness.serious(page, ".wb") == []
    page.get_by_role("button", name="Read as marked").click()
    use(page)
    assert heading(page) == "Recipes for a gate"
    with Archive.open(room / "panels.db") as archive:
        (reading,) = archive.jobs()[0].target
    assert reading.source == "photo"
    assert reading.lab[2] > 40, "the gold one, not the teal one"
    watch.check()
    page.close()


def test_several_cards_of_one_photograph_are_marked_each_with_its_code(
    browser: Any, served: harness.Served, room: Path, tmp_path: Path, artifacts: Path
) -> None:
    from playwright.sync_api import expect

    true, photograph = render(SCENE), tmp_path / "two.jpg"
    photograph.write_bytes(to_jpeg(true))
    with Archive.open(room / "panels.db") as archive:
        codes = [panel.code for panel in archive.panels()[:2]]
        before = [len(archive.panel(code).readings) for code in codes]
    page = tablet(browser, served)
    press(page, "new")
    page.get_by_label("Name", exact=True).fill("two cards")
    press(page, "photo")
    give(page, photograph)
    page.get_by_text("More than one area").wait_for(timeout=harness.PATIENCE)
    stage = page.get_by_role("application", name="The photograph")
    for name, corners in zip(codes, (true.panel, true.second), strict=True):
        page.get_by_label("Its code").fill(name)
        tap(page, stage, [corners.mean(axis=0)])
        expect(page.locator(".wb-marks [role=status]")).to_contain_text(name)
    page.get_by_role("button", name="Read as marked").click()
    keep = page.get_by_role("button", name="Keep each with its card")
    keep.wait_for(timeout=harness.PATIENCE)
    harness.shoot(page, artifacts, "photo-several")
    keep.click()
    expect(keep).to_have_count(0, timeout=harness.PATIENCE)
    with Archive.open(room / "panels.db") as archive:
        kept = [archive.panel(c).readings for c in codes]
    assert [len(r) for r in kept] == [n + 1 for n in before]
    assert [r[-1].source for r in kept] == ["photo", "photo"]
    page.close()


def test_a_test_card_is_photographed_as_its_sample_was(
    browser: Any, served: harness.Served, room: Path, one: tuple[Rendered, Path], artifacts: Path
) -> None:
    true, photograph = one
    page = tablet(browser, served)
    press(page, "new")
    page.get_by_label("Name", exact=True).fill("a wheel")
    press(page, "photo")
    give(page, photograph)
    use(page)
    number = int(re.findall(r"job=(\d+)", page.url)[0])
    own(page)
    spray_on(page)
    page.get_by_label("It reads").fill("40 -20 -10")
    press(page, "read")
    assert "not read like this" in page.get_by_role("alert").first.inner_text()
    press(page, "photo")
    give(page, photograph)
    harness.shoot(page, artifacts, "photo-card")
    use(page)
    assert page.locator(".wb-verdict .wb-big").inner_text().startswith("● Passes")
    with Archive.open(room / "panels.db") as archive:
        (reading,) = archive.panel(archive.job(number).panels[-1]).stages[-1].readings
    assert reading.source == "photo"
    assert abs(reading.lab[0] - true.lab[0]) < 8
    page.close()


def test_a_bare_ground_is_photographed(
    browser: Any, served: harness.Served, room: Path, one: tuple[Rendered, Path]
) -> None:
    page = tablet(browser, served)
    page.goto(f"{served.url}voila/render/browse_the_library.ipynb?part=begin&step=grounds")
    settled(page)
    page.get_by_label("Name a ground").fill("sea grey")
    page.keyboard.press("Enter")
    press(page, "photo")
    give(page, one[1])
    use(page)
    page.get_by_text("sea grey bare is kept").wait_for(timeout=harness.PATIENCE)
    with Archive.open(room / "panels.db") as archive:
        (bare,) = [p for p in archive.panels() if str(p.recipe.ground) == "sea grey"]
        assert bare.readings[0].source == "photo"
        assert archive.attachments(bare.code), "its picture is kept with it"
    page.close()
