"""The job sheet says all that the sprayer needs, on both papers, and never turned round."""

import dataclasses
import io
import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pypdf import PdfReader

from matchlib import mixing
from matchlib.cautions import BOOTH_PROMPTS, CAUTIONS, DEFERENCE, cautions_at
from matchlib.colorimetry import Tolerance
from matchlib.domain import CoatSchedule, CoatStep, Colour, Ground, MixRatio, Recipe, Viewing
from matchlib.errors import DomainError
from matchlib.explain import CoatReadings
from matchlib.explain.coats import CoatReading
from matchlib.forecast import Forecast, ForecastAngle
from matchlib.trade import TROUBLES
from tests.printed import printed, squeezed
from tests.trade_words import MIXES
from workbook.jobsheet import PRINT_NOTE, JobSheet, jobsheet_pdf
from workbook.paper import paper_size
from workbook.sheet_parts import lab_words

USE = mixing.CoatUse.of_film(12, volume_solids=0.3, transfer=mixing.TransferRange(0.6, 0.7))


WANTED, LAB = (38.2, -21.4, -18.9), (37.6, -20.8, -19.6)
FOUND = Forecast(
    recipe=Recipe.of("silver", "teal", "2@6:1"),
    lab=LAB,
    covariance=np.eye(3),
    dof=9.0,
    expected=0.91,
    sd=0.5,
    probability=0.63,
    viewing=Viewing(),
    delta_e00=0.91,
    sd_delta_e00=0.5,
    difference=0.82,
    tolerance=Tolerance(),
    angles=(ForecastAngle(Viewing(), 1.0, WANTED, LAB, 0.82, 0.82),),
)


def coats_of(what):
    """What each coat should read, whatever it is."""
    coats = tuple(CoatReading(n, (50.0, 0.0, 0.0), 0.8) for n in range(what.coats + 1))
    return CoatReadings(coats, None, True)


def plain(title, what, **more):
    """A sheet without a target."""
    return JobSheet(title, what, dataclasses.replace(FOUND, angles=()), coats_of(what), **more)


def read(data):
    return PdfReader(io.BytesIO(data))


def recipe(schedule="2@6:1 2@3:1", colour="teal 2 + violet 1"):
    return Recipe(
        Ground.parse("silver"), Colour.parse(colour), CoatSchedule.parse(schedule), "satin clear"
    )


def job(what=None, **more):
    what = what or recipe()
    pot = None
    if what.schedule is not None:
        pot = mixing.pot(what, area=mixing.JobArea.sheet(1000, 500), use=USE, mark_ml=5)
    return JobSheet(
        title="Cabinet door",
        recipe=what,
        found=FOUND,
        coats=coats_of(what),
        target_name="Deep lagoon",
        pot=pot,
        notes=("Read dry & cool.",),
        panel_code="T-204",
        customer="Ivy <& Co>",
        **more,
    )


@pytest.fixture(scope="module", params=["A4", "Letter"])
def sheet_text(request):
    return printed(jobsheet_pdf(job(), paper=request.param))


@pytest.mark.parametrize(
    "words",
    [
        "Cabinet door",
        "Deep lagoon",
        "Ivy <& Co>",
        "L* 38.2 a* −21.4 b* −18.9",
        "L* 37.6 a* −20.8 b* −19.6",
        "ΔE00 0.82",
        "± 0.50",
        "Chance of being within it: 63%",
        "Enough with a chance of 95%, as far",
        PRINT_NOTE,
        recipe().words,
        "18 parts carrier",
        "2 parts colour (teal)",
        "Sprayed, flash-off by data sheet",
        "Place 3: L*",
        "Ground batch",
        "Overlap ____% (75 is usual)",
        "clear coat satin clear",
        "Read dry & cool.",
        "T-204",
        "Sprayer",
        "page 2 of 3",
        DEFERENCE,
        *(p.text for p in BOOTH_PROMPTS),
        *(f"{t.name}: {t.check[0]}" for t in TROUBLES),
        *(c.text for c in CAUTIONS),
        *(s for c in CAUTIONS for s in c.sources),
    ],
)
def test_what_is_on_the_sheet(sheet_text, words):
    assert squeezed(words) in sheet_text


def test_the_sheet_promises_nothing_for_certain():
    sure = dataclasses.replace(FOUND, probability=0.9999)
    text = printed(jobsheet_pdf(dataclasses.replace(job(), found=sure)))
    assert squeezed("Chance of being within it: over 99%") in text


def test_the_quantities_are_those_of_the_pot(sheet_text):
    pot = job().pot
    for group in pot.groups:
        for portion in group.pour.portions:
            text = f"{mixing.format_volume(portion.ml)} {portion.words}"
            assert squeezed(text) in sheet_text
        assert squeezed(group.pour.marks) in sheet_text
    for portion in pot.needs:
        assert squeezed(f"{mixing.format_volume(portion.ml)} {portion.words}") in sheet_text


def test_flash_times_are_left_to_the_data_sheet(sheet_text):
    assert not re.search(r"flash[^.]{0,60}\d+min", sheet_text, re.IGNORECASE)


@settings(max_examples=5)
@given(st.lists(MIXES, min_size=2, max_size=6))
def test_no_ratio_is_reversed_on_paper(ratios):
    schedule = CoatSchedule(tuple(CoatStep(2, r) for r in ratios))
    what = Recipe(Ground.parse("silver"), Colour.parse("teal"), schedule)
    sheet = plain(
        "Job", what, pot=mixing.pot(what, area=mixing.JobArea.flat(1), use=USE), panel_code="T"
    )
    text = printed(jobsheet_pdf(sheet))
    held = {step.ratio for step in schedule.steps}
    turned = {MixRatio(r.colour, r.carrier) for r in held if r.looks_reversed and r.carrier}
    for ratio in held:
        assert squeezed(ratio.words) in text
        assert squeezed(f"{ratio}:{ratio.words}") in text
    for ratio in turned - held:
        assert "Was" + squeezed(f"{ratio} meant, {ratio.words}?") in text
    for ratio in {MixRatio(r.colour, r.carrier) for r in held if r.carrier} - held - turned:
        assert squeezed(f"{ratio}:{ratio.words}") not in text


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_paper_and_pages(paper):
    reader = read(jobsheet_pdf(job(), paper=paper))
    box = reader.pages[0].mediabox
    assert (float(box.width), float(box.height)) == pytest.approx(paper_size(paper), abs=0.01)
    assert len(reader.pages) <= 3
    assert reader.metadata.title == "Job sheet Cabinet door"
    assert not reader.metadata.author


def test_a_number_that_rounds_to_zero_has_no_minus():
    assert lab_words((34.1, -0.04, 0.1)) == "L* 34.1  a* 0.0  b* 0.1"


def test_the_same_sheet_is_the_same_file():
    assert jobsheet_pdf(job()) == jobsheet_pdf(job())


def test_a_bare_ground_has_a_sheet_too():
    bare = Recipe(Ground.parse("gold"), clear="yes")
    text = printed(jobsheet_pdf(job(bare)))
    assert "gold,bare,underclearcoat" in text
    assert "Pots" not in text


def test_a_sheet_with_nothing_but_a_recipe():
    text = printed(jobsheet_pdf(plain("Plain", recipe())))
    assert squeezed(recipe().words) in text
    assert squeezed("Label for the back") not in text
    for asked in ("Batch of the ground", "Overlap and distance", "Lot of each bottle", "Drawer"):
        assert squeezed(asked) in text


def test_of_two_layers_each_cup_and_coat_names_its_own_colour():
    layered = Recipe.of("silver", None, "2@6:1 lagoon, 1@4:1 cherry, 1@6:1 lagoon", "yes")
    text = printed(jobsheet_pdf(plain("Layered", layered)))
    cups = text[text.index("(carrierfirst)") : text.index("Coatsinorder")]
    assert cups.count("1partcolour(lagoon)") == cups.count("1partcolour(cherry)") == 1
    assert squeezed("cherry at 4:1: 4 parts carrier") in text
    assert text.count(squeezed("lagoon at 6:1: 6 parts carrier")) == 3


def test_a_reversed_ratio_is_asked_about():
    text = printed(jobsheet_pdf(job(recipe("4@1:3", "rose"))))
    assert squeezed("To ask before pouring") in text
    assert squeezed("Was 3:1 meant") in text


def test_a_colour_outside_the_screen_is_marked():
    (face,) = FOUND.angles
    angles = (dataclasses.replace(face, wanted=(50, 0, 0)),)
    found = dataclasses.replace(FOUND, lab=(80.0, -120.0, 100.0), angles=angles)
    sheet = dataclasses.replace(job(), found=found)
    text = printed(jobsheet_pdf(sheet))
    assert squeezed("Predicted (outside sRGB)") in text
    assert squeezed("Target (outside sRGB)") not in text


def test_the_longest_sheet_still_prints_all():
    colour = Colour(tuple((f"{chr(65 + i)}" * 60, i + 1) for i in range(6)))
    steps = tuple(CoatStep(2, MixRatio(n, 1)) for n in range(1, 21))
    what = Recipe(Ground.parse("silver"), colour, CoatSchedule(steps))
    sheet = dataclasses.replace(
        job(), recipe=what, title="T" * 200, notes=("word " * 400,), panel_code="c" * 80,
        pot=mixing.pot(what, area=mixing.JobArea.flat(3), use=USE), coats=coats_of(what),
    )  # fmt: skip
    text = printed(jobsheet_pdf(sheet, paper="Letter"))  # the shorter of the two
    for step in steps:
        assert squeezed(f"{step.ratio}:{step.ratio.words}") in text
    assert "T" * 200 in text
    assert text.count("word") >= 400


@pytest.mark.parametrize("paper", ["A5", "legal", ""])
def test_other_papers_are_refused(paper):
    with pytest.raises(DomainError, match="A4 or Letter"):
        jobsheet_pdf(job(), paper=paper)


def test_the_tolerance_is_printed_as_the_order_names_it_and_every_angle_has_its_line():
    face, flop = (Viewing(geometry=angle) for angle in ("45as15", "45as110"))
    angles = (
        ForecastAngle(face, 2.0, (61.0, 10.0, 5.0), (60.2, 10.4, 4.8), 0.6, 0.44),
        ForecastAngle(flop, 1.0, (22.0, 4.0, 1.0), (22.6, 4.1, 1.3), 0.6, 0.71),
    )
    cmc = Tolerance("CMC", 1.0, 2.0, 1.0)
    found = dataclasses.replace(FOUND, tolerance=cmc, difference=0.71, angles=angles)
    sheet = dataclasses.replace(job(), found=found)
    text = printed(jobsheet_pdf(sheet))
    for words in (
        "Tolerance: CMC(2:1) at most 1, at every angle",
        "CMC(2:1) 0.44",
        "Predicted difference: CMC(2:1) 0.71, at the worst angle",
        "Accept, against the target: CMC(2:1) at most 1, at every angle.",
        "L* 61.0 a* 10.0 b* 5.0",
        "L* 22.6 a* 4.1 b* 1.3",
        "0.71, at the worst angle, times what it counts",
        "2 times",
        "As measured, an angle passes: 45as15 up to CMC(2:1) 0.50; 45as110 up to CMC(2:1) 1.00.",
        "Read, 45as15: L*",
        "Read, 45as110: L*",
    ):
        assert squeezed(words) in text, words
    assert "ΔE00" not in text.split("Recipe")[0]
    assert len(read(jobsheet_pdf(sheet)).pages) <= 3
    alike = [dataclasses.replace(angle, weight=1.0) for angle in angles]
    found = dataclasses.replace(found, angles=tuple(alike))
    text = printed(jobsheet_pdf(dataclasses.replace(sheet, found=found)))
    assert squeezed("what it counts") not in text
    assert squeezed("As measured") not in text
    usual = printed(jobsheet_pdf(job()))
    assert squeezed("Tolerance: ΔE00 at most 1") in usual
    assert squeezed("Place 1: L*") in usual


def test_each_coat_says_what_it_should_read_and_what_the_clear_will_do():
    coats = tuple(CoatReading(n, (60.0 - 8 * n, 10.0 * n, 4.0), 0.8) for n in range(5))
    cleared = CoatReading(4, (25.0, 43.0, 5.0), 0.9)
    sheet = dataclasses.replace(job(), coats=CoatReadings(coats, cleared, True))
    text = printed(jobsheet_pdf(sheet))
    for n in range(5):
        assert squeezed(f"L* {60 - 8 * n:.1f} a* {10 * n:.1f} b* 4.0 ± 0.8") in text
    assert squeezed("then: L* 25.0 a* 43.0 b* 5.0") in text
    assert squeezed("3.0 L* darker and 3.1 C* more vivid") in text
    assert "guess" not in text
    guess = dataclasses.replace(sheet, coats=CoatReadings(coats, cleared, False))
    assert "guess" in printed(jobsheet_pdf(guess))
    assert CoatReadings(coats, None, True).clear_words == ""


def test_cautions_stand_at_their_step(sheet_text):
    for step in ("mix", "spray"):
        for caution in cautions_at(step):
            assert sheet_text.count(squeezed(caution.first)) >= 2
