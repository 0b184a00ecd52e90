"""Labels: all of the text is there, inside the label, and the code can be read back."""

import datetime as dt
import io
import itertools
import re
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pypdf import PdfReader
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics

from matchlib.domain import (
    CoatSchedule,
    CoatStep,
    Colour,
    Ground,
    GunSetup,
    MixRatio,
    Panel,
    Reading,
    Recipe,
    Viewing,
)
from matchlib.errors import DomainError
from tests.printed import printed, squeezed
from tests.trade_words import MIXES
from workbook.label import label_cells, label_lines, label_pdf, place_label
from workbook.paper import PAPERS, paper_size, qr_squares, wrap

NAMES = st.text("abcdefgh ÄñΩ", min_size=1, max_size=80).filter(str.strip)
RECIPES = st.builds(
    lambda ground, colour, steps: Recipe(
        Ground(((ground, 1),)),
        Colour(((colour, 1),)),
        CoatSchedule(tuple(CoatStep(1, r) for r in steps)),
    ),
    NAMES,
    NAMES,
    st.lists(MIXES, min_size=1, max_size=12),
)
PANELS = st.builds(Panel.of, NAMES, RECIPES, sprayer=st.sampled_from(["", "Ada R."]))
SIZES = st.tuples(st.floats(34 * mm, 200 * mm), st.floats(17 * mm, 90 * mm))


def plain(code="T-101", schedule="4@6:1", **more):
    recipe = Recipe(Ground.parse("silver"), Colour.parse("teal"), CoatSchedule.parse(schedule))
    return Panel.of(code, recipe, **more)


@settings(max_examples=30)
@given(PANELS, SIZES)
def test_no_text_is_lost_or_clipped(panel, box):
    blocks = label_lines(panel)
    placed = place_label(blocks, box)
    words = "".join(line.text for line in placed.lines)
    rest = "".join(text for _, text, _ in placed.rest)
    assert squeezed(words + rest) == squeezed("".join(text for _, text, _ in blocks))
    qr_x, qr_y, side = placed.qr
    assert qr_x + side <= box[0]
    assert qr_y >= 0
    for line in placed.lines:
        end = line.x + pdfmetrics.stringWidth(line.text, line.font, line.size)
        assert line.x >= 0
        assert end <= box[0]
        assert line.y - 0.25 * line.size >= 0
        assert line.y + line.size <= box[1]
        if line.y + line.size > qr_y:
            assert end <= qr_x


def test_the_label_says_what_the_panel_is():
    panel = plain(date=dt.date(2026, 11, 3), sprayer="Ada R.", lot="L7")
    data = label_pdf(panel)
    text = printed(data)
    for words in ("T-101", panel.recipe.words, "2026-11-03", "Ada R.", "L7"):
        assert squeezed(words) in text
    assert data == label_pdf(panel), "the same label is the same file"


@settings(max_examples=12)
@given(MIXES)
def test_a_printed_ratio_is_never_reversed(ratio):
    panel = plain(schedule=f"3@{ratio}")
    text = printed(label_pdf(panel))
    words = re.search(r"coatsof(\S+?)parts?carrierto(\S+?)parts?colour\((\S+?):(\S+?)\)", text)
    assert MixRatio(Fraction(words[1]), Fraction(words[2])) == ratio
    assert MixRatio(Fraction(words[3]), Fraction(words[4])) == ratio


def test_metadata_tells_nothing_of_the_machine():
    info = PdfReader(io.BytesIO(label_pdf(plain()))).metadata
    assert info.title == "Panel label T-101"
    assert not info.author
    assert info.creator == "candy-panel-workbook"
    # A fixed date, not the hour of printing.
    assert info.creation_date is None or info.creation_date.year == 2000


def test_a_panel_read_at_several_angles_says_each_as_it_was_read_last():
    def read(angle, light):
        return Reading(lab=(light, 10.0, -5.0), viewing=Viewing(geometry=angle))

    text = printed(label_pdf(plain(readings=(
        read("45as15", 60.0), read("45as110", 21.0), read("45as15", 61.0)
    ))))  # fmt: skip
    for light, angle in ((61.0, "45as15"), (21.0, "45as110")):
        assert squeezed(f"Reads L* {light} a* 10.0 b* −5.0 (D65/10° {angle})") in text
    assert text.count("Reads") == 2


def test_a_lot_that_is_called_lot_is_not_called_so_twice():
    assert label_lines(plain(lot="lot 13"))[3][1].startswith("Lot 13 · Ground")
    assert label_lines(plain(lot="L7"))[3][1].startswith("Lot L7 · Ground")


def test_a_card_of_two_days_names_both_sprayers_and_lots():
    first = plain(
        date=dt.date(2026, 11, 30),
        sprayer="Bo",
        lot="L1",
        lots=(("carrier", "12"),),
        temperature=21.0,
        setup=GunSetup(tip=1.2, overlap=75.0),
    )
    more = {"date": dt.date(2026, 12, 1), "sprayer": "Cy", "lot": "L2"}
    both = first.recipe.then(CoatSchedule.parse("1@8:1"))
    card = first.built_on(both, lots=first.stages[0].lots, **more)
    lines = [text for _, text, _ in label_lines(card)]
    assert lines[2] == "Date 2026-11-30, then 2026-12-01 · Sprayer Bo, then Cy"
    assert lines[3].startswith("Lot L1, then L2; carrier: 12 · Ground batch")
    assert lines[4] == "Gun: tip 1.2 mm, overlap 75%"
    assert lines[5].startswith("Booth 21 °C ____ %RH")


@pytest.mark.parametrize("code", ["T-101", "Ωμ-Ж日本", "x" * 80, "a b/c?&<>"])
def test_the_qr_code_reads_back(code):
    cv2 = pytest.importorskip("cv2")  # the photo extra, part of the test extra
    modules, runs = qr_squares(code)
    image = np.full((modules * 8, modules * 8), 255, np.uint8)
    for row, column, length in runs:
        image[row * 8 : row * 8 + 8, column * 8 : (column + length) * 8] = 0
    read, _, _ = cv2.QRCodeDetector().detectAndDecode(image)
    assert read == code


@pytest.mark.parametrize("sheet", sorted(PAPERS))
def test_sheets(sheet):
    reader = PdfReader(io.BytesIO(label_pdf([plain(f"T-{i}") for i in range(12)], sheet=sheet)))
    box = reader.pages[0].mediabox
    assert (float(box.width), float(box.height)) == pytest.approx(paper_size(sheet), abs=0.01)
    per_page = 10 if sheet in ("A4", "Letter") else 1
    assert len(reader.pages) == -(-12 // per_page)


def test_iso_216_halves():
    # ISO 216: each size is the next larger one halved, rounded down to whole millimetres.
    for larger, smaller in (("A4", "A5"), ("A5", "A6"), ("A6", "A7")):
        (width, height), (small_w, small_h) = PAPERS[larger], PAPERS[smaller]
        assert (small_w, small_h) == (height // 2, width)


@pytest.mark.parametrize("sheet", sorted(PAPERS))
def test_labels_stay_on_the_sheet_and_apart(sheet):
    (width, height), corners = label_cells(sheet)
    page = paper_size(sheet)
    for x, y in corners:
        assert x >= 4 * mm - 1e-6
        assert y >= 4 * mm - 1e-6
        assert x + width <= page[0] - 4 * mm + 1e-6
        assert y + height <= page[1] - 4 * mm + 1e-6
    for (x, y), (other_x, other_y) in itertools.combinations(corners, 2):
        assert abs(x - other_x) >= width + 3 * mm - 1e-6 or abs(y - other_y) >= height - 1e-6


def test_a_sheet_begun_is_used_up():
    two = [plain("A"), plain("B")]
    assert len(PdfReader(io.BytesIO(label_pdf(two, first=10))).pages) == 2


def test_a_long_recipe_goes_on_to_a_second_label():
    steps = " ".join(f"1@{n}:1" for n in range(1, 61))
    lots = tuple((f"colour {n}", f"lot of bottle {n}") for n in range(1, 31))
    panel = plain(schedule=steps, lots=lots)
    text = printed(label_pdf(panel))
    assert "continued(2)" in text
    assert "1coatof50partscarrier" in re.sub(r"T-101,continued\(\d+\)", "", text)


@pytest.mark.parametrize(
    "bad",
    [
        {"panels": []},
        {"first": 11},
        {"first": 0},
        {"sheet": "B17"},
    ],
)
def test_what_cannot_be_printed_is_said(bad):
    with pytest.raises(DomainError) as caught:
        label_pdf(**{"panels": plain()} | bad)
    assert caught.value.remedy


def test_long_words_are_broken_not_lost():
    label_lines(plain())
    lines = wrap("x" * 200, font="Sheet", size=10, width=50)
    assert "".join(lines) == "x" * 200


def test_the_back_holds_what_repeats_the_card():
    recipe = Recipe(
        Ground.parse("silver"), Colour.parse("teal"), CoatSchedule.parse("4@6:1"), "yes"
    )
    full = Panel.of(
        "T-9",
        recipe,
        (Reading(lab=(38.2, -21.4, -18.9), date=dt.date(2026, 11, 5)),),
        date=dt.date(2026, 11, 3),
        sprayer="Ada R.",
        lot="L7",
        batch="G 12",
        lots=(("carrier", "C3"),),
        setup=GunSetup("big gun", 1.3, 2.0, 250, 180, 75),
        temperature=21.0,
        humidity=48.0,
        clear_coats=2,
        drawer="B 3",
    )
    text = printed(label_pdf(full))
    for words in (
        "Lot L7; carrier: C3", "Ground batch G 12", "big gun, tip 1.3 mm, pressure 2 bar",
        "overlap 75%", "Booth 21 °C 48 %RH", "Coats of clear 2",
        "Reads L* 38.2 a* −21.4 b* −18.9", "on 2026-11-05", "Drawer B 3",
    ):  # fmt: skip
        assert squeezed(words) in text, words
    assert "____" not in text
    blank = printed(label_pdf(plain()))
    for words in ("Gun ____", "Overlap ____% (75 is usual)", "Booth ____", "Reads L* ____"):
        assert squeezed(words) in blank, words
    # The label is filled, not half blank: what is on it reaches its lower third.
    box = (92 * mm, 42 * mm)
    lowest = min(line.y for line in place_label(label_lines(full), box).lines)
    assert lowest < box[1] / 3
