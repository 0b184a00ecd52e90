"""Customers' jobs, and panels that are built on, at the command line."""

from __future__ import annotations

import numpy as np
import pytest
from pypdf import PdfReader

from matchlib.archive import Archive
from matchlib.cautions import DEFERENCE
from matchlib.correction import Belief, learn
from matchlib.domain import CoatSchedule
from matchlib.job import Job, Plan
from tests.angle_shop import FACE, FLOP, aimed_at, angle_archive, angle_shop, recipe_at
from tests.cli_shop import SMALL, fails, json_of, refused, run
from tests.printed import printed
from workbook.jobsheet import jobsheet_pdf
from workbook.session import Session
from workbook.session.model_cache import model_of
from workbook.session.targets import stages_read
from workbook.session.work import Work

CUP = ("--area", "0.5 m2", "--used", "80 ml", "--used-area", "0.1 m2", "--used-coats", "4")


def test_a_job_from_its_sample_to_its_end(shop):
    made = json_of(
        "job", "new", "tank", "--customer", "Åsa K", "--due", "2027-04-01",
        "--lab", 38, 34, 26, "--tolerance", 1.5, "--max-coats", 5, cwd=shop,
    )  # fmt: skip
    assert (made["number"], made["version"], made["state"]) == (1, 1, "recipe")
    assert made["limits"]["max_coats"] == 5
    assert "A new target is a new job" in refused("job", "aim", 1, "--lab", 1, 2, 3, cwd=shop)
    planned = run(
        "job", "plan", 1, "--ground", "silver", "--colour", "rust", "--schedule", "3@5:1", cwd=shop
    )
    assert "Waits for: spray" in planned.stdout
    shown = json_of("job", "show", 1, cwd=shop)
    assert 0 <= shown["expected"]["probability"] <= 1
    assert run("job", "sprayed", 1, "P3", cwd=shop).exit_code == 0
    assert "no panel of this code" in refused("job", "sprayed", 1, "P77", cwd=shop)
    (listed,) = json_of("job", "list", "--customer", "ÅSA", cwd=shop)
    assert (listed["state"], listed["panels"]) == ("read", ["P3"])
    assert "Done: matched" in run("job", "close", 1, cwd=shop).stdout
    assert json_of("job", "list", cwd=shop) == []
    assert [j["number"] for j in json_of("job", "list", "--all", cwd=shop)] == [1]
    assert "Waits for: read" in run("job", "reopen", 1, cwd=shop).stdout
    assert "took another" in run(
        "job", "close", 1, "--given-up", "took another", cwd=shop
    ).stdout  # fmt: skip


def test_what_was_said_of_a_job_stays_until_something_else_is_said(shop):
    made = json_of("job", "new", "tank", "--box", 1, 0.5, 2, "--max-coats", 3, cwd=shop)
    assert made["tolerance"] == {"kind": "Lab", "box": [1.0, 0.5, 2.0]}
    aimed = json_of("job", "aim", 1, "--lab", 38, 34, 26, cwd=shop)
    assert aimed["tolerance"] == made["tolerance"], "it was said before the sample was read"
    aimed = json_of("job", "aim", 1, "--lab", 38, 34, 26, "--difference", "cmc2:1", cwd=shop)
    assert aimed["tolerance"]["kind"] == "CMC"
    angles = ("--lab-at", "45as15=38,34,26", "--lab-at", "45as110=20,18,12")
    made = json_of("job", "new", "hood", *angles, "--angle-weight", "45as110=0.5", cwd=shop)
    aimed = json_of("job", "aim", 2, *angles, "--tolerance", 2, cwd=shop)
    assert aimed["weights"] == made["weights"] == [1.0, 0.5]
    text = run("job", "show", 2, cwd=shop).stdout
    assert "45as15); passes: ΔE00 at most 2; counts once" in text
    assert "45as110); passes: ΔE00 at most 2; counts 0.5 times" in text
    assert "Shelf" not in text, "it is the shop's usual"
    changed = json_of("job", "change", 1, "--grounds", "silver", cwd=shop)
    assert changed["limits"] == {"grounds": ["silver"], "max_coats": 3}
    assert "counts" not in run("job", "show", 1, cwd=shop).stdout
    more = ("--colours", "rust, teal", "--min-ratio", "1:1", "--no-blends", "--max-unevenness", 1)
    run("job", "change", 1, *more, cwd=shop)
    assert (
        "Shelf: grounds silver; colours rust, teal; min ratio 1:1; max coats 3; no blends; "
        "max unevenness 1\n" in run("job", "show", 1, cwd=shop).stdout
    )
    run("job", "close", 1, cwd=shop)
    assert "take it up again first" in refused("job", "sprayed", 1, "P3", cwd=shop)


def test_no_angle_weighs_anything_where_there_is_no_target(shop):
    weight = ("--angle-weight", "45as15=2")
    assert "needs a target" in fails(run("job", "new", "tank", *weight, cwd=shop), 2)
    assert "needs a target" in fails(run("job-sheet", "--panel", "P3", *weight, cwd=shop), 2)
    assert json_of("job", "list", cwd=shop) == []


def test_the_stage_to_add_has_a_pot_sheet_and_outlook_of_its_own(shop):
    run("job", "new", "tank", "--customer", "Ann", "--lab", 40, 33, 26, cwd=shop)
    run("job", "plan", 1, "--on", "P3", "--schedule", "1@10:1", cwd=shop)
    pot = json_of("job", "pot", 1, *CUP, cwd=shop)
    assert (pot["recipe"], pot["on"]) == ("1@10:1", "P3")
    alone = json_of("mix", "--colour", "rust", "--schedule", "1@10:1", *CUP, cwd=shop)
    assert pot["pot"] == alone["pot"], "the pot is of the extra coat alone"
    told = " ".join(run("job", "pot", 1, *CUP, cwd=shop).stdout.split())
    assert "Before you open a tin: Goggles" in told
    timed = (*CUP, "--coat-minutes", 50, "--third", "hardener 10%", "--pot-life", 45)
    for way in (("job", "pot", 1), ("mix", "--colour", "rust", "--schedule", "1@10:1")):
        hours = " ".join(run(*way, *timed, cwd=shop).stdout.split())
        assert "Time for the colour coats: 0.833 h. The coats of a pot take 50 min, longer" in hours
    assert DEFERENCE in told, "whatever is to be poured says so"
    shown = json_of("job", "show", 1, cwd=shop)
    assert "from the reading of P3" in shown["expected"]["words"]
    assert run("job", "sheet", 1, *CUP, cwd=shop).exit_code == 0
    text = " ".join("".join(p.extract_text() for p in PdfReader(shop / "job-1.pdf").pages).split())
    assert "These coats go on panel P3, which has rust over silver, 3@6:1" in text
    assert "sand it before these coats" in text
    assert "Ann" in text
    # Coat by coat it is expected from the same reading, and no more is said of one than of another.
    with Session.open(shop / "panels.db", write=False) as session:
        sheet = Work(session, session.archive.job(1)).sheet()
        usual = model_of(session.archive).model.predict_recipes([sheet.whole])[0]
    assert sheet.coats.cleared.lab == pytest.approx(sheet.found.lab)
    assert sheet.coats.cleared.lab != pytest.approx(tuple(usual), abs=0.01)
    assert f"{sheet.found.lab[0]:.1f}" in text


def test_what_is_read_on_the_way_is_told_and_printed(shop):
    run("job", "new", "tank", "--lab", 40, 33, 26, cwd=shop)
    card = ("--ground", "silver", "--colour", "rust", "--schedule", "4@6:1")
    told = run("job", "plan", 1, *card, "--read-after", 1, "--read-after", 3, cwd=shop).stdout
    assert "under clear coat; read after coat 1 and 3" in told
    run("job", "sheet", 1, cwd=shop)
    text = " ".join("".join(p.extract_text() for p in PdfReader(shop / "job-1.pdf").pages).split())
    assert "Read the card, dry, after coat 1 and 3: what it reads decides the rest" in text
    # A sheet counts the coats that it lays, a plan all on the card.
    on = ("--on", "P3", "--schedule", "2@10:1", "--read-after", 2, "--read-after", 4)
    run("job", "plan", 1, *on, cwd=shop)
    run("job", "sheet", 1, cwd=shop)
    text = " ".join("".join(p.extract_text() for p in PdfReader(shop / "job-1.pdf").pages).split())
    assert "Read the card, dry, after coat 1: what" in text


def test_the_sheet_of_coats_on_a_card_holds_to_every_angle_of_the_target(tmp_path):
    rng, angles = np.random.default_rng(3), (FACE.geometry, FLOP.geometry)
    card = angle_shop().spray(recipe_at("2@6:1"), rng, geometries=angles, code="C1")
    job = Job("wing", target=aimed_at("4@6:1"), plan=Plan(recipe_at("4@6:1"), on="C1"))
    with Session.open(angle_archive(tmp_path)) as session:
        session.archive.add([card])
        sheet = Work(session, session.archive.keep_job(job)).sheet()
    face, flop = sheet.found.angles
    assert [face.viewing, flop.viewing] == [FACE, FLOP]
    assert face.lab == pytest.approx(sheet.found.lab)
    assert flop.lab[0] < face.lab[0]
    text = printed(jobsheet_pdf(sheet))
    assert "at every angle" in text.replace("ateveryangle", "at every angle")
    assert "Read,45as110:L*" in text


def test_a_fresh_card_is_expected_as_the_other_cards_of_its_job_came_out(shop):
    run("job", "new", "tank", "--lab", 40, 33, 26, cwd=shop)
    plan = ("job", "plan", 1, "--ground", "silver", "--colour", "rust", "--schedule", "3@5:1")
    run("job", "sprayed", 1, "P3", cwd=shop)
    run(*plan, cwd=shop)
    shown = json_of("job", "show", 1, cwd=shop)["expected"]
    assert run("job", "sheet", 1, cwd=shop).exit_code == 0
    text = " ".join("".join(p.extract_text() for p in PdfReader(shop / "job-1.pdf").pages).split())
    with Archive.open(shop / "panels.db") as archive:
        recipe, card = archive.job(1).plan.recipe, stages_read(archive.panel("P3"))
        # Its own card tells of the day, and is not in the fit as well.
        without = model_of(archive, without={"P3"}).model
        learnt, _ = learn(Belief.of(without, recipes=[card[-1][0]]), [card])
        lab = tuple(map(float, learnt.predict_recipes([recipe])[0]))
        fits = [m.predict_recipes([recipe])[0] for m in (without, model_of(archive).model)]
    assert (shown["L"], shown["a"], shown["b"]) == pytest.approx(lab)
    for fit in fits:
        assert lab != pytest.approx(tuple(fit), abs=0.01)
    assert f"L* {lab[0]:.1f}" in text, "and so says its sheet"


def test_of_a_card_not_read_yet_the_fit_tells_what_further_coats_make_it(shop):
    card = ("--panel", "U1", "--ground", "silver", "--colour", "rust", "--schedule", "2@6:1")
    assert run("add", *card, "--clear", "no", "--yes", cwd=shop).exit_code == 0
    run("job", "new", "tank", "--lab", 40, 33, 26, cwd=shop)
    run("job", "plan", 1, "--on", "U1", "--schedule", "1@6:1", cwd=shop)
    shown = json_of("job", "show", 1, cwd=shop)["expected"]
    assert shown["words"].endswith("from the target")
    assert run("job", "sheet", 1, *CUP, "--out", "on.pdf", cwd=shop).exit_code == 0
    text = " ".join("".join(p.extract_text() for p in PdfReader(shop / "on.pdf").pages).split())
    assert "as it is, 2 coats on it" in text
    assert shown["words"] in text


def test_the_sheet_of_coats_to_add_holds_the_target_at_every_angle(shop):
    angles = ("--lab-at", "45as15=60,30,20", "--lab-at", "45as110=20,18,12")
    run("job", "new", "hood", *angles, cwd=shop)
    read = [f"A1,silver,rust,2@6:1,yes,D65,10,{a},{lab}" for a, lab in
            (("45as15", "62,28,18"), ("45as110", "22,17,11"))]  # fmt: skip
    (shop / "a.csv").write_text("\n".join([SMALL.splitlines()[0].removesuffix(",customer"), *read]))
    assert run("import", "a.csv", cwd=shop).exit_code == 0
    run("job", "plan", 1, "--on", "A1", "--schedule", "1@10:1", cwd=shop)
    assert run("job", "sheet", 1, "--out", "on.pdf", cwd=shop).exit_code == 0
    text = " ".join("".join(p.extract_text() for p in PdfReader(shop / "on.pdf").pages).split())
    assert "at its worst angle, from the reading of A1" in text
    assert "Tolerance: ΔE00 at most 1, at every angle" in text
    assert "Read, 45as110: L*" in text


def test_nothing_of_one_job_is_in_another(shop):
    for name, lab in (("red", (40, 33, 26)), ("green", (40, -30, 20))):
        run("job", "new", name, "--customer", f"of {name}", "--lab", *lab, cwd=shop)
    run("job", "plan", 1, "--ground", "silver", "--colour", "rust", "--schedule", "3@5:1", cwd=shop)
    assert "plan" not in json_of("job", "show", 2, cwd=shop)
    assert "No recipe is chosen for job 2, green" in refused("job", "sheet", 2, cwd=shop)
    assert not (shop / "job-2.pdf").exists()
    assert "of red" not in run("job", "show", 2, cwd=shop).stdout


def test_building_on_a_panel_adds_a_stage(shop):
    run("job", "new", "tank", "--lab", 40, 31, 25, cwd=shop)
    run("job", "plan", 1, "--on", "P3", "--schedule", "1@10:1", cwd=shop)
    done = json_of(
        "add", "--panel", "P3", "--on-top", "--schedule", "1@10:1", "--clear", "yes",
        "--lab", 40, 31, 25, "--date", "2027-03-02", "--yes", cwd=shop,
    )  # fmt: skip
    assert "Panel P3 was built on" in done["words"]
    assert done["words"].endswith("Job 1, tank, now waits for its reading.")
    with Archive.open(shop / "panels.db") as archive:
        panel = archive.panel("P3")
        first, second = panel.stages
        assert (str(first.recipe.schedule), str(second.recipe.schedule)) == (
            "3@6:1", "3@6:1 1@10:1",
        )  # fmt: skip
        assert first.readings[0].lab == (43.0, 30.0, 24.0)
        assert second.readings[0].lab == (40.0, 31.0, 25.0)
        assert archive.history("P3")[-1].action == "built on"
        frame = archive.frame()
    assert frame[frame["panel"] == "P3"]["stage"].tolist() == [1, 2]
    run("export", "out.csv", cwd=shop)
    output = run("import", "out.csv", "--archive", "other.db", cwd=shop).stdout
    assert "6 panels with 7 readings" in output
    with Archive.open(shop / "other.db") as other:
        assert other.panel("P3") == panel
    assert json_of("coverage", cwd=shop)["readings"] == 7
    shown = run("job", "show", 1, cwd=shop)
    assert (shown.exit_code, "Panels: P3\nWaits for: read" in shown.stdout) == (0, True)
    assert "already" not in shown.stderr
    assert "on panel P3 already" in refused("job", "pot", 1, cwd=shop)
    assert json_of("job", "show", 1, cwd=shop)["expected"] is None
    assert "needs the coats" in run(
        "add", "--panel", "P3", "--on-top", "--yes", cwd=shop
    ).stderr  # fmt: skip


def test_what_is_expected_of_a_card_in_progress_is_by_its_last_reading(shop):
    """None for a card that nobody read yet; that of the stage below coats laid since."""
    run("job", "new", "tank", "--lab", 40, 31, 25, cwd=shop)
    unread = ("--ground", "silver", "--colour", "rust", "--schedule", "2@6:1", "--clear", "no")
    run("add", "--panel", "U1", *unread, "--yes", cwd=shop)
    run("job", "plan", 1, "--on", "U1", "--schedule", "1@10:1", cwd=shop)
    fresh = ("--ground", "silver", "--colour", "rust", "--schedule", "2@6:1 1@10:1")
    run("job", "new", "lid", "--lab", 40, 31, 25, cwd=shop)
    run("job", "plan", 2, *fresh, cwd=shop)
    on, alone = (json_of("job", "show", n, cwd=shop)["expected"] for n in (1, 2))
    assert on == alone
    assert run("job", "sheet", 1, cwd=shop).exit_code == 0
    run("job", "new", "cap", "--lab", 40, 31, 25, cwd=shop)
    run("job", "plan", 3, "--on", "P3", "--schedule", "2@10:1", cwd=shop)
    before = json_of("job", "show", 3, cwd=shop)["expected"]
    with Archive.open(shop / "panels.db") as archive:
        recipe = archive.panel("P3").recipe.then(CoatSchedule.parse("1@10:1"), clear="no")
        archive.build_on("P3", recipe)
    assert json_of("job", "show", 3, cwd=shop)["expected"] == before
    assert json_of("job", "pot", 3, *CUP, cwd=shop)["recipe"] == "1@10:1"
    assert run("job", "sheet", 3, cwd=shop).exit_code == 0


def test_what_is_said_of_a_card_that_is_built_on_is_kept(shop):
    with Archive.open(shop / "panels.db") as archive:
        archive.amend("P3", note="a run", drawer="2")
    run("job", "new", "tank", "--lab", 40, 31, 25, cwd=shop)
    run("job", "plan", 1, "--on", "P3", "--schedule", "1@10:1", "--clear", "no", cwd=shop)
    done = run(
        "add", "--panel", " P3", "--on-top", "--schedule", "1@10:1", "--note", "sanded",
        "--customer", "Bo", "--batch", "G-1", "--yes", cwd=shop,
    )  # fmt: skip
    assert "note sanded" in done.stdout
    assert "Job 1, tank, now waits for its reading." in done.stdout
    with Archive.open(shop / "panels.db") as archive:
        panel = archive.panel("P3")
    assert (panel.note, panel.customer, panel.batch) == ("a run; sanded", "Bo", "G-1")
    assert (panel.drawer, len(panel.stages)) == ("2", 2)


def test_coats_on_a_layered_card_go_on_in_its_last_colour_under_a_clear_that_is_counted(shop):
    layers = ("--ground", "silver", "--schedule", "1@8:1 rust, 1@6:1 teal")
    run("add", "--panel", "Q1", *layers, "--lab", 50, 13, 10, "--yes", cwd=shop)
    more = ("--panel", "Q1", "--on-top", "--schedule", "1@10:1", "--lab", 45, 8, 4)
    done = json_of(
        "add", *more, "--clear", "yes", "--clear-coats", 2, "--before-clear", "--yes", cwd=shop
    )
    assert "then 1 coat of teal at 10 parts" in done["words"]
    with Archive.open(shop / "panels.db") as archive:
        last = archive.panel("Q1").stages[-1]
    assert [str(colour) for colour, _ in last.recipe.layers] == ["rust", "teal"]
    assert (last.recipe.clear, last.clear_coats) == ("yes", 2)
    assert last.readings[0].state == "before clear"


def test_layers_of_a_table_are_one_recipe_and_no_new_colour(shop):
    (shop / "layers.csv").write_text(
        "panel,ground,colour,schedule,clear,illuminant,observer,geometry,L,a,b\n"
        'Q1,silver,,"2@6:1 rust, 1@8:1 plum over mid-coat",yes,D65,10,45:0,35,30,10\n'
        "Q2,silver,plum,2@6:1,yes,D65,10,45:0,35,20,-10\n"
    )
    assert run("import", "layers.csv", cwd=shop).exit_code == 0
    with Archive.open(shop / "panels.db") as archive:
        recipe = archive.panel("Q1").recipe
        assert [str(c) for c, _ in recipe.layers] == ["rust", "plum"]
        assert archive.names("colour") == ("rust", "plum")
    run("export", "out.xlsx", cwd=shop)
    assert run("import", "out.xlsx", "--archive", "other.db", cwd=shop).exit_code == 0
    with Archive.open(shop / "other.db") as other:
        assert other.panel("Q1").recipe == recipe
    asked = ("match", "--lab", 40, 25, 5, "--top", 9, "--readings", 0)
    one, several = (json_of(*asked, *more, cwd=shop) for more in ((), ("--layers",)))
    assert not any("," in found["schedule"] for found in one)
    assert any("plum, " in found["schedule"] for found in several)
    for number, named in enumerate(("rust then plum", "plum over rust", "rust followed by plum")):
        (shop / "one.csv").write_text(
            "panel,ground,colour,schedule,clear,illuminant,observer,geometry,L,a,b\n"
            f"R{number},silver,{named},2@6:1,yes,D65,10,45:0,35,30,10\n"
        )
        assert "several coats, not one colour" in refused("import", "one.csv", cwd=shop)
        added = ("add", "--panel", f"R{number}", "--ground", "silver", "--schedule", "2@6:1")
        assert "2@6:1 cherry, 1@8:1 violet" in fails(
            run(*added, "--colour", named, "--yes", "--json", cwd=shop), 1
        )
    with Archive.open(shop / "panels.db") as archive:
        assert archive.names("colour") == ("rust", "plum")
