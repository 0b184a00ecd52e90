"""What a browser sends and is shown, without one: presses, files in pieces, long work, pictures."""

from __future__ import annotations

import base64
import re
import threading
from typing import Any

import pytest

from matchlib.errors import DomainError, FileError
from workbook.figures import Raw
from workbook.page import Page, Press, frame, steps_list
from workbook.page.fields import button, check, choice, field, problem, slider
from workbook.page.pictures import areas, axes, chance, coats, tenths


class Told:
    """A screen that keeps what it is told."""

    def __init__(self) -> None:
        self.address: dict[str, str] = {}
        self.presses: list[Press] = []
        self.errors: list[Exception] = []
        self.shown = "shown"

    def draw(self) -> str:
        return self.shown

    def press(self, done: Press) -> None:
        self.presses.append(done)
        if done.do == "fail":
            raise DomainError("This is wrong.", remedy="mend it.")

    def wrong(self, error: Exception, done: Press | None) -> None:
        self.errors.append(error)


@pytest.fixture
def page() -> Page:
    return Page(Told())


def send(page: Page, **content: Any) -> None:
    buffers = [content.pop("data")] if "data" in content else []
    page._message(page, content, buffers)


def test_a_page_arrives_with_its_address_and_is_drawn_at_every_press(page: Page) -> None:
    send(page, event="open", address="?job=3&step=read", fields={"paper": "A4"}, serial=1)
    assert page.screen.address == {"job": "3", "step": "read"}
    assert (page.html, page.address, page.answered) == ("shown", "?job=3&step=read", 1)
    send(page, event="do", do="shelf", value="x", fields={"colours": "rust\n\nteal\n"},
         serial=2)  # fmt: skip
    done = page.screen.presses[-1]
    assert (done.do, done.value, done.ticked("colours")) == ("shelf", "x", ["rust", "teal"])
    page.redraw()
    assert page.answered == 2, "what is drawn by itself answers nothing"
    send(page, event="do", do="fail", serial=3)
    assert [type(e) for e in page.screen.errors] == [DomainError]
    assert page.answered == 3, "it is drawn after what went wrong too"


def test_a_file_comes_whole_or_not_at_all(page: Page, monkeypatch: pytest.MonkeyPatch) -> None:
    def pieces(*parts: bytes, size: int, order: Any = None) -> list[Press]:
        page.screen.presses.clear()
        for index in order or range(len(parts)):
            more = {"pieces": len(parts), "size": size, "do": "file", "name": "a.csv"}
            send(page, event="piece", index=index, data=parts[index], **more)
        return page.screen.presses

    (done,) = pieces(b"ab", b"cd", size=4)
    assert (done.do, done.value, done.content) == ("file", "a.csv", b"abcd")
    assert pieces(b"ab", b"cd", b"ef", size=6, order=(0, 2, 1)) == []
    assert pieces(b"ab", b"cd", b"ef", size=6, order=(0, 1, 1, 2)) == []
    assert pieces(b"ab", b"c", size=4) == [], "a piece was cut short"
    assert len(pieces(b"ab", b"cd", size=4)) == 1, "and the next file comes all the same"
    photo = bytes(30_000_000)
    assert len(pieces(photo, size=len(photo))) == 1, "a large photograph is no mistake"
    monkeypatch.setattr("workbook.page.page._MOST_BYTES", 3)
    assert pieces(b"ab", b"cd", size=4) == [], "too large"
    assert [type(e) for e in page.screen.errors] == [FileError] * 4, "and it is said"


def test_of_two_works_the_one_begun_last_counts(page: Page) -> None:
    gate, heard, over = threading.Event(), [], threading.Event()
    others = set(threading.enumerate())
    page.later("first", lambda _: gate.wait(20) and "old", heard.append)
    page.later("second", lambda _: "new", lambda found: (heard.append(found), over.set()))
    assert over.wait(20)
    gate.set()
    for thread in set(threading.enumerate()) - others:
        thread.join(20)
    assert heard == ["new"]
    assert page.working == ""


def test_work_that_fails_is_told_to_the_screen(page: Page) -> None:
    def fail(_: object) -> None:
        raise DomainError("No such film.")

    page.later("working", fail, lambda _: pytest.fail("it went wrong"))
    for _ in range(200):
        if page.screen.errors:
            break
        threading.Event().wait(0.05)
    assert [str(e) for e in page.screen.errors] == ["No such film."]


def test_a_file_is_offered_once(page: Page) -> None:
    page.offer("job.pdf", b"%PDF")
    kind, _, data = page.download["data"].partition(";base64,")
    assert (page.download["name"], kind) == ("job.pdf", "data:application/pdf")
    assert base64.b64decode(data) == b"%PDF"


def test_a_chance_is_so_many_of_ten_marks() -> None:
    rows = [chance(p) for p in (0.0, 0.04, 0.05, 0.449, 0.45, 0.95, 1.0)]
    assert [n for n, _ in rows] == [0, 0, 1, 4, 5, 10, 10]
    assert [w for _, w in rows][1:3] == ["hardly any", "1 of 10"]
    for p in (0.0, 0.26, 1.0):
        assert tenths(p).count('class="wb-on"') == chance(p)[0]


def test_the_dot_is_in_the_band_while_its_axis_alone_passes() -> None:
    drawn = str(axes([("darker", "lighter", v, 1.0) for v in (-1.0, 0.5, 1.0, 1.1, 99.0)]))
    ((left, width),) = set(re.findall(r'wb-pass" x="(\d+)" y="5" width="(\d+)"', drawn))
    low, high = float(left), float(left) + float(width)
    at = [float(x) for x in re.findall(r'cx="([\d.]+)"', drawn)]
    assert [low <= x <= high for x in at] == [True, True, True, False, False]
    assert (at[0], at[2]) == (low, high)
    assert at == sorted(at)
    assert at[-1] <= 170, "the farthest stays on the line"
    assert re.findall(r'aria-label="(.*?)"', drawn)[:2] == ["darker by 1.0", "lighter by 0.5"]


def test_coats_are_counted_on_from_those_that_are_there() -> None:
    drawn = str(coats([(60, 0, 0), (50, 9, 9), (40, 9, 9)], (30, 9, 9), first="now", counted=3))
    assert re.findall(r'wb-tick".*?>(.*?)<', drawn) == ["now", "3", "4", "aim"]
    assert "now 60.0 0.0 0.0, 3 50.0 9.0 9.0" in drawn


def test_what_a_screen_cannot_show_is_marked() -> None:
    assert "outside" in areas([(50, -120, 90)], words="w")
    assert "outside" not in areas([(50, 10, 10)], words="w")


def test_fields_show_what_is_in_them_and_escape_it() -> None:
    bad = '"><script>'
    every = (
        field(bad, "n", bad, help=bad),
        field("l", "n", bad, lines=3),
        choice(bad, "n", {bad: bad}, bad),
        check(bad, "n", bad, True, do="x"),
        slider(bad, "n", 1, low=0, high=2, texts=[bad] * 3),
        button(bad, "do", bad, spoken=bad),
        problem(DomainError(bad)),
        frame(bad, "", place=bad, undo=bad),
        steps_list([("a", bad, bad)], "a"),
    )
    for drawn in every:
        assert isinstance(drawn, Raw)
        assert "<script" not in drawn
        assert "&lt;script" in drawn
    two = choice("l", "n", {"a": "A", "b": "B"}, "b")
    assert 'value="b" selected' in two
    assert 'value="a">' in two
    assert [("checked" in check("l", "n", "v", on)) for on in (True, False)] == [True, False]
    assert [("disabled" in button("l", "d", off=off)) for off in (True, False)] == [True, False]
    assert ">low<" in slider("l", "n", 5, low=5, high=6, texts=["low", "high"])


def test_what_went_wrong_is_said_and_what_is_ours_apart_from_what_is_not() -> None:
    assert "mend it" in problem(DomainError("This is wrong.", remedy="mend it."))
    assert "inside the workbook (KeyError" in problem(KeyError("x"))
    assert problem(None) == ""


def test_steps_say_where_one_is_what_is_done_and_what_is_shut() -> None:
    drawn = str(steps_list([(n, n, n.upper()) for n in "abc"], "b", past="ab", shut="c"))
    a, b, c = drawn.split("</li>")[:3]
    assert "<span>✓</span>" in a
    assert 'aria-current="step"' in b
    assert "<span>B</span>" in b, "where one is shows its mark"
    assert [("disabled" in each) for each in (a, b, c)] == [False, False, True]


def test_an_undo_stands_at_the_foot_though_nothing_goes_on() -> None:
    assert "Undo: chose the recipe" in frame("t", "", place="p", undo="chose the recipe")
    assert "wb-bottom" not in frame("t", "", place="p")
