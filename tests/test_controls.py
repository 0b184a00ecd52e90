"""The Python side of the controls; `tests/browser/test_controls.py` has the other."""

from __future__ import annotations

import re

import pytest
import traitlets

from workbook import controls
from workbook.controls import (
    Button,
    ButtonRow,
    CheckList,
    Choice,
    FileField,
    HtmlView,
    NumberField,
    Progress,
    Slider,
)
from workbook.theme import read_static


def test_every_control_has_a_drawing() -> None:
    script = read_static("controls.js")
    kinds = set(re.findall(r"^  (\w+)\(model, el\) \{", script, re.M))
    classes = {getattr(controls, name) for name in controls.__all__}
    assert {cls().kind if cls is not Button else cls("x").kind for cls in classes} == kinds


def test_the_script_travels_with_the_control() -> None:
    sent = Slider(label="Coats").get_state()
    assert "export default" in sent["_esm"]
    assert "--cpw-surround: #777777" in sent["_css"]
    assert not re.search(r"https?://", sent["_esm"] + sent["_css"])


def test_a_slider_stays_inside() -> None:
    slider = Slider(label="Coats", min=1, max=8, value=3)
    slider.value = 99
    assert slider.value == 8
    slider.value = -1
    assert slider.value == 1


def test_a_choice_is_one_of_its_options() -> None:
    choice = Choice(["silver", "gold"], label="Ground")
    assert choice.value == "silver"
    with pytest.raises(traitlets.TraitError, match="bronze"):
        choice.value = "bronze"
    assert choice.value == "silver"


def test_a_check_list_keeps_the_order_of_its_options() -> None:
    checks = CheckList(options=["a", "b", "c"], value=["c", "a", "x"], label="Colours")
    assert checks.value == ["a", "c"]


def test_a_number_may_be_missing() -> None:
    assert NumberField(label="L*").value is None


def test_presses_reach_all_who_asked_and_only_presses() -> None:
    row = ButtonRow([("go", "Go"), {"name": "undo", "label": "Undo"}], label="Actions")
    heard: list[str] = []
    row.on_press(heard.append)
    row.on_press(lambda name: heard.append(name.upper()))
    row._message(row, {"event": "press", "name": "go"}, [])
    row._message(row, {"event": "other", "name": "go"}, [])
    assert heard == ["go", "GO"]
    row.enable("undo", False)
    assert [b.get("disabled") for b in row.buttons] == [None, True]
    view = HtmlView("<button data-press='card'>x</button>")
    view.on_press(heard.append)
    view._message(view, {"event": "press", "name": "card"}, [])
    assert heard[-1] == "card"


def send(upload: FileField, pieces: list[bytes], order: list[int], size: int) -> None:
    for index in order:
        content = {"event": "piece", "index": index, "pieces": len(pieces), "name": "r.csv"}
        upload._message(upload, {**content, "size": size}, [memoryview(pieces[index])])


def test_a_file_comes_whole_or_not_at_all() -> None:
    upload = FileField(label="Reading", most_bytes=10)
    got: list[tuple[str, bytes]] = []
    upload.on_file(lambda name, content: got.append((name, content)))
    pieces = [b"abc", b"def", b"g"]
    send(upload, pieces, [0, 2], 7)  # a piece lost
    send(upload, pieces, [0, 1, 1, 2], 7)  # a piece doubled
    send(upload, pieces, [0, 1, 2], 8)  # shorter than it said
    send(upload, [b"123456", b"78901"], [0, 1], 11)  # more than may come
    assert got == []
    send(upload, pieces, [0, 1, 2], 7)
    assert got == [("r.csv", b"abcdefg")]
    send(upload, [b""], [0], 0)
    assert got[-1] == ("r.csv", b"")


def test_progress_hears_cancel_and_nothing_else() -> None:
    bar, heard = Progress(label="Searching"), []
    bar.on_cancel(lambda: heard.append(bar.text))
    bar.start("looking")
    assert bar.running
    bar._message(bar, {"event": "press"}, [])
    assert heard == []
    bar._message(bar, {"event": "cancel"}, [])
    assert heard == ["looking"]
    bar.finish("stopped")
    assert (bar.running, bar.text) == (False, "stopped")
    bar.cancel()
    assert heard == ["looking", "stopped"]
