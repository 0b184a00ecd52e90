"""Library, archive and training in a real browser, and a shop from nothing to its first match."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from matchlib.archive import Archive
from tests.browser import harness
from tests.cli_shop import copied, two_colours
from tests.tools.render_scene import Scene, render, to_jpeg
from workbook.session import Session
from workbook.session.record import load_attempts
from workbook.session.work import Work

pytestmark = pytest.mark.browser

SIZES = ((1280, 800, "light"), (1024, 768, "dark"), (800, 1280, "light"))
BOOKS = ("browse_the_library.ipynb", "analyse_the_archive.ipynb", "train_on_grounds.ipynb")


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An archive of two colours with a wrong back, and its fit, so that pages open at once."""
    return copied(tmp_path_factory.mktemp("shop"), two_colours()).parent


@pytest.fixture(scope="module")
def served(shop: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[harness.Served]:
    room = tmp_path_factory.mktemp("room")
    env = {"OMP_NUM_THREADS": "1"}
    with harness.open_workbook(room, "--archive", str(shop / "panels.db"), env=env) as served:
        yield served


def opened(browser: Any, served: harness.Served, book: str, **how: Any) -> tuple[Any, Any]:
    from playwright.sync_api import expect

    expect.set_options(timeout=90_000)
    page = browser.new_page(viewport={"width": 1280, "height": 800}, **how)
    watch = harness.Watch().on(page)
    harness.open_in_voila(page, served, book)
    expect(page.locator(".wb h1")).to_be_visible()
    return page, watch


def press(page: Any, name: str) -> None:
    """Press by keyboard, as someone without a mouse would."""
    page.get_by_role("button", name=name).first.focus()
    page.keyboard.press("Enter")


def panel_of(shop: Path, code: str) -> Any:
    with Archive.open(shop / "panels.db") as archive:
        return archive.panel(code)


def test_a_card_is_found_amended_and_matched(
    browser: Any, served: harness.Served, shop: Path
) -> None:
    from playwright.sync_api import expect

    page, watch = opened(browser, served, BOOKS[0])
    page.get_by_label("Near a colour").fill("T021")
    page.keyboard.press("Enter")
    expect(page.locator(".wb-tile").first).to_have_attribute("data-value", "T021")
    press(page, "T021, lagoon")
    expect(page.get_by_role("heading", name="T021")).to_be_visible()
    page.reload()
    expect(page.get_by_role("heading", name="T021")).to_be_visible()

    press(page, "Amend the back")
    was = panel_of(shop, "T021")
    page.get_by_label("Sprayer").fill("Ada")
    press(page, "Keep it")
    expect(page.get_by_text("T021 now reads")).to_be_visible()
    assert panel_of(shop, "T021").sprayer == "Ada"
    press(page, "Undo: amended T021")
    expect(page.get_by_text("Taken back: amended T021")).to_be_visible()
    assert panel_of(shop, "T021") == was

    press(page, "Print its label")
    expect(page.locator(".wb[data-downloaded='label T021.pdf']")).to_be_attached()
    press(page, "Match this colour")
    link = page.get_by_role("link", name="Go on with job")
    expect(link).to_have_attribute("href", re.compile(r"match_a_sample\.ipynb\?job=\d+"))
    with Archive.open(shop / "panels.db") as archive:
        assert [j.name for j in archive.jobs()] == ["like T021"]

    press(page, "Show to a customer")
    expect(page.get_by_role("heading", name="Our colours")).to_be_visible()
    assert "lagoon" not in page.locator(".wb").inner_text()
    watch.check()
    page.close()


def test_a_photograph_is_read_where_a_back_asks_for_it(
    browser: Any, served: harness.Served, shop: Path, tmp_path: Path, artifacts: Path
) -> None:
    from playwright.sync_api import expect

    photograph = tmp_path / "card.jpg"
    photograph.write_bytes(to_jpeg(render(Scene())))
    page, watch = opened(browser, served, BOOKS[0])
    press(page, "Add a card")
    chosen = page.get_by_label("Choose a photograph")
    expect(chosen).to_have_count(0)
    press(page, "Photograph it")
    expect(chosen).to_be_attached()
    chosen.set_input_files(str(photograph))
    use = page.get_by_role("button", name="Use this reading")
    expect(use).to_be_enabled()
    assert harness.serious(page, ".wb") == []
    harness.shoot(page, artifacts, "library-photograph")
    use.focus()
    page.keyboard.press("Enter")
    expect(page.get_by_text("To be kept with it: photo")).to_be_visible()
    expect(chosen).to_have_count(0)
    watch.check()
    page.close()


def test_a_finding_is_acted_on_and_taken_back(
    browser: Any, served: harness.Served, shop: Path
) -> None:
    from playwright.sync_api import expect

    page, watch = opened(browser, served, BOOKS[1])
    press(page, "What looks wrong")
    expect(page.get_by_text("1 of")).to_be_visible()
    page.get_by_label("Your name").fill("Ada")
    change = page.get_by_role("button", name=re.compile(r"Change T\d+ to this"))
    expect(change).to_be_visible()
    code = change.inner_text().split()[1]
    was = panel_of(shop, code)
    change.focus()
    page.keyboard.press("Enter")
    expect(page.get_by_text(f"{code} now reads")).to_be_visible()
    assert panel_of(shop, code).recipe != was.recipe
    press(page, f"Undo: amended {code}")
    expect(page.get_by_text(f"Taken back: amended {code}")).to_be_visible()
    assert panel_of(shop, code) == was
    press(page, "Why a prediction says so")
    slider = page.get_by_role("slider", name="Coats")
    slider.focus()
    page.keyboard.press("ArrowRight")
    expect(page.get_by_text("4 coats of 6 parts carrier").first).to_be_visible()
    watch.check()
    page.close()


def test_a_trainee_looks_guesses_and_is_recorded(
    browser: Any, served: harness.Served, shop: Path
) -> None:
    from playwright.sync_api import expect

    page, watch = opened(browser, served, BOOKS[2])
    expect(page.get_by_role("img", name="Lightness of")).to_be_visible()
    press(page, "Now guess")
    answers = page.get_by_role("group", name="Answers").get_by_role("button")
    expect(answers.first).to_be_visible()
    page.get_by_label("Trainee").fill("Jo")
    answers.nth(1).focus()
    page.keyboard.press("Enter")
    expect(page.get_by_text("The answers")).to_be_visible()
    with Archive.open(shop / "panels.db") as archive:
        (held,) = load_attempts(archive, "Jo")
    assert f"Card {held['panel']}." in page.locator(".wb-main").inner_text()
    page.reload()
    expect(page.get_by_text("The answers")).to_be_visible()
    watch.check()
    page.close()


def test_a_word_of_the_trade_leads_to_its_meaning_by_the_keyboard(
    browser: Any, served: harness.Served
) -> None:
    from playwright.sync_api import expect

    page, watch = opened(browser, served, BOOKS[2])
    press(page, "Blending in and fading")
    expect(page.locator('[data-place="training fades"]').first).to_be_attached()
    word = page.locator(".wb-main .wb-word", has_text="coats").first
    word.focus()
    shown = word.evaluate("e => getComputedStyle(e, '::after').content")
    assert "stroke overlapping stroke" in shown, "its meaning stands beside it"
    page.evaluate("window.before = true")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="Words of the trade")).to_be_visible()
    expect(page.locator("#word-coat p").first).to_be_visible()
    assert page.evaluate("window.before"), "without loading the page anew"
    watch.check()
    page.close()


@pytest.mark.parametrize("book", BOOKS)
def test_pages_fit_their_screens_and_anybody(
    browser: Any, served: harness.Served, book: str, artifacts: Path
) -> None:
    page, watch = opened(browser, served, book)
    for width, height, scheme in SIZES:
        page.emulate_media(color_scheme=scheme)
        page.set_viewport_size({"width": width, "height": height})
        page.wait_for_timeout(500)
        wide = page.evaluate("() => document.documentElement.scrollWidth")
        assert wide <= width, f"{book} scrolls sideways at {width}"
        harness.shoot(page, artifacts, f"{book[:-6]}-{width}-{scheme}", most=1400)
        assert harness.serious(page) == []
    low = page.evaluate(
        """() => [...document.querySelectorAll('.wb button, .wb select, .wb .wb-field input')]
               .filter((e) => e.offsetParent && e.getBoundingClientRect().height < 48)
               .map((e) => e.outerHTML.slice(0, 120))"""
    )
    assert low == []
    watch.check()
    page.close()


def test_in_a_low_window_the_cards_are_seen_above_what_stands_still(
    browser: Any, served: harness.Served
) -> None:
    page, watch = opened(browser, served, BOOKS[0])
    page.locator(".wb-tile").nth(3).click()
    page.locator(".wb-back h2").wait_for(timeout=harness.PATIENCE)
    page.set_viewport_size({"width": 640, "height": 400})  # 1280 by 800 at 200 %
    page.wait_for_timeout(500)
    tops = [page.locator(s).bounding_box()["y"] for s in (".wb-back", ".wb-bottom")]
    assert tops[0] > 120, "the cards"
    assert tops[1] - tops[0] > 120, "the card that was chosen"
    watch.check()
    page.close()


def test_a_shop_from_nothing_to_its_first_match(
    browser: Any, tmp_path: Path, artifacts: Path
) -> None:
    from playwright.sync_api import expect

    place = tmp_path / "own.db"
    env = {"OMP_NUM_THREADS": "1"}
    with harness.open_workbook(tmp_path, "--archive", str(place), env=env) as served:
        page = browser.new_page(viewport={"width": 1024, "height": 768})
        expect.set_options(timeout=90_000)
        watch = harness.Watch().on(page)
        page.goto(f"{served.url}?token={served.token}")
        expect(page.get_by_text("There is no archive of your own")).to_be_visible()
        assert not place.exists()
        press(page, "Make it")
        for name, lab in (("silver", "61,2 0,3 1,9"), ("white", "92 -0.5 2"), ("black", "9 0 0")):
            page.get_by_label("Name a ground").fill(name)
            page.keyboard.press("Enter")
            page.get_by_label(f"Reading of {name}").fill(lab)
            press(page, "Keep the reading of")
            expect(page.get_by_text(f"{name} bare is kept")).to_be_visible()
        press(page, "Next: colours")
        page.get_by_label("Name a colour").fill("cherry")
        page.keyboard.press("Enter")
        expect(page.get_by_role("heading", name="cherry")).to_be_visible()
        press(page, "Next: first cards")
        for i, lab in enumerate(("60 50 20", "35 55 30", "38 40 18", "9 12 5"), 1):
            press(page, f"Sprayed: read it cherry {i}")
            page.get_by_label(f"Reading of cherry {i}").fill(lab)
            press(page, "Keep the reading of")
            expect(page.get_by_text(f"cherry {i} is kept")).to_be_visible()
        expect(page.get_by_role("link", name="To the first match")).to_be_visible()
        harness.shoot(page, artifacts, "beginning", most=1400)
        assert harness.serious(page) == []
        page.goto(f"{served.url}voila/render/{BOOKS[0]}?part=cards&card=cherry+1")
        press(page, "Match this colour")
        expect(page.get_by_role("link", name="Go on with job 1")).to_be_visible()
        watch.check()
        page.close()
    with Session.open(place) as session:
        (job,) = session.archive.jobs()
        found = session.match(Work(session, job).aim, session.limits(), top=1)
        assert str(found[0].recipe.colour) == "cherry"
