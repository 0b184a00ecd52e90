"""'Match a sample' in a real browser, in JupyterLab and under Voilà, from target to job sheet."""

from __future__ import annotations

import base64
import shutil
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pytest

from matchlib.domain import CoatSchedule
from matchlib.forecast import forecast
from matchlib.tails import chance_words
from tests.browser import harness
from tests.cli_shop import copied, demo_shop
from workbook.figures import lab_text
from workbook.match.keeping import SETTING
from workbook.session import Session, lab_of, reading_of_lab
from workbook.session.order import aim_of

pytestmark = pytest.mark.browser

NOTEBOOKS = Path(__file__).resolve().parents[2] / "notebooks"
BOOK = "match_a_sample.ipynb"
SAMPLE = "carousel ring"


@dataclass
class Shop:
    """An archive to work on, and what the session itself answers for its sample."""

    archive: Path
    found: Any
    target: Any

    @property
    def env(self) -> dict[str, str]:
        return {"WORKBOOK_ARCHIVE": str(self.archive)}

    def forget(self) -> None:
        """Begin as if nothing had been matched yet."""
        with Session.open(self.archive) as session:
            session.archive.set_setting(SETTING, None)


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Shop:
    room = tmp_path_factory.mktemp("shop")
    archive = copied(room)
    shutil.copytree(demo_shop().archive.parent / "samples", room / "samples")
    target = demo_shop().targets[SAMPLE]
    with Session.open(archive) as session:
        found = session.match(aim_of(target), top=5)
    return Shop(archive, found, target)


@pytest.fixture(scope="module")
def books(tmp_path_factory: pytest.TempPathFactory) -> Path:
    # A copy: JupyterLab saves what it has run.
    place = tmp_path_factory.mktemp("books")
    shutil.copy(NOTEBOOKS / BOOK, place / BOOK)
    return place


@pytest.fixture(scope="module")
def voila(
    shop: Shop, books: Path, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[harness.Served]:
    with harness.serve_voila(books, tmp_path_factory.mktemp("voila"), shop.env) as served:
        yield served


@pytest.fixture(scope="module")
def lab(
    shop: Shop, books: Path, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[harness.Served]:
    with harness.serve_lab(books, tmp_path_factory.mktemp("lab"), shop.env) as served:
        yield served


def step(page: Any, name: str) -> None:
    page.get_by_role("group", name="Steps", exact=True).get_by_role("button", name=name).click()


def expecting() -> Any:
    from playwright.sync_api import expect

    expect.set_options(timeout=harness.PATIENCE)
    return expect


def choose_sample(page: Any, shop: Shop) -> None:
    """The target, by keyboard alone."""
    expect = expecting()
    way = page.get_by_label("How the target is given")
    expect(way).to_be_visible()
    # JupyterLab takes the focus back once, when a cell has run.
    way.press("End")
    for _ in range(20):
        if way.input_value() == "sample":
            break
        page.wait_for_timeout(200)
        way.press("End")
    expect(page.get_by_role("combobox", name="Customer's sample")).to_be_visible()
    page.get_by_role("combobox", name="Customer's sample").focus()
    page.keyboard.type(SAMPLE[:4])
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    expect(page.get_by_text(f"The target is {SAMPLE}")).to_be_visible()
    glance = page.get_by_role("group", name="In hand", exact=True)
    expect(glance).to_contain_text(lab_text(lab_of(shop.target)))


def take_first(page: Any, shop: Shop) -> None:
    """Cards agree with the session, and the first is chosen."""
    expect = expecting()
    step(page, "Suggestions")
    for number, suggestion in enumerate(shop.found, 1):
        card = page.get_by_role("region", name=f"Suggestion number {number},")
        expect(card).to_contain_text(suggestion.recipe.schedule.words)
        expected = f"ΔE00 {suggestion.expected_delta_e00:.2f} ± {suggestion.sd_delta_e00:.2f}"
        expect(card).to_contain_text(expected)
        expect(card).to_contain_text(chance_words(suggestion.probability))
    page.get_by_role("button", name="Use this one: number 1").focus()
    page.keyboard.press("Enter")
    glance = page.get_by_role("group", name="In hand", exact=True)
    expect(glance).to_contain_text(shop.found[0].recipe.words)
    expect(page.get_by_role("button", name="✓ Chosen: number 1")).to_be_focused()


def slide(page: Any, shop: Shop) -> float:
    """Sliders predict what the session predicts; returns the median from key to paint [ms]."""
    expect = expecting()
    step(page, "What if")
    coats = page.get_by_role("slider", name="Coats", exact=True)
    first = shop.found[0].recipe.schedule
    expect(coats).to_have_attribute("aria-valuetext", f"{first.steps[0].coats} coats")
    view = page.get_by_role("group", name="What the next panel would read", exact=True)
    expect(view).to_contain_text(lab_text(shop.found[0].lab))
    keys = ["ArrowRight", "ArrowLeft"] * 5
    median = harness.key_to_paint(
        page, coats, "[aria-label='What the next panel would read']", keys=keys
    )
    page.keyboard.press("ArrowRight")
    more = str(first).replace(f"{first.steps[0].coats}@", f"{first.steps[0].coats + 1}@", 1)
    recipe = replace(shop.found[0].recipe, schedule=CoatSchedule.parse(more))
    with Session.open(shop.archive) as session:
        (own,) = forecast(session.model, [recipe], aim_of(shop.target))
    expect(view).to_contain_text(lab_text(own.lab))
    expect(view).to_contain_text(f"Chance of passing within 1: {chance_words(own.probability)}")
    return median


def spray(page: Any, shop: Shop) -> None:
    """A test panel's reading gives the session's own advice."""
    expect = expecting()
    step(page, "I sprayed this")
    light, red, yellow = (round(v) for v in lab_of(shop.target))
    read = (light + 4, red - 3, yellow)
    for name, value in zip(("Read L*", "Read a*", "Read b*"), read, strict=True):
        page.get_by_role("textbox", name=name).fill(str(value))
    page.get_by_role("textbox", name="Code on the panel's back").fill("<b>K1")
    group = page.get_by_role("group", name="The panel just sprayed", exact=True)
    group.get_by_role("button", name="I sprayed this").click()
    recipe = shop.found[0].recipe
    with Session.open(shop.archive) as session:
        advice = session.correct(
            aim_of(shop.target), sprayed=[(recipe, reading_of_lab(read, shop.target.viewing))]
        )
    view = page.get_by_role("group", name="What to change", exact=True)
    for line in advice.words.splitlines():
        expect(view).to_contain_text(line)
    expect(view).to_contain_text("<b>K1")


def print_sheet(page: Any) -> None:
    """One press, and the PDF is there to be taken."""
    expect = expecting()
    step(page, "Job sheet")
    link = page.get_by_role("link", name="Download")
    expect(link).to_be_visible()
    kind, _, data = link.get_attribute("href").partition(";base64,")
    assert kind == "data:application/pdf"
    assert base64.b64decode(data).startswith(b"%PDF-")
    expect(page.get_by_text("It is also kept as")).to_be_visible()


def no_side_scroll(page: Any) -> None:
    wide = page.evaluate(
        "() => [...document.querySelectorAll('.cpw-match .cpw')].filter((e) =>"
        " e.offsetParent && e.getBoundingClientRect().right > innerWidth + 1).length"
    )
    assert wide == 0, f"{wide} controls stick out at the side"


def test_under_voila(browser: Any, shop: Shop, voila: harness.Served, artifacts: Path) -> None:
    expect = expecting()
    shop.forget()
    page = browser.new_page(viewport={"width": 1280, "height": 800})
    watch = harness.Watch().on(page)
    harness.open_in_voila(page, voila, BOOK)
    choose_sample(page, shop)
    take_first(page, shop)
    page.get_by_role("button", name="Compare: number 1").click()
    page.get_by_role("button", name="Compare: number 2").click()
    expect(page.get_by_role("heading", name="Number 1 and Number 2 side by side")).to_be_visible()
    page.get_by_role("button", name="Look closer: number 1").click()
    expect(page.get_by_role("heading", name="a closer look")).to_be_visible()
    harness.shoot(page, artifacts, "match-voila-suggestions")
    assert harness.serious(page) == []
    median = slide(page, shop)
    print(f"key to paint under Voilà, median: {median:.0f} ms")
    harness.shoot(page, artifacts, "match-voila-what-if")
    spray(page, shop)
    harness.shoot(page, artifacts, "match-voila-sprayed")
    assert harness.serious(page) == []
    step(page, "The pot")
    page.get_by_role("textbox", name="Dry film of one coat").fill("12")
    page.get_by_role("textbox", name="Volume solids").fill("20")
    pour = page.get_by_role("group", name="What to pour", exact=True)
    expect(pour).to_contain_text("Out of the bottles in all:")
    harness.shoot(page, artifacts, "match-voila-pot")
    print_sheet(page)
    step(page, "Limits")
    expect(page.get_by_role("group", name="Grounds on the shelf", exact=True)).to_be_visible()
    harness.shoot(page, artifacts, "match-voila-limits")
    assert harness.serious(page) == []
    # A tablet held either way.
    for width, height in ((1024, 768), (768, 1024)):
        page.set_viewport_size({"width": width, "height": height})
        for name in ("Target", "Suggestions", "What if", "I sprayed this"):
            step(page, name)
            page.wait_for_timeout(150)
            no_side_scroll(page)
    harness.shoot(page, artifacts, "match-voila-tablet")
    watch.check()
    page.close()


def test_in_lab_and_after_a_restart(
    browser: Any, shop: Shop, lab: harness.Served, artifacts: Path
) -> None:
    expect = expecting()
    shop.forget()
    page = browser.new_page(viewport={"width": 1280, "height": 800})
    watch = harness.Watch().on(page)
    harness.open_in_lab(page, lab, BOOK)
    choose_sample(page, shop)
    take_first(page, shop)
    median = slide(page, shop)
    print(f"key to paint in JupyterLab, median: {median:.0f} ms")
    page.evaluate(
        """async () => {
             const panel = window.jupyterapp.shell.currentWidget;
             await panel.sessionContext.session.kernel.restart();
             await window.jupyterapp.commands.execute('notebook:run-all-cells');
           }"""
    )
    glance = page.get_by_role("group", name="In hand", exact=True)
    expect(glance).to_contain_text(shop.found[0].recipe.words)
    expect(page.get_by_role("region", name="Suggestion number 1,")).to_be_visible()
    # What cannot be is said in words, in a live region.
    step(page, "Target")
    way = page.get_by_label("How the target is given")
    way.select_option("lab")
    for name, value in (("L*", "99"), ("a*", "120"), ("b*", "-120")):
        page.get_by_role("textbox", name=name, exact=True).fill(value)
    page.get_by_role("button", name="Use this target").click()
    said = page.get_by_role("group", name="Messages, Target: what is to be matched", exact=True)
    expect(said).to_contain_text("What to do:")
    assert said.get_attribute("aria-live") == "assertive"
    assert said.get_by_text("Traceback").count() == 0
    watch.check()
    assert harness.serious(page, ".jp-OutputArea-output") == []
    harness.shoot(page, artifacts, "match-lab")
    page.close()


def test_dark_theme_keeps_contrast(
    browser: Any, shop: Shop, voila: harness.Served, artifacts: Path
) -> None:
    shop.forget()
    page = browser.new_page(viewport={"width": 1024, "height": 768}, color_scheme="dark")
    harness.open_in_voila(page, voila, BOOK)
    choose_sample(page, shop)
    take_first(page, shop)
    assert page.evaluate("() => document.body.dataset.jpThemeLight") == "false"
    assert harness.serious(page) == []
    harness.shoot(page, artifacts, "match-dark")
    page.close()


def type_lab(page: Any, lab: tuple[int, int, int]) -> None:
    expect = expecting()
    step(page, "Target")
    page.get_by_label("How the target is given").select_option("lab")
    for name, value in zip(("L*", "a*", "b*"), lab, strict=True):
        page.get_by_role("textbox", name=name, exact=True).fill(str(value))
    page.get_by_role("button", name="Use this target").click()
    expect(in_hand(page)).to_contain_text(lab_text(lab))


def in_hand(page: Any) -> Any:
    return page.get_by_role("group", name="In hand", exact=True)


def test_a_tablet_finds_its_own_match_and_another_has_its_own(
    browser: Any, shop: Shop, voila: harness.Served, artifacts: Path
) -> None:
    expect = expecting()
    shop.forget()
    tablets = [browser.new_context(viewport={"width": 820, "height": 1180}) for _ in range(2)]
    one, two = (tablet.new_page() for tablet in tablets)
    watch = harness.Watch().on(one)
    harness.open_in_voila(one, voila, BOOK)
    expect(one.get_by_label("How the target is given")).to_be_visible()
    type_lab(one, (31, 44, 27))
    step(one, "I sprayed this")
    one.get_by_role("textbox", name="Code on the panel's back").fill("K 12")
    one.get_by_role("textbox", name="Read L*").fill("33.5")
    one.wait_for_timeout(1000)  # a tablet is not put away in the middle of a key
    own = in_hand(one).inner_text()

    harness.open_in_voila(two, voila, BOOK)
    expect(two.get_by_label("How the target is given")).to_be_visible()
    expect(in_hand(two)).to_contain_text("Target: none yet")
    type_lab(two, (50, 10, -20))
    assert lab_text((31, 44, 27)) not in in_hand(two).inner_text()

    # A reload is a new kernel; it comes back to the same match, forms and undo.
    one.reload()
    expect(in_hand(one)).to_contain_text(lab_text((31, 44, 27)))
    step(one, "I sprayed this")
    expect(one.get_by_role("textbox", name="Code on the panel's back")).to_have_value("K 12")
    expect(one.get_by_role("textbox", name="Read L*")).to_have_value("33.5")
    assert in_hand(one).inner_text() == own
    expect(one.get_by_role("button", name="Undo: target typed Lab")).to_be_enabled()
    two.reload()
    expect(in_hand(two)).to_contain_text(lab_text((50, 10, -20)))

    # The first goes on with what the second has in hand, on purpose, by keyboard.
    step(one, "Bench")
    harness.shoot(one, artifacts, "match-bench-820")
    assert harness.serious(one) == []
    no_side_scroll(one)
    which = one.get_by_role("combobox", name="Bench to work at")
    which.focus()
    which.press("ArrowDown")
    one.keyboard.press("Tab")
    one.keyboard.press("Enter")
    expect(in_hand(one)).to_contain_text(lab_text((50, 10, -20)))
    one.reload()
    expect(in_hand(one)).to_contain_text(lab_text((50, 10, -20)))
    step(one, "Bench")
    one.set_viewport_size({"width": 1280, "height": 800})
    harness.shoot(one, artifacts, "match-bench-1280")
    watch.check()
    for tablet in tablets:
        tablet.close()
