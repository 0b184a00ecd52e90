"""The controls in a real browser, in JupyterLab and under Voilà: keys, names, contrast, files."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import nbformat
import pytest

from tests.browser import harness

pytestmark = pytest.mark.browser

# What Python was told is written into `said`, so that the test reads Python's own values. The page
# brings the colours that the controls take.
CELL = """
import ipywidgets as w
from workbook.controls import *
from workbook.page import Page

class Nothing:
    address = {}
    draw = lambda self: ""
    press = wrong = lambda self, *_: None

shelf = CheckList(options=["red", "teal", "violet"], texts=["red", "teal", "<b>violet</b>"],
                  value=["red"], label="On the shelf")
row = ButtonRow([{"name": "go", "label": "Suggest recipes", "primary": True},
                 {"name": "undo", "label": "Undo"}, {"name": "off", "label": "Not now",
                  "disabled": True}], label="Actions")
upload = FileField(label="Reading from a file", accept=".csv", most_bytes=3_000_000,
                   help="One card each.")
bar = Progress(label="Searching")
said = Words(label="What Python knows")
wrong = Words(text="Not done. <i>This</i> is wrong.", wrong=True, label="Message", live="assertive")
heard, name = [], ["no file"]
redraw = lambda *_: setattr(said, "text", "\\n".join(
    ["shelf: " + " + ".join(shelf.value), "heard: " + " ".join(heard), "file: " + name[0]]))
shelf.observe(redraw, "value")
row.on_press(lambda pressed: (heard.append(pressed), redraw()))
upload.on_file(lambda n, content: (name.__setitem__(0, f"{n} {len(content)}"), redraw()))
bar.on_cancel(lambda: (heard.append("cancel"), redraw(), bar.finish("Stopped.")))
bar.start("looking at recipes")
redraw()
w.VBox([shelf, row, upload, bar, said, wrong, Page(Nothing())])
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("books")
    book = nbformat.v4.new_notebook()
    book.metadata["kernelspec"] = {"name": "python3", "display_name": "Python 3"}
    book.metadata |= {"title": "Controls", "workbook": {"page": True}}
    book.cells = [nbformat.v4.new_markdown_cell("# Controls")]
    book.cells += [nbformat.v4.new_code_cell(CELL.strip())]
    nbformat.write(book, place / "controls.ipynb")
    return place


@pytest.fixture(scope="module")
def voila(folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[harness.Served]:
    with harness.serve_voila(folder, tmp_path_factory.mktemp("voila")) as served:
        yield served


def use_everything(page: Any) -> None:
    """Every control by keyboard, its effect read back from Python."""
    from playwright.sync_api import expect

    expect.set_options(timeout=30_000)
    told = page.get_by_role("group", name="What Python knows")
    box = page.get_by_role("checkbox", name="<b>violet</b>")
    box.focus()
    page.keyboard.press("Space")
    expect(told).to_contain_text("shelf: red + violet")

    # Tab alone gets from one to the next; letters that are shortcuts of JupyterLab do nothing.
    page.keyboard.press("Tab")
    go = page.get_by_role("button", name="Suggest recipes")
    expect(go).to_be_focused()
    page.keyboard.type("abddxm")
    page.keyboard.press("Enter")
    expect(told).to_contain_text("heard: go")
    expect(page.get_by_role("button", name="Not now")).to_be_disabled()

    upload = page.get_by_label("Reading from a file")
    big = {"name": "big.csv", "mimeType": "text/csv", "buffer": b"x" * 3_000_001}
    upload.set_input_files(big)
    expect(page.get_by_text("big.csv is 3.0 MB; at most 3 MB are taken.")).to_be_visible()
    content = b"L,a,b\n" + b"42,1,2\n" * 150_000  # three pieces
    upload.set_input_files({"name": "reading.csv", "mimeType": "text/csv", "buffer": content})
    expect(told).to_contain_text(f"file: reading.csv {len(content)}")

    page.get_by_role("button", name="Cancel").focus()
    page.keyboard.press("Enter")
    expect(told).to_contain_text("heard: go cancel")
    expect(page.locator("[role=status]").get_by_text("Stopped.")).to_be_visible()
    expect(page.get_by_role("button", name="Cancel")).to_have_count(0)

    # Names are shown as they were written.
    wrong = page.get_by_role("group", name="Message")
    expect(wrong).to_have_text("Not done. <i>This</i> is wrong.")


def test_under_voila(browser: Any, voila: harness.Served, artifacts: Path) -> None:
    page = browser.new_page(viewport={"width": 1100, "height": 900})
    watch = harness.Watch().on(page)
    harness.open_in_voila(page, voila, "controls.ipynb")
    page.get_by_role("checkbox", name="teal").wait_for()
    use_everything(page)
    watch.check()
    assert harness.serious(page) == []
    harness.shoot(page, artifacts, "controls-voila")
    page.close()


def test_in_lab(
    browser: Any, folder: Path, tmp_path_factory: pytest.TempPathFactory, artifacts: Path
) -> None:
    with harness.serve_lab(folder, tmp_path_factory.mktemp("lab")) as lab:
        page = browser.new_page(viewport={"width": 1100, "height": 1500})
        watch = harness.Watch().on(page)
        harness.open_in_lab(page, lab, "controls.ipynb")
        page.get_by_role("checkbox", name="teal").wait_for()
        cells = page.locator(".jp-Notebook .jp-Cell").count()
        use_everything(page)
        assert page.locator(".jp-Notebook .jp-Cell").count() == cells, "a key reached the notebook"
        watch.check()
        assert harness.serious(page, ".jp-OutputArea-output") == []
        harness.shoot(page, artifacts, "controls-lab")
        page.close()


def test_dark_theme_keeps_contrast(browser: Any, voila: harness.Served, artifacts: Path) -> None:
    page = browser.new_page(viewport={"width": 1100, "height": 900}, color_scheme="dark")
    harness.open_in_voila(page, voila, "controls.ipynb")
    page.get_by_role("checkbox", name="teal").wait_for()
    assert harness.serious(page) == []
    harness.shoot(page, artifacts, "controls-dark")
    page.close()


def test_the_watch_notices(browser: Any, voila: harness.Served) -> None:
    """The watch itself can fail: an outside request and a console error are both kept."""
    page = browser.new_page()
    watch = harness.Watch().on(page)
    # The notebook the other tests open, not the server's list of files: that one came up too late
    # once on a busy machine, and nobody who uses the workbook sees it.
    harness.open_in_voila(page, voila, "controls.ipynb")
    page.get_by_role("checkbox", name="teal").wait_for()
    watch.check()
    page.evaluate("() => { console.error('boom'); new Image().src = 'http://192.0.2.1/x.png'; }")
    page.wait_for_timeout(200)
    assert watch.outside == ["http://192.0.2.1/x.png"]
    assert "boom" in watch.errors
    page.close()
