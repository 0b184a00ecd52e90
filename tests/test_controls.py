"""The Python side of the controls; `tests/browser/test_controls.py` has the other."""

from __future__ import annotations

import re

from workbook import controls
from workbook.controls import ButtonRow, CheckList, FileField, Progress
from workbook.theme import read_static


def test_every_control_has_a_drawing() -> None:
    script = read_static("controls.js")
    kinds = set(re.findall(r"^  (\w+)\(model, el\) \{", script, re.M))
    assert {getattr(controls, name)().kind for name in controls.__all__} == kinds


def test_the_script_travels_with_the_control() -> None:
    sent = CheckList(label="Colours").get_state()
    assert "export default" in sent["_esm"]
    assert ".cpw-checks" in sent["_css"]
    assert not re.search(r"https?://", sent["_esm"] + sent["_css"])


def test_a_check_list_keeps_the_order_of_its_options() -> None:
    checks = CheckList(options=["a", "b", "c"], value=["c", "a", "x"], label="Colours")
    assert checks.value == ["a", "c"]


def test_presses_reach_all_who_asked_and_only_presses() -> None:
    row = ButtonRow([{"name": "go", "label": "Go"}, {"name": "undo", "label": "Undo"}])
    heard: list[str] = []
    row.on_press(heard.append)
    row.on_press(lambda name: heard.append(name.upper()))
    row._message(row, {"event": "press", "name": "go"}, [])
    row._message(row, {"event": "other", "name": "go"}, [])
    assert heard == ["go", "GO"]
    row.enable("undo", False)
    assert [b.get("disabled") for b in row.buttons] == [None, True]


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
