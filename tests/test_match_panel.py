"""The match's panels, pressed from Python: what they compute, keep, undo, and say when refused."""

from __future__ import annotations

import base64
import re
import shutil
from collections.abc import Iterator
from html import unescape
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from matchlib.colorimetry import delta_e00
from matchlib.correction import Belief
from matchlib.domain import Reading, Viewing
from matchlib.errors import DomainError
from matchlib.explain import explain
from matchlib.forecast import forecast
from matchlib.holding import holding
from matchlib.suggest import Target
from matchlib.tails import chance_words
from tests.cli_shop import copied, demo_shop
from workbook.desk import UNFORESEEN, Said, saying
from workbook.figures import lab_text
from workbook.match import MatchApp, app
from workbook.match.keeping import SETTING, Tried, Work, plain_of, work_of
from workbook.session import Session, lab_of, recipe_of

AIM = (30.0, 44.0, 27.0)


def words(view: Any) -> str:
    """The text of an HtmlView, without its tags."""
    return unescape(re.sub(r"<[^>]+>", " ", view.html))


def settled(match: MatchApp) -> MatchApp:
    """Wait for what runs in threads."""
    for _ in range(3):
        for task in (match.fitting, *(p.task for p in match.panels.values())):
            if task.thread is not None:
                task.thread.join(120)
    return match


@pytest.fixture
def match(tmp_path: Path) -> Iterator[MatchApp]:
    archive = copied(tmp_path)
    shutil.copytree(demo_shop().archive.parent / "samples", tmp_path / "samples")
    with Session.open(archive) as session:
        yield settled(MatchApp(session))


@pytest.fixture
def aimed(match: MatchApp) -> MatchApp:
    type_target(match, AIM)
    return match


def type_target(match: MatchApp, lab: tuple[float, ...]) -> None:
    panel = match.panels["target"]
    panel.way.value = "lab"
    panel.light.value, panel.red.value, panel.yellow.value = lab
    panel.use.press("use")


def searched(match: MatchApp) -> Any:
    match.go("suggestions")
    settled(match)
    assert match.bench.found is not None, words(match.panels["suggestions"].said)
    return match.panels["suggestions"]


def test_every_way_to_a_target(match: MatchApp) -> None:
    panel = match.panels["target"]
    match.go("target")
    type_target(match, AIM)
    assert match.bench.target_lab == AIM
    assert "L* 30.0 a* 44.0 b* 27.0" in " ".join(words(panel.view).split())

    panel.way.value = "panel"
    panel.panel.value = "T001"
    panel.use.press("use")
    (own,) = match.bench.session.angles_of_panel("T001")
    assert match.bench.work.target == own

    panel.way.value = "sample"
    name, reading = next(iter(demo_shop().targets.items()))
    panel.sample.value = str(demo_shop().samples[name]).replace(
        str(demo_shop().archive.parent), str(match.bench.folder)
    )
    panel.use.press("use")
    assert match.bench.target_lab == pytest.approx(lab_of(reading))

    panel.way.value = "file"
    panel.file.receive("../../etc/order.csv", b"panel,L,a,b\nring,41.5,12,-7\n")
    assert match.bench.target_lab == (41.5, 12.0, -7.0)
    assert match.bench.work.target_name == "order"


def test_a_refused_target_changes_nothing_and_says_why(match: MatchApp) -> None:
    panel = match.panels["target"]
    type_target(match, AIM)
    before = match.bench.work
    for lab, said in (((30.0, None, 2.0), "not whole"), ((99.0, 90.0, -90.0), "colour")):
        panel.light.value, panel.red.value, panel.yellow.value = lab
        panel.use.press("use")
        assert said in words(panel.said)
        assert "Traceback" not in panel.said.html
    panel.way.value = "file"
    panel.file.receive("x.csv", b"<script>alert(1)</script>\n1\n")
    assert "<script>" not in panel.said.html
    assert words(panel.said).strip()
    panel.way.value = "photo"
    panel.photo.file.receive("x.jpg", b"no picture")
    panel.photo.task.thread.join(120)
    assert "What to do:" in words(panel.photo.view)
    panel.use.press("use")
    assert "no reading" in words(panel.said)
    assert match.bench.work == before


def test_a_photograph_gives_an_estimate_and_shows_where_it_looked(match: MatchApp) -> None:
    from tests.tools.render_scene import Scene, render, to_jpeg

    scene = render(Scene())
    panel = match.panels["target"]
    match.go("target")
    panel.way.value = "photo"
    panel.photo.file.receive("<b>panel</b>.jpg", to_jpeg(scene))
    panel.photo.task.thread.join(120)
    assert match.bench.work.target is None  # it is shown first, and a person confirms
    panel.photo.actions.press("use")
    target = match.bench.work.target
    assert target is not None, words(panel.said)
    assert target.source == "photo"
    assert target.viewing.geometry == "photo"
    assert target.covariance is not None
    assert work_of(plain_of(match.bench.work)).target == target
    assert "never counts like an instrument's" in words(panel.said)
    assert "The target itself is only known so far" in words(panel.said)
    assert "No panel of the archive was photographed" in words(panel.said)
    assert "<b>panel" not in panel.view.html + match.glance.html + panel.said.html


def test_suggestions_are_the_sessions_own(aimed: MatchApp) -> None:
    panel = searched(aimed)
    found = aimed.bench.session.match(aimed.bench.need_aim(), top=5)
    assert [s.recipe for s in aimed.bench.found] == [s.recipe for s in found]
    text = words(panel.cards)
    for suggestion in found:
        assert suggestion.recipe.schedule.words in text
        assert f"{suggestion.expected_delta_e00:.2f} ± {suggestion.sd_delta_e00:.2f}" in text
        assert chance_words(suggestion.probability) in text
        assert suggestion.why in text
    assert "within reach of these limits" in words(panel.chart)
    # Nothing has changed, so nothing is searched again.
    kept = aimed.bench.found
    aimed.go("target")
    searched(aimed)
    assert aimed.bench.found is kept


def test_compare_and_look_closer(aimed: MatchApp) -> None:
    panel = searched(aimed)
    panel.cards.press("compare:0")
    panel.cards.press("compare:2")
    one, two = aimed.bench.found[0], aimed.bench.found[2]
    apart = float(delta_e00(one.lab, two.lab))
    assert f"ΔE00 between them {apart:.2f}" in words(panel.compared)
    panel.cards.press("compare:0")
    assert "set beside nothing yet" in words(panel.compared)
    panel.cards.press("look:1")
    settled(aimed)
    assert "±10% shows ΔE00" in words(panel.closer)
    model, target = aimed.bench.model, Target.of_readings(aimed.bench.work.target)
    held = holding(model, aimed.bench.found[1].recipe, target)
    assert held.words in words(panel.closer)
    assert held.lights[0].low < held.lights[0].high
    panels = aimed.bench.session.archive.panels()
    why = explain(model, aimed.bench.found[1].recipe, archive=panels)
    assert why.words in words(panel.closer)
    assert why.near[0].code in words(panel.closer)
    for odd in ("use:99", "use:x", "look:", "nonsense"):
        panel.cards.press(odd)
    assert words(panel.said).strip() == ""


def test_a_spectral_target_tells_how_the_match_holds(match: MatchApp) -> None:
    spectral = next(r for r in demo_shop().targets.values() if r.spectral)
    match.bench.change("target", target=spectral, target_name="read")
    panel = searched(match)
    panel.cards.press("look:0")
    settled(match)
    text = words(panel.closer)
    held = holding(match.bench.model, match.bench.found[0].recipe, Target.of_readings(spectral))
    assert held.spectral_sample
    for each in held.lights:
        assert each.light in text
    assert held.words in text


def test_which_panel_to_spray_first(aimed: MatchApp) -> None:
    panel = searched(aimed)
    panel.again.press("next")
    settled(aimed)
    planned, _ = aimed.bench.session.next_panels(aimed.bench.need_aim(), top=4)
    for each in planned:
        assert each.recipe.words in words(panel.first)
        assert chance_words(each.passes_by_second) in words(panel.first)
    assert "a day on which more or less film is laid" in words(panel.first)


def test_out_of_reach_says_in_which_direction(match: MatchApp) -> None:
    type_target(match, (66.0, 60.0, 60.0))
    assert "Out of reach" in words(searched(match).cards)
    match.go("what-if")
    assert "than the target" in words(match.panels["what-if"].view)


def test_limits_hold_and_are_remembered_and_undone(aimed: MatchApp) -> None:
    panel = aimed.panels["limits"]
    aimed.go("limits")
    assert panel.grounds.value == panel.grounds.options
    panel.grounds.value = ["silver", "graphite"]
    panel.coats.value = 3
    panel.may.value = []
    panel.tolerance.value = 1.5
    searched(aimed)
    for suggestion in aimed.bench.found:
        assert str(suggestion.recipe.ground) in {"silver", "graphite"}
        assert suggestion.recipe.schedule.coats <= 3
        assert suggestion.recipe.colour.neat
    again = settled(MatchApp(aimed.bench.session))
    again.go("limits")
    assert again.panels["limits"].grounds.value == ["silver", "graphite"]
    assert again.panels["limits"].coats.value == 3
    assert again.bench.work.tolerance == 1.5

    aimed.go("limits")
    for _ in range(3):
        aimed.steps.press("undo")
    assert aimed.bench.work.tolerance == 1.0
    assert panel.coats.value == 6
    assert panel.grounds.value == ["silver", "graphite"]
    aimed.steps.press("undo")
    assert panel.grounds.value == panel.grounds.options

    panel.colours.value = []
    assert "at least one" in words(panel.said)
    assert panel.colours.value == panel.colours.options


def test_sliders_predict_exactly_as_the_session_does(aimed: MatchApp) -> None:
    aimed.go("what-if")
    panel = aimed.panels["what-if"]
    panel.ground.value, panel.colour.value = "graphite", "violet"
    panel.coats.value, panel.more.value = 3, 2
    panel.second.value = panel._ratios.index("3:1")
    assert str(panel.recipe) == "violet over graphite, 3@6:1 2@3:1"
    (own,) = forecast(aimed.bench.need_model(), [panel.recipe], aimed.bench.work.aim)
    text = words(panel.view)
    assert lab_text(own.lab) in text
    assert f"{own.delta_e00:.2f} ± {own.sd_delta_e00:.2f}" in text
    assert f"Chance of passing within 1: {chance_words(own.probability)}" in text
    panel.second.value = panel.ratio.value
    assert str(panel.recipe) == "violet over graphite, 5@6:1"
    panel.buttons.press("use")
    assert aimed.bench.work.recipe == panel.recipe
    panel.coats.value = 1
    panel.buttons.press("back")
    assert panel.coats.value == 5


def test_a_ratio_off_the_slider_gets_its_place(aimed: MatchApp) -> None:
    odd = recipe_of(ground="silver", colour="cherry", schedule="2@7.3:1 1@2.25:1", clear="yes")
    aimed.bench.change("recipe", recipe=odd)
    aimed.go("what-if")
    panel = aimed.panels["what-if"]
    assert panel.recipe == odd
    assert panel.ratio.texts[round(panel.ratio.value)] == "7.3 carrier : 1 colour"
    # Further right is always richer in colour.
    carriers = [float(t.split()[0]) for t in panel.ratio.texts]
    assert carriers == sorted(carriers, reverse=True)


def spray(match: MatchApp, lab: tuple[float, float, float], code: str = "") -> Any:
    match.go("sprayed")
    panel = match.panels["sprayed"]
    panel.code.value = code
    panel.light.value, panel.red.value, panel.yellow.value = lab
    panel.buttons.press("sprayed")
    settled(match)
    return panel


def test_a_sprayed_panel_says_what_to_change(aimed: MatchApp) -> None:
    panel = searched(aimed)
    panel.cards.press("use:0")
    first = aimed.bench.work.recipe
    # What less film of the very recipe makes, as the regression believes it.
    belief = Belief.of(aimed.bench.session.model, recipes=[first])
    thin = belief.linear([first], film=np.array([-0.15]), slopes=False)[0][0]
    sprayed = spray(aimed, tuple(np.round(thin, 2)), "K7 <i>")
    advice = aimed.bench.session.correct(
        aimed.bench.need_aim(),
        sprayed=[(first, aimed.bench.work.tried[0].reading)],
        limits=aimed.bench.limits(),
    )
    text = words(sprayed.view)
    for line in advice.words.splitlines():
        assert line in text
    assert advice.rescue.words in text
    assert "K7 <i>" in text
    assert "K7 <i>" not in sprayed.view.html
    sprayed.view.press("take:0")
    assert aimed.bench.work.recipe != first
    # Undone step by step: the change, then the panel.
    aimed.steps.press("undo")
    assert aimed.bench.work.recipe == first
    aimed.steps.press("undo")
    assert aimed.bench.work.tried == ()
    assert words(sprayed.view).strip() == ""


def test_sprayed_panels_go_into_the_archive_and_out_again(aimed: MatchApp) -> None:
    searched(aimed).cards.press("use:0")
    session, before = aimed.bench.session, len(aimed.bench.session.archive)
    sprayed = spray(aimed, (AIM[0] + 3, AIM[1], AIM[2]), "K8")
    kept_as_fresh = words(sprayed.view).split("Sprayed for this target")[0]
    sprayed.buttons.press("keep")
    settled(aimed)
    assert len(session.archive) == before + 1
    assert session.archive.panel("K8").readings[0].lab == (AIM[0] + 3, AIM[1], AIM[2])
    assert aimed.bench.work.tried[0].kept
    # The panel is not learnt from twice: once kept, the advice is the same.
    assert words(sprayed.view).split("Sprayed for this target")[0] == kept_as_fresh
    assert aimed.bench.model is session.model
    aimed.steps.press("undo")
    settled(aimed)
    assert len(session.archive) == before
    assert not aimed.bench.work.tried[0].kept
    sprayed.buttons.press("keep")
    settled(aimed)
    assert len(session.archive) == before + 1, words(sprayed.said)


def test_a_panel_without_target_recipe_or_reading_is_refused_in_words(match: MatchApp) -> None:
    panel = spray(match, (40.0, 10.0, 10.0))
    assert "no target" in words(panel.said)
    type_target(match, AIM)
    panel = spray(match, (40.0, 10.0, 10.0))
    assert "No recipe is chosen" in words(panel.said)
    match.bench.change("r", recipe=recipe_of(ground="silver", colour="cherry", schedule="3@6:1"))
    panel.light.value = None
    panel.buttons.press("sprayed")
    assert "not whole" in words(panel.said)
    assert match.bench.work.tried == ()


def test_the_pot_follows_what_is_typed(aimed: MatchApp) -> None:
    recipe = recipe_of(ground="silver", colour="cherry", schedule="2@6:1 2@3:1", clear="yes")
    aimed.bench.change("recipe", recipe=recipe)
    aimed.go("pot")
    panel = aimed.panels["pot"]
    assert panel.cups.html.count("<svg") == 2
    assert "6 parts carrier to 1 part colour" in words(panel.cups)
    assert "What a coat takes is not known" in words(panel.said)
    panel.fields["dry_film"].value, panel.fields["solids"].value = "12", "20"
    assert words(panel.said).strip() == ""
    assert "Out of the bottles in all:" in words(panel.view)
    assert "left at 6:1" in words(panel.view)
    assert "Before you open a tin" in words(panel.view)
    panel.unit.value = "us fl oz"
    assert "fl oz" in words(panel.view)
    panel.fields["bottle"].value = "120 ml"
    # 120 ml of colour take 360 ml of carrier, 12.2 fl oz, and make 16.2.
    assert "makes 16.2 us fl oz at 3:1" in words(panel.view)
    assert "with 12.2 us fl oz of carrier" in words(panel.view)
    panel.fields["solids"].value = "2o"
    assert "not a number" in words(panel.said)
    again = settled(MatchApp(aimed.bench.session))
    assert again.panels["pot"].fields["dry_film"].value == "12"
    assert again.panels["pot"].unit.value == "us fl oz"


def test_quantities_that_disagree_with_the_ratio_are_shown(aimed: MatchApp) -> None:
    recipe = recipe_of(ground="silver", colour="cherry", schedule="4@6:1", clear="yes")
    aimed.bench.change("recipe", recipe=recipe)
    aimed.go("pot")
    panel = aimed.panels["pot"]
    panel.fields["poured"].value = "32, 4"
    assert "8:1" in words(panel.view)
    panel.fields["poured"].value = "32"
    assert "carrier first" in words(panel.said)


def test_the_job_sheet_is_one_press(aimed: MatchApp) -> None:
    searched(aimed).cards.press("use:0")
    aimed.go("sheet")
    settled(aimed)
    panel = aimed.panels["sheet"]
    found = re.search(r'href="data:application/pdf;base64,([^"]+)"', panel.view.html)
    assert found, words(panel.said)
    data = base64.b64decode(found[1])
    assert data.startswith(b"%PDF-")
    (kept,) = (aimed.bench.folder / "job sheets").glob("*.pdf")
    assert kept.read_bytes() == data
    assert str(kept) in words(panel.view)
    from io import BytesIO

    import pypdf

    text = " ".join(pypdf.PdfReader(BytesIO(data)).pages[0].extract_text().split())
    assert aimed.bench.work.recipe.schedule.words in text
    assert "Without quantities" in words(panel.view)


def test_nothing_is_lost_when_the_kernel_restarts(aimed: MatchApp) -> None:
    searched(aimed).cards.press("use:1")
    spray(aimed, (AIM[0] + 3, AIM[1], AIM[2]), "K9")
    work = aimed.bench.work
    with Session.open(aimed.bench.session.archive.database.path) as other:
        again = settled(MatchApp(other))
        assert again.bench.work == work
        assert "The last panel is" in words(again.panels["sprayed"].view)


def test_work_survives_as_plain_data() -> None:
    nm, curve = (400.0, 500.0, 600.0, 700.0), (0.1, 0.2, 0.3, 0.4)
    spectral = Reading(Viewing("A", "2", "de:8"), "spectrophotometer", None, nm, curve)
    blend = recipe_of(ground="silver 3 + black 1", colour="a 2 + b 1", schedule="2@6:1 1@3:1")
    bare = recipe_of(ground="silver", clear="matt")
    photo = Reading(Viewing(), "photo", (20.0, 1.0, 2.0), sd=2.5)
    tried = (Tried("1", blend, photo), Tried("2", bare, spectral, kept=True))
    work = Work(spectral, "x", 0.7, 1.2, blend, tried, {"area": "2 m2"})
    import json

    assert work_of(json.loads(json.dumps(plain_of(work)))) == work
    assert work_of(None) == Work()


@pytest.mark.parametrize("odd", [[], {}, "x", {**plain_of(Work()), "tolerance": "wide"}])
def test_work_that_cannot_be_read_is_refused(odd: object) -> None:
    with pytest.raises(DomainError, match="cannot be read"):
        work_of(odd)


def test_an_odd_setting_does_not_stop_the_page(tmp_path: Path) -> None:
    with Session.open(copied(tmp_path)) as session:
        session.archive.set_setting(SETTING, {"target": 3})
        match = settled(MatchApp(session))
        assert match.ready
        assert "cannot be read" in words(match.said)


def test_no_archive_is_said_in_words(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    shown = app(tmp_path / "none.db")
    assert "What to do:" in words(shown)
    # Without a name, the demonstration is made where the user's data lie.
    monkeypatch.delenv("WORKBOOK_ARCHIVE", raising=False)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    from workbook.session.here import session_here

    session, demo = session_here()
    with session:
        assert demo
        assert len(session.archive) == demo_shop().panels
        assert str(tmp_path) in session.archive.label


def test_an_unforeseen_error_is_words_and_not_a_traceback(aimed: MatchApp) -> None:
    panel = aimed.panels["what-if"]

    def broken() -> None:
        raise ZeroDivisionError("secret path /root")

    panel.safely(broken)()
    assert UNFORESEEN in words(panel.said)
    assert "secret" not in panel.said.html
    assert saying(DomainError("No.", remedy="x")) == "No. What to do: x."
    line = Said()
    line.warn("<b>\nand more")
    assert line.html == '<p class="cpw-warn"><strong>&lt;b&gt;<br>and more</strong></p>'
    line.tell("<i>")
    assert line.html == "<p>&lt;i&gt;</p>"
    line.complain(DomainError("No <u>."))
    assert line.html == '<p class="cpw-warn"><strong>Not done.</strong> No &lt;u&gt;.</p>'
    line.warn("")
    assert line.html == ""


def test_the_archives_richest_ratio_is_shown_and_kept(match: MatchApp) -> None:
    low, _ = match.bench.session.limits(min_ratio="1:5").carrier
    assert low == pytest.approx(0.2)
    match.bench.session.remember_shelf({"min_ratio": "1:5", "max_ratio": "7.25:1"})
    match.go("limits")
    panel = match.panels["limits"]
    assert (panel.richest.value, panel.weakest.value) == ("1:5", "7.25:1")
    assert panel.richest.options[:2] == ["1:5", "1:1"]
    # A press on something else leaves the ratios as they were.
    panel.coats.value = 4
    assert match.bench.session.limits().carrier == pytest.approx((0.2, 7.25))
