"""Figures: well formed, escaped, told in words, and true to the numbers they are given."""

from __future__ import annotations

import datetime as dt
import re
from html.parser import HTMLParser
from typing import ClassVar
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from matchlib.colorimetry import to_srgb
from workbook import figures as f
from workbook.figures.svg import nice_ticks, screen_colours, shape

RED = (42.0, 48.0, 22.0)
BLUE_OUTSIDE = (45.2, 60.0, -90.0)
HOSTILE = "<script>alert(1)</script>\"'&"


class Balance(HTMLParser):
    """Every tag that opens closes, in order."""

    VOID: ClassVar = {"br", "img", "hr", "input"}

    def __init__(self, html: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.said = ""
        self.feed(html)
        self.close()
        assert self.open == [], f"left open: {self.open}"

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        assert self.open, f"{tag} closes nothing"
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.said += data


def every_figure(name: str) -> dict[str, str]:
    day = dt.date(2025, 3, 1)
    return {
        "areas": f.areas([BLUE_OUTSIDE, None], words=name),
        "lab_chart": f.lab_chart([f.Mark(RED, name, name), f.Mark(BLUE_OUTSIDE, "b")], title=name),
        "timeline": f.timeline({name: [(day, 0.1)]}, title=name, y_name=name, band=(-1, 1)),
        "bars": f.bars([name], [40.0], title=name, unit=name),
        "table": f.table([name, "n"], [[name, f.areas([RED], words=name)]], caption=name),
    }


@pytest.mark.parametrize("kind", list(every_figure("x")))
def test_names_cannot_become_markup(kind: str) -> None:
    page = Balance(every_figure(HOSTILE)[kind])
    assert "script" not in {tag for tag, _ in page.tags}
    for _, attributes in page.tags:
        assert not {a for a in attributes if a.startswith("on") or a in {"alert(1)"}}
    assert "<script>alert(1)" in page.said + str(page.tags)  # shown as it was written


@pytest.mark.parametrize("kind", list(every_figure("x")))
def test_pictures_say_what_they_show(kind: str) -> None:
    drawn = every_figure("gold, 4 coats")[kind]
    images = re.findall(r"<svg\b.*?</svg>", drawn, re.S)
    assert images or "<table" in drawn
    for image in images:
        if 'aria-hidden="true"' in image.split(">", 1)[0]:
            continue
        root = ET.fromstring(image)  # noqa: S314  drawn here a moment ago
        assert root.get("role") == "img"
        assert root.get("aria-label")
        assert root[0].tag.endswith("title")


def test_a_swatch_is_the_colour_and_has_its_numbers() -> None:
    drawn = f.areas([RED], words=f.numbers(RED))
    rgb, inside = to_srgb(np.array([RED]))
    assert inside.all()
    assert "#" + "".join(f"{round(255 * c):02x}" for c in rgb[0]) in drawn
    assert "42.0 48.0 22.0" in drawn
    assert "outside" not in drawn


def test_a_colour_no_screen_shows_is_marked_in_words_and_by_a_corner() -> None:
    assert not screen_colours([BLUE_OUTSIDE])[0][1]
    inside, outside = (f.areas([lab], words="a card") for lab in (RED, BLUE_OUTSIDE))
    assert "outside what a screen can show" in outside
    assert outside.count("<path") > inside.count("<path")


def test_a_minus_is_a_minus_and_zero_has_none() -> None:
    assert f.number(-12.34) == "−12.3"
    assert f.number(-0.04) == "0.0"
    assert f.number(float("nan")) == "–"


def test_a_pair_never_sprayed_says_so() -> None:
    from matchlib.demo import demo_panels
    from matchlib.overview import coverage

    found = coverage(demo_panels())
    neat = [g for g in found.grounds if g.neat], [c for c in found.colours if c.neat]
    drawn = f.coverage_picture(found, *neat, caption="c")
    assert drawn.count("<span>never sprayed</span>") == len(found.never) == 5
    assert drawn.count('scope="row"') == len(neat[0])
    cell = drawn.split('aria-label="cherry over silver: ')[1]
    assert cell.startswith(f"{len(found.cells[neat[0][0], neat[1][-1]])} cards")


def test_each_swatch_of_the_value_chart_stands_at_its_own_lightness() -> None:
    from matchlib.domain import Ground, Recipe
    from matchlib.lessons import Rung

    def ladder(name: str, *lights: float) -> list[Rung]:
        recipe = Recipe(Ground.parse(name))
        return [Rung(recipe, n, (v, 0.0, 0.0), 0.5, ()) for n, v in enumerate(lights)]

    ladders = [ladder("black", 20.0, 10.0), ladder("white", 90.0, 50.0)]
    drawn = f.value_chart(ladders, title="t")
    tops = [float(y) for y in re.findall(r'<rect x="[\d.]+" y="([-\d.]+)"', drawn)]
    white, thin, black, dark = tops
    assert white < thin < black < dark
    assert (dark - black) / (thin - white) == pytest.approx(10.0 / 40.0, abs=0.01)
    assert f.value_words(ladders).startswith("After 1 coat white is 40 L* lighter than black")
    assert f.value_words(ladders[:1]) == ""


def test_each_kind_of_mark_has_its_own_outline() -> None:
    drawn = {re.sub(r"[\d.-]+", "", shape(k, 10, 10, 5, "#000")) for k in range(5)}
    assert len(drawn) == 5


def test_the_chart_is_to_scale() -> None:
    """The distance between marks is the same number of pixels a unit on both axes."""
    marks = [f.Mark((50, 0, 0), "a"), f.Mark((50, 10, 0), "a"), f.Mark((50, 0, 10), "a")]
    first = re.findall(r"<svg\b.*?</svg>", f.lab_chart(marks), re.S)[0]
    spots = [
        tuple(map(float, s)) for s in re.findall(r'<circle cx="([\d.]+)" cy="([\d.]+)"', first)
    ]
    (x0, y0), (x1, y1), (x2, y2) = spots
    assert x1 - x0 == pytest.approx(y0 - y2, abs=0.2)
    assert x1 - x0 > 50
    assert (y1, x2) == pytest.approx((y0, x0), abs=0.2)


def test_the_outline_of_reach_holds_its_points() -> None:
    cloud = np.random.default_rng(3).uniform((20, -30, -30), (80, 30, 30), (50, 3))
    drawn = f.lab_chart([f.Mark(RED, "target")], reachable=cloud)
    assert drawn.count('class="wb-hull"') == 3  # two outlines and the legend
    assert "within reach" in drawn
    # Points in a line or alone span no area and draw no outline.
    line = [(50, 10 * k, 10 * k) for k in range(4)]
    for flat in ([RED, RED], line):
        first = f.lab_chart([f.Mark(RED, "t")], reachable=flat).split("</svg>")[0]
        assert "wb-hull" not in first


def test_what_is_not_known_has_an_empty_bar_and_says_so() -> None:
    drawn = str(
        f.bars(["law", "nearest"], [float("nan"), 2.0], title="miss", unit="ΔE00", digits=1)
    )
    widths = [float(w) for w in re.findall(r'width="([\d.]+)"[^>]*class="wb-fill"', drawn)]
    assert widths == [0.0, 300.0]
    assert "law: not known" in drawn


def test_empty_archives_draw_words() -> None:
    assert "Nothing to show yet" in f.lab_chart([])
    assert "No dated panels" in f.timeline({}, title="Drift", y_name="ΔE00")
    assert "Nothing to show" in f.table(["a"], [], caption="c")
    assert f.bars([], [], title="none")


@example(low=1.0, span=401.0, about=2)
@given(st.floats(-1e4, 1e4), st.floats(1e-3, 1e4), st.integers(2, 9))
def test_ticks_lie_inside_and_are_evenly_spaced(low: float, span: float, about: int) -> None:
    ticks = nice_ticks(low, low + span, about)
    assert 1 <= len(ticks) <= 2 * about + 2
    assert all(low - 1e-6 * span - 1e-6 <= t <= low + span + 1e-6 * span + 1e-6 for t in ticks)
    if len(ticks) > 2:
        steps = np.diff(ticks)
        assert steps == pytest.approx(steps[0], rel=1e-6)
        leading = steps[0] / 10 ** np.floor(np.log10(steps[0]) + 1e-6)
        assert min(abs(leading - k) for k in (1, 2, 5)) < 1e-3
