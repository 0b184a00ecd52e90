"""The drawing of the cup says what it shows, and never the wrong way round."""

import itertools
import re
from fractions import Fraction
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given
from hypothesis import strategies as st

from matchlib.domain import Colour, MixRatio, Recipe
from tests.trade_words import MIXES
from workbook.cup import cup_layers, cup_speech, cup_svg, cups_of, label_heights

SVG = "{http://www.w3.org/2000/svg}"
NAMES = st.text(st.sampled_from("abc <>&\"'é-"), min_size=1, max_size=20).filter(str.strip)
COLOURS = st.one_of(
    st.none(),
    st.lists(NAMES, min_size=1, max_size=4, unique_by=lambda n: " ".join(n.split()).casefold())
    .map(lambda names: Colour(tuple((n, i + 1) for i, n in enumerate(names)))),
)  # fmt: skip


def test_each_cup_holds_the_colour_of_its_coats():
    cherry, lagoon = Colour.parse("cherry"), Colour.parse("lagoon")
    six, four = MixRatio.parse("6:1"), MixRatio.parse("4:1")
    for schedule, cups in (
        ("2@6:1 lagoon, 1@4:1 cherry, 1@6:1 lagoon", [(six, lagoon), (four, cherry)]),
        ("2@6:1 lagoon, 1@6:1 cherry", [(six, lagoon), (six, cherry)]),
        ("2@6:1 lagoon, 1@4:1 lagoon, 1@6:1 lagoon", [(six, lagoon), (four, lagoon)]),
    ):
        assert cups_of(Recipe.of("silver", None, schedule)) == cups
    assert cups_of(Recipe.of("silver")) == []


@given(MIXES, COLOURS)
def test_layers_are_the_ratio(ratio, colour):
    layers = cup_layers(ratio, colour)
    carrier = sum(x.parts for x in layers if x.what == "carrier")
    dyes = sum(x.parts for x in layers if x.what != "carrier")
    # Compared as parts: a cup of whole parts may be too many for a ratio as it is written.
    assert carrier * ratio.colour == dyes * ratio.carrier
    assert layers[0].low == 0
    assert layers[-1].high == 1
    top = sum(x.high - x.low for x in layers if x.what != "carrier")
    assert top == pytest.approx(ratio.fraction)
    if ratio.carrier:
        assert layers[0].what == "carrier"
    if colour is not None and not colour.neat:
        assert all(x.parts.denominator == 1 for x in layers)


@given(MIXES)
def test_the_speech_is_never_reversed(ratio):
    match = re.search(
        r"That is (\S+) parts? carrier to (\S+) parts? colour, written (\S+);", cup_speech(ratio)
    )
    assert MixRatio(Fraction(match[1]), Fraction(match[2])) == ratio
    assert MixRatio(*map(Fraction, match[3].split(":"))) == ratio
    assert ("wrong way round" in cup_speech(ratio)) == (ratio.looks_reversed and ratio.carrier > 0)


@given(MIXES, COLOURS)
def test_the_drawing_is_whole_and_speaks(ratio, colour):
    root = ET.fromstring(cup_svg(ratio, colour))  # noqa: S314 - our own output
    assert root.get("role") == "img"
    spoken = {e.get("id"): e.text for e in root if e.tag in (f"{SVG}title", f"{SVG}desc")}
    assert set(root.get("aria-labelledby").split()) == set(spoken)
    assert cup_speech(ratio, colour) in spoken.values()
    assert ratio.words in spoken.values()
    texts = ["".join(t.itertext()) for t in root.iter(f"{SVG}text")]
    layers = cup_layers(ratio, colour)
    assert len(texts) == len(layers)
    for text, layer in zip(texts, layers, strict=True):
        assert re.sub(r"\s", "", text) == re.sub(r"\s", "", layer.words)
    patterns = {p.get("id") for p in root.iter(f"{SVG}pattern")}
    used = re.findall(r"url\(#([^)]+)\)", ET.tostring(root, encoding="unicode"))
    assert set(used) == patterns
    assert len(patterns) >= min(2, len(layers))
    tall = float(root.get("viewBox").split()[3])
    heights = sorted(float(s.get("y")) for s in root.iter(f"{SVG}tspan"))
    assert heights[0] > 10
    assert heights[-1] < tall
    assert all(b - a > 10 for a, b in itertools.pairwise(heights))


def test_names_are_escaped():
    svg = cup_svg(MixRatio(6, 1), colour=Colour.parse("<script>alert(1)</script>"))
    assert "<script" not in svg
    assert "&lt;script&gt;" in svg


def test_two_drawings_on_a_page_do_not_share_ids():
    first, second = (cup_svg(MixRatio(n, 1)) for n in (6, 3))
    assert not set(re.findall(r'id="([^"]+)"', first)) & set(re.findall(r'id="([^"]+)"', second))


@given(MIXES, COLOURS)
def test_labels_do_not_overlap(ratio, colour):
    layers = cup_layers(ratio, colour)
    places = label_heights(layers, height=20.0 * len(layers), gap=20.0)
    assert all(b - a >= 20 - 1e-9 for a, b in itertools.pairwise(places))
    assert places[0] >= -1e-9
