"""A photograph marked in a real browser: proposed, tapped, dragged, set by keys, and confirmed."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import nbformat
import pytest

from tests.browser import harness
from tests.tools.render_scene import Scene, render, to_jpeg

pytestmark = pytest.mark.browser

CELL = """
from workbook.controls import Words
from workbook.page import Page
from workbook.photo_intake import PhotoIntake
import ipywidgets as w

class Nothing:
    address = {}
    draw = lambda self: ""
    press = wrong = lambda self, *_: None

intake = PhotoIntake(coded=True)
told = Words(label="What Python took")
say = lambda text: setattr(told, "text", text)
intake.on_use(lambda done: say("; ".join(f"{d.code}: " + " ".join(f"{v:.1f}" for v in d.reading.lab)
                                         for d in done)))
w.VBox([intake.box, told, Page(Nothing())])
"""
SCENE = Scene().but(second="gold")


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[harness.Served]:
    place = tmp_path_factory.mktemp("books")
    book = nbformat.v4.new_notebook()
    book.metadata["kernelspec"] = {"name": "python3", "display_name": "Python 3"}
    book.metadata["workbook"] = {"page": True}
    book.cells = [
        nbformat.v4.new_markdown_cell("# Photographs"),
        nbformat.v4.new_code_cell(CELL.strip()),
    ]
    nbformat.write(book, place / "photographs.ipynb")
    with harness.serve_voila(place, tmp_path_factory.mktemp("voila")) as running:
        yield running


def tap(page: Any, stage: Any, corners: Any) -> None:
    stage.scroll_into_view_if_needed()
    box = stage.bounding_box()
    for x, y in corners:
        # A little inside, as a person taps.
        page.mouse.click(
            box["x"] + box["width"] * x / SCENE.width, box["y"] + box["height"] * y / SCENE.height
        )


def test_two_panels_are_tapped_read_and_confirmed(
    browser: Any, served: harness.Served, artifacts: Path, tmp_path: Path
) -> None:
    from playwright.sync_api import expect

    true = render(SCENE)
    photograph = tmp_path / "two.jpg"
    photograph.write_bytes(to_jpeg(true))
    page = browser.new_page(viewport={"width": 1100, "height": 900})
    watch = harness.Watch().on(page)
    harness.open_in_voila(page, served, "photographs.ipynb")
    page.get_by_label("Photograph with a colour chart").set_input_files(str(photograph))
    view = page.get_by_text("More than one area of this picture could be the panel")
    expect(view).to_be_visible(timeout=60_000)
    stage = page.get_by_role("application", name="The photograph")
    status = page.locator(".cpw-photo [role=status]")
    stage.scroll_into_view_if_needed()
    harness.shoot(page, artifacts, "photo-question")

    # The middle of one that was found says that it is a panel; the other is tapped by its corners.
    code = page.get_by_label("Code of the panel you tap")
    code.fill("T1")
    tap(page, stage, [true.panel.mean(axis=0)])
    expect(status).to_contain_text("T1")
    code.fill("G1")
    corners = true.second.mean(axis=0) + 0.85 * (true.second - true.second.mean(axis=0))
    tap(page, stage, corners[:3])
    expect(status).to_contain_text("Corner 4 of 4")
    tap(page, stage, corners[3:])
    expect(status).to_contain_text("T1, G1")

    # A corner is dragged, and one is set by keys and taken back.
    spots = page.locator(".cpw-corner")
    count = spots.count()
    box, edge = stage.bounding_box(), spots.last.bounding_box()
    page.mouse.move(edge["x"] + 9, edge["y"] + 9)
    page.mouse.down()
    page.mouse.move(edge["x"] + 14, edge["y"] + 5)
    page.mouse.up()
    assert spots.count() == count
    assert box == stage.bounding_box()
    code.fill("other")
    stage.focus()
    page.keyboard.press("ArrowLeft")
    page.keyboard.press("Enter")
    expect(status).to_contain_text("Corner 2 of 4")
    page.keyboard.press("Backspace")
    expect(status).to_contain_text("T1, G1")

    page.get_by_role("button", name="Read as marked").click()
    expect(page.get_by_text("Panel G1:")).to_be_visible(timeout=60_000)
    harness.shoot(page, artifacts, "photo-marked")
    page.get_by_role("button", name="Use this reading").click()
    told = page.get_by_role("group", name="What Python took")
    expect(told).to_contain_text("T1:")
    expect(told).to_contain_text("G1:")
    teal, gold = (
        [float(v) for v in part.split(":")[1].split()] for part in told.inner_text().split(";")
    )
    assert abs(teal[0] - true.lab[0]) < 8
    assert teal[1] < -15
    assert gold[2] > 40
    assert harness.serious(page, ".cpw-photo") == []
    watch.check()
    page.close()
