"""The controls in a real browser, in JupyterLab and under Voilà: keys, names, contrast, speed."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import nbformat
import pytest

from tests.browser import harness

pytestmark = pytest.mark.browser

# What the page asks Python for is written into `said`, so that the test reads Python's own values.
CELLS = [
    """
import ipywidgets as w
from workbook.controls import *
from workbook.figures import *

coats = Slider(label="Coats", min=1, max=8, value=3, unit="coats", help="How many are sprayed.")
ratio = Slider(label="Mix ratio", min=0, max=3, value=1,
               texts=[f"{n} parts carrier to 1 part colour" for n in (8, 6, 4, 3)])
ground = Choice(["", "silver", "gold"], texts=["any", "silver", "gold"], label="Ground")
lightness = NumberField(label="Target L*", min=0, max=100, value=42.5)
note = TextField(label="Note")
shelf = CheckList(options=["red", "teal", "<b>violet</b>"], value=["red"], label="On the shelf")
row = ButtonRow([("go", "Suggest recipes"), ("undo", "Undo")], label="Actions")
upload = FileField(label="Reading from a file", accept=".csv")
bar = Progress(label="Searching")
said = HtmlView(live="polite", label="What Python knows")
picture = HtmlView(label="Swatches")
""",
    """
pressed, cancelled = [], []
redraw = lambda _=None: setattr(said, "html", table(
    ["control", "value"],
    [["coats", coats.value], ["ratio", ratio.value], ["ground", ground.value],
     ["lightness", lightness.value], ["note", note.value], ["shelf", " + ".join(shelf.value)],
     ["pressed", " ".join(pressed)], ["file", f"{upload.name} {len(upload.content)}"],
     ["cancelled", " ".join(cancelled)]],
    caption="Values in Python")) or setattr(picture, "html",
    swatch_pair((42, 48, 22), (42 + coats.value, 46, 24), names=("Target", "<i>Predicted</i>"))
    + '<img src="https://192.0.2.1/x.png" onerror="window.broken=1">'
    + '<script>window.broken=1</script>'
    + '<p><button data-press="card">Spray this one</button></p>')
for c in (coats, ratio, ground, lightness, note, shelf):
    c.observe(redraw, "value")
for c in (row, picture):
    c.on_press(lambda name: (pressed.append(name), redraw()))
upload.on_file(lambda *_: redraw())
bar.on_cancel(lambda: (cancelled.append("yes"), redraw()))
bar.start("looking at recipes")
redraw()
w.VBox([coats, ratio, ground, lightness, note, shelf, row, upload, bar, said, picture])
""",
]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("books")
    book = nbformat.v4.new_notebook()
    book.metadata["kernelspec"] = {"name": "python3", "display_name": "Python 3"}
    book.metadata["title"] = "Controls"
    book.cells = [nbformat.v4.new_markdown_cell("# Controls")]
    book.cells += [nbformat.v4.new_code_cell(source.strip()) for source in CELLS]
    nbformat.write(book, place / "controls.ipynb")
    return place


@pytest.fixture(scope="module")
def voila(folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[harness.Served]:
    with harness.serve_voila(folder, tmp_path_factory.mktemp("voila")) as served:
        yield served


@pytest.fixture(scope="module")
def lab(folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[harness.Served]:
    with harness.serve_lab(folder, tmp_path_factory.mktemp("lab")) as served:
        yield served


def value(page: Any, name: str) -> Any:
    return page.locator("tr", has=page.get_by_role("rowheader", name=name, exact=True)).locator(
        "td"
    )


def use_everything(page: Any) -> None:
    """Every control by keyboard, its effect read back from Python."""
    from playwright.sync_api import expect

    expect.set_options(timeout=30_000)
    slider = page.get_by_role("slider", name="Coats")
    slider.focus()
    page.keyboard.press("ArrowRight")
    expect(value(page, "coats")).to_have_text("4.0")
    expect(slider).to_have_attribute("aria-valuetext", "4 coats")
    page.keyboard.press("End")
    expect(value(page, "coats")).to_have_text("8.0")
    page.keyboard.press("Home")
    expect(slider).to_have_attribute("aria-valuetext", "1 coat")
    page.keyboard.press("End")
    expect(value(page, "coats")).to_have_text("8.0")
    page.keyboard.press("ArrowLeft")
    expect(value(page, "coats")).to_have_text("7.0")

    # Tab alone gets from one to the next.
    page.keyboard.press("Tab")
    page.keyboard.press("ArrowRight")
    expect(value(page, "ratio")).to_have_text("2.0")
    expect(page.get_by_role("slider", name="Mix ratio")).to_have_attribute(
        "aria-valuetext", "4 parts carrier to 1 part colour"
    )
    ground = page.get_by_role("combobox", name="Ground")
    shown = "(e) => e.selectedOptions[0]?.textContent ?? 'blank'"
    assert ground.evaluate(shown) == "any", "an empty option is an option"
    ground.select_option("gold")
    expect(value(page, "ground")).to_have_text("gold")
    ground.select_option(label="any")
    expect(value(page, "ground")).to_have_text("")
    ground.select_option("gold")
    expect(value(page, "ground")).to_have_text("gold")

    number = page.get_by_role("textbox", name="Target L*")
    number.fill("45,2")
    expect(page.get_by_text("Write the decimal point as a full stop")).to_be_visible()
    expect(value(page, "lightness")).to_have_text("None")
    number.fill("120")
    expect(page.get_by_text("Must be 0 to 100.")).to_be_visible()
    number.fill("45.2")
    expect(value(page, "lightness")).to_have_text("45.2")
    assert number.get_attribute("aria-invalid") == "false"

    # Letters that are shortcuts of JupyterLab (a, b, dd, x, m) are just letters here.
    note = page.get_by_role("textbox", name="Note")
    note.focus()
    page.keyboard.type("abddxm <i>")
    expect(value(page, "note")).to_have_text("abddxm <i>")

    box = page.get_by_role("checkbox", name="<b>violet</b>")
    box.focus()
    page.keyboard.press("Space")
    expect(value(page, "shelf")).to_have_text("red + <b>violet</b>")

    page.get_by_role("button", name="Suggest recipes").focus()
    page.keyboard.press("Enter")
    expect(value(page, "pressed")).to_have_text("go")
    card = page.get_by_role("button", name="Spray this one")
    card.focus()
    page.keyboard.press("Enter")
    expect(value(page, "pressed")).to_have_text("go card")
    # Redrawing the card did not throw the reader's place away.
    expect(card).to_be_focused()

    content = b"L,a,b\n" + b"42,1,2\n" * 150_000  # three pieces
    page.get_by_label("Reading from a file").set_input_files(
        {"name": "reading.csv", "mimeType": "text/csv", "buffer": content}
    )
    expect(value(page, "file")).to_have_text(f"reading.csv {len(content)}")

    page.get_by_role("button", name="Cancel").focus()
    page.keyboard.press("Enter")
    expect(value(page, "cancelled")).to_have_text("yes")

    # What an unescaped name could have brought is gone, the pair says what it shows.
    assert page.evaluate("() => window.broken") is None
    pair = page.get_by_role("img", name="Target beside <i>Predicted</i>")
    expect(pair).to_be_visible()
    assert "ΔE00" in (pair.get_attribute("aria-label") or "")


def test_under_voila(browser: Any, voila: harness.Served, artifacts: Path) -> None:
    page = browser.new_page(viewport={"width": 1100, "height": 900})
    watch = harness.Watch().on(page)
    harness.open_in_voila(page, voila, "controls.ipynb")
    page.get_by_role("slider", name="Coats").wait_for()
    use_everything(page)
    # The address in the picture above must have been dropped before the browser saw it.
    watch.check()
    assert harness.serious(page) == []
    harness.shoot(page, artifacts, "controls-voila")
    keys = ["ArrowLeft"] * 5 + ["ArrowRight", "ArrowLeft"] * 8
    slider = page.get_by_role("slider", name="Coats")
    middle = harness.key_to_paint(page, slider, "[aria-label='Swatches']", keys=keys)
    print(f"key to paint under Voilà, median of {len(keys)}: {middle:.0f} ms")
    page.close()


def test_in_lab(browser: Any, lab: harness.Served, artifacts: Path) -> None:
    page = browser.new_page(viewport={"width": 1100, "height": 1500})
    watch = harness.Watch().on(page)
    harness.open_in_lab(page, lab, "controls.ipynb")
    page.get_by_role("slider", name="Coats").wait_for()
    cells = page.locator(".jp-Notebook .jp-Cell").count()
    use_everything(page)
    assert page.locator(".jp-Notebook .jp-Cell").count() == cells, "a key reached the notebook"
    watch.check()
    assert harness.serious(page, ".jp-OutputArea-output") == []
    harness.shoot(page, artifacts, "controls-lab")
    keys = ["ArrowLeft"] * 5 + ["ArrowRight", "ArrowLeft"] * 8
    slider = page.get_by_role("slider", name="Coats")
    middle = harness.key_to_paint(page, slider, "[aria-label='Swatches']", keys=keys)
    print(f"key to paint in JupyterLab, median of {len(keys)}: {middle:.0f} ms")
    page.close()


def test_dark_theme_keeps_contrast(browser: Any, voila: harness.Served, artifacts: Path) -> None:
    page = browser.new_page(viewport={"width": 1100, "height": 900}, color_scheme="dark")
    harness.open_in_voila(page, voila, "controls.ipynb")
    page.get_by_role("slider", name="Coats").wait_for()
    page.get_by_role("img", name="Target beside <i>Predicted</i>").wait_for()
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
    page.get_by_role("slider", name="Coats").wait_for()
    watch.check()
    page.evaluate("() => { console.error('boom'); new Image().src = 'http://192.0.2.1/x.png'; }")
    page.wait_for_timeout(200)
    assert watch.outside == ["http://192.0.2.1/x.png"]
    assert "boom" in watch.errors
    page.close()
