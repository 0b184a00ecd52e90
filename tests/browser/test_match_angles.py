"""A target typed at face and flop, and what is shown at each angle, pressed through the page."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import pytest

from matchlib.domain import Viewing
from matchlib.suggest import Tolerance
from tests.angle_shop import aimed_at, angle_archive
from tests.browser import harness
from tests.browser.test_match import BOOK, NOTEBOOKS, no_side_scroll, step
from workbook.figures import number
from workbook.session import Session, reading_of_lab
from workbook.session.looking import look_at
from workbook.session.order import aim_of

pytestmark = pytest.mark.browser

CMC = Tolerance("CMC", 1.0, 2.0, 1.0)
WEIGHTS = {"45as110": 0.5}
PLACES = ("45as15", "45as110")
SIZES = {"desk": (1280, 800), "tablet": (820, 1180)}


def type_rows(page: Any, labs: list[list[float]]) -> None:
    from playwright.sync_api import expect

    page.get_by_label("How the target is given").select_option("lab")
    expect(page.get_by_role("textbox", name="L*", exact=True)).to_be_visible()
    page.get_by_role("button", name="Add an angle").press("Enter")
    for row, (place, lab) in enumerate(zip(PLACES, labs, strict=True), 1):
        page.get_by_role("combobox", name=f"Angle {row}", exact=True).select_option(place)
        for axis, value in zip(("L*", "a*", "b*"), lab, strict=True):
            page.get_by_role("textbox", name=f"{axis} angle {row}", exact=True).fill(str(value))
    page.get_by_role("textbox", name="Counts angle 2", exact=True).fill("0.5")


@pytest.mark.parametrize("size", list(SIZES))
def test_typed_angles_and_the_angle_shown(
    browser: Any, tmp_path: Path, artifacts: Path, size: str
) -> None:
    from playwright.sync_api import expect

    archive = angle_archive(tmp_path)
    labs = [[round(v, 1) for v in r.lab or ()] for r in aimed_at("3@5:1")]
    both = [reading_of_lab(lab, Viewing(geometry=g)) for lab, g in zip(labs, PLACES, strict=True)]
    with Session.open(archive) as session:
        aim = aim_of(both, CMC, WEIGHTS)
        found = session.match(aim, top=5)
        look = look_at(
            session.model, found[0].recipe, target=both, aim=aim,
            panels=session.archive.panels(),
        )  # fmt: skip
    books = tmp_path / "books"
    books.mkdir()
    shutil.copy(NOTEBOOKS / BOOK, books / BOOK)
    with harness.serve_voila(
        books, tmp_path / "voila", {"WORKBOOK_ARCHIVE": str(archive)}
    ) as served:
        width, height = SIZES[size]
        page = browser.new_page(viewport={"width": width, "height": height})
        watch = harness.Watch().on(page)
        harness.open_in_voila(page, served, BOOK)
        expect.set_options(timeout=harness.PATIENCE)
        type_rows(page, labs)
        no_side_scroll(page)
        harness.shoot(page, artifacts, f"angles-typed-{size}")
        assert harness.serious(page) == []
        # Half typed, it is there again when the page is opened anew.
        page.wait_for_timeout(1500)
        page.reload()
        expect(page.get_by_role("textbox", name="a* angle 2", exact=True)).to_have_value(
            f"{labs[1][1]:g}"
        )
        page.get_by_role("button", name="Use this target").click()
        expect(page.get_by_text("at 2 angles together")).to_be_visible()
        expect(page.get_by_role("textbox", name="45as110 counts")).to_have_value("0.5")
        harness.shoot(page, artifacts, f"angles-target-{size}")
        step(page, "Limits")
        page.get_by_role("combobox", name="Difference that the order names").select_option("cmc2:1")
        glance = page.get_by_role("group", name="In hand", exact=True)
        expect(glance).to_contain_text("CMC(2:1) at most 1")
        step(page, "Suggestions")
        page.get_by_role("button", name="Look closer: number 1,").click()
        closer = page.get_by_role("group", name="A closer look", exact=True)
        expect(closer).to_contain_text(look.evenness)
        angle = page.get_by_role("combobox", name="Angle shown")
        card = page.get_by_role("region", name="Suggestion number 1,")
        chart = page.get_by_role("group", name="Where they lie in Lab", exact=True)
        for k, place in enumerate(PLACES):
            angle.focus()
            page.keyboard.press("Home" if k == 0 else "End")
            expect(angle).to_have_value(place)
            expect(card).to_contain_text(f"Target at {place}")
            expect(chart).to_contain_text(f"Target and suggestions at {place}, close up")
            expect(closer).to_contain_text(f"seen at {place}")
            first = look.why.changes[0].angles[k]
            row = closer.get_by_role("row", name=look.why.changes[0].name)
            expect(row).to_contain_text(number(first.lightness))
            harness.shoot(page, artifacts, f"angles-{place}-{size}")
        no_side_scroll(page)
        assert harness.serious(page) == []
        watch.check()
        page.close()
