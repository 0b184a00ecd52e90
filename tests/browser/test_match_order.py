"""A target at face and flop, by CMC, pressed through the page and held to the session's numbers."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import pytest

from matchlib.suggest import Tolerance
from matchlib.tails import chance_words
from tests.angle_shop import aimed_at, angle_archive
from tests.browser import harness
from tests.browser.test_match import BOOK, NOTEBOOKS, step
from tests.test_match_order import table_of
from workbook.session import Session
from workbook.session.order import aim_of

pytestmark = pytest.mark.browser

CMC = Tolerance("CMC", 1.0, 2.0, 1.0)
WEIGHTS = {"45as110": 0.5}


def test_face_and_flop_by_the_orders_difference(
    browser: Any, tmp_path: Path, artifacts: Path
) -> None:
    from playwright.sync_api import expect

    archive = angle_archive(tmp_path)
    both = aimed_at("3@5:1")
    sample = tmp_path / "ring.csv"
    sample.write_bytes(table_of(both))
    with Session.open(archive) as session:
        aim = aim_of(both, CMC, WEIGHTS)
        found = session.match(aim, top=5)
        read = [tuple(round(v) + 2 for v in r.lab or ()) for r in both]
        sprayed = tmp_path / "sprayed.csv"
        rows = [
            f"K1,{r.viewing.geometry},{','.join(map(str, lab))}"
            for r, lab in zip(both, read, strict=True)
        ]
        sprayed.write_text("\n".join(["panel,geometry,L,a,b", *rows]))
        own = session.angles_of_file(sprayed)
        advice = session.correct(aim, sprayed=[(found[0].recipe, own)])
    books = tmp_path / "books"
    books.mkdir()
    shutil.copy(NOTEBOOKS / BOOK, books / BOOK)
    env = {"WORKBOOK_ARCHIVE": str(archive)}
    with harness.serve_voila(books, tmp_path / "voila", env) as served:
        page = browser.new_page(viewport={"width": 820, "height": 1180})
        watch = harness.Watch().on(page)
        harness.open_in_voila(page, served, BOOK)
        expect.set_options(timeout=harness.PATIENCE)
        page.get_by_label("How the target is given").select_option("file")
        page.get_by_label("Instrument's file", exact=True).set_input_files(str(sample))
        expect(page.get_by_text("at 2 angles together")).to_be_visible()
        glance = page.get_by_role("group", name="In hand", exact=True)
        page.get_by_role("textbox", name="45as110 counts").fill("0.5")
        expect(page.get_by_role("button", name="Undo: weights of the angles")).to_be_visible()

        step(page, "Limits")
        kind = page.get_by_role("combobox", name="Difference that the order names")
        side = page.get_by_role("textbox", name="ΔL* at most, either way")
        expect(side).to_be_hidden()
        kind.select_option("box")
        expect(side).to_be_visible()
        expect(page.get_by_role("textbox", name="Tolerance")).to_be_hidden()
        kind.select_option("cmc2:1")
        expect(side).to_be_hidden()
        expect(glance).to_contain_text("CMC(2:1) at most 1")

        step(page, "Suggestions")
        for number, one in enumerate(found, 1):
            card = page.get_by_role("region", name=f"Suggestion number {number},")
            expect(card).to_contain_text(
                f"CMC(2:1) {one.expected_delta_e00:.2f} ± {one.sd_delta_e00:.2f} at the worst angle"
            )
            expect(card).to_contain_text(chance_words(one.probability))
            row = card.get_by_role("row", name="45as110 predicted")
            expect(row).to_contain_text(f"{one.labs[1][0]:.1f}")
        page.get_by_role("button", name="Use this one: number 1").click()

        step(page, "I sprayed this")
        for reading, lab in zip(both, read, strict=True):
            for axis, value in zip(("L*", "a*", "b*"), lab, strict=True):
                name = f"Read {axis} at {reading.viewing.geometry}"
                page.get_by_role("textbox", name=name).fill(str(value))
        group = page.get_by_role("group", name="The panel just sprayed", exact=True)
        group.get_by_role("button", name="I sprayed this").click()
        view = page.get_by_role("group", name="What to change", exact=True)
        for line in advice.words.splitlines():
            expect(view).to_contain_text(line)
        harness.shoot(page, artifacts, "match-face-and-flop")
        assert harness.serious(page) == []
        watch.check()
        page.close()
