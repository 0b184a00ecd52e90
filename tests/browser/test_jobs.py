"""Whole jobs in a real browser, from the target to a card that passes, by value."""

from __future__ import annotations

import contextlib
import os
import re
import signal
from pathlib import Path
from typing import Any

import pytest

from matchlib.archive import Archive
from tests.browser import harness
from tests.cli_shop import copied

pytestmark = pytest.mark.browser

RED = "27.1 45.9 28.5"
SIZES = ((1280, 800, "light"), (1024, 768, "dark"), (800, 1280, "light"))


def tablet(browser: Any, served: harness.Served, address: str = "") -> Any:
    page = browser.new_page(viewport={"width": 1280, "height": 800})
    page.goto(f"{served.url}?token={served.token}", timeout=harness.PATIENCE)
    if address:
        page.goto(f"{served.url}voila/render/match_a_sample.ipynb{address}")
    settled(page)
    return page


def settled(page: Any) -> None:
    page.locator(".wb h1").first.wait_for(timeout=harness.PATIENCE)
    page.wait_for_function(
        "() => document.querySelector('.wb')?.getAttribute('aria-busy') === 'false'"
        " && document.querySelector('.wb-working').hidden",
        timeout=harness.PATIENCE,
    )


def press(page: Any, do: str) -> None:
    page.locator(f"[data-do={do}]").first.click()
    settled(page)


def forward(page: Any) -> None:
    page.locator(".wb-bottom .wb-go").click()
    settled(page)


def heading(page: Any) -> str:
    return str(page.locator("main h1").inner_text())


def begin(page: Any, lab: str, name: str) -> int:
    press(page, "new")
    page.get_by_label("The sample reads").fill(lab)
    page.get_by_label("Name", exact=True).fill(name)
    forward(page)
    assert heading(page) == f"Recipes for {name}"
    return int(re.findall(r"job=(\d+)", page.url)[0])


def spray_on(page: Any) -> None:
    """Lay what is to be laid up to the next reading."""
    for _ in range(12):
        if heading(page).startswith("Card "):
            return
        if "read" in page.locator(".wb-bottom .wb-go").inner_text():
            break
        forward(page)
    forward(page)


def read(page: Any, lab: str) -> str:
    page.get_by_label("It reads").fill(lab)
    forward(page)
    return str(page.locator(".wb-verdict .wb-big").inner_text())


def own(page: Any) -> None:
    """Choose the recipe to be sprayed blind, by the sliders as they stand."""
    page.locator("[data-do=tool][data-value=own]").click()
    settled(page)
    press(page, "useown")


def job_of(room: Path, number: int) -> Any:
    with Archive.open(room / "panels.db") as archive:
        return archive.job(number)


def test_what_was_typed_stays_when_it_was_wrong_and_the_camera_goes_with_its_place(
    browser: Any, served: harness.Served
) -> None:
    page = tablet(browser, served)
    press(page, "new")
    page.get_by_label("The sample reads").fill("green")
    page.get_by_label("Name", exact=True).fill("a gate")
    press(page, "photo")
    assert page.get_by_text("Photograph with a colour chart").is_visible()
    forward(page)
    assert "A colour is three numbers" in page.locator(".wb-wrong").inner_text()
    assert page.get_by_label("The sample reads").input_value() == "green"
    assert page.get_by_label("Name", exact=True).input_value() == "a gate"
    page.get_by_label("The sample reads").fill(RED)
    page.locator("#rendered_cells").evaluate("e => e.scrollTo(0, 9999)")
    forward(page)
    assert heading(page) == "Recipes for a gate"
    held = page.evaluate("document.activeElement.localName")
    assert held == "h1", "also once the readings on the way are worked out and it is drawn again"
    assert page.locator("main h1").bounding_box()["y"] > 50, "a step begins at its top"
    assert not page.get_by_text("Photograph with a colour chart").is_visible()
    page.close()


def test_a_match_at_the_first_panel_and_a_reload_at_every_step(
    browser: Any, served: harness.Served, room: Path, artifacts: Path
) -> None:
    page = tablet(browser, served)
    number = begin(page, RED, "carousel ring")

    def again() -> None:
        where, title = page.url, heading(page)
        page.reload()
        settled(page)
        assert (page.url, heading(page)) == (where, title)
        for width, height, scheme in SIZES:
            page.emulate_media(color_scheme=scheme)
            page.set_viewport_size({"width": width, "height": height})
            foot = page.locator(".wb-bottom").bounding_box()
            assert foot["y"] + foot["height"] <= height + 1, "Next and Undo are always in sight"
            harness.shoot(page, artifacts, f"job-{title[:8]}-{width}-{scheme}")
        page.set_viewport_size({"width": 1280, "height": 800})
        page.wait_for_timeout(300)
        over = page.locator("#rendered_cells").evaluate("e => e.scrollHeight - e.clientHeight")
        assert over <= 1, f"{title} fits on a screen of 1280 by 800"
        assert harness.serious(page, ".wb") == []

    again()
    own(page)
    again()
    spray_on(page)
    assert heading(page) == f"Card J{number}-1"
    again()
    assert read(page, "27.2 46.1 28.4").startswith("● Passes: ΔE00 0.")
    assert page.get_by_text("Every target is met").is_visible()
    again()
    forward(page)
    again()
    press(page, "sheet")
    assert page.locator(".wb-problem").count() == 0
    page.locator(f".wb[data-downloaded='job-{number}.pdf']").wait_for(timeout=harness.PATIENCE)
    forward(page)
    again()
    kept = job_of(room, number)
    assert (kept.state, kept.outcome, kept.panels) == ("done", "matched", (f"J{number}-1",))
    with Archive.open(room / "panels.db") as archive:
        stage = archive.panel(f"J{number}-1").stages[-1]
    assert stage.readings[-1].lab == (27.2, 46.1, 28.4)
    assert stage.recipe.clear == "yes"
    assert [entry.coat for entry in stage.log] == [*range(1, stage.recipe.schedule.coats + 1)]
    page.close()


def test_a_card_is_built_on_and_a_press_is_taken_back(
    browser: Any, served: harness.Served, room: Path
) -> None:
    page = tablet(browser, served)
    number = begin(page, RED, "built on")
    own(page)
    forward(page)
    assert "Undo: coat 1 sprayed" in page.locator(".wb-bottom").inner_text()
    press(page, "undo")
    assert not job_of(room, number).panels, "the card went with its only coat"
    spray_on(page)
    assert read(page, "28.6 46.3 30.1").startswith("○ Not yet: ΔE00 1.3")
    assert "more coat" in page.locator(".wb-first h2").inner_text()
    before = job_of(room, number).plan.recipe.schedule.coats
    forward(page)
    assert page.get_by_text("sand it before these coats").is_visible()
    assert "Pot for 1 more coat" in page.locator("section[aria-label=Pot]").inner_text()
    spray_on(page)
    assert read(page, "27.1 45.8 28.3").startswith("● Passes")
    kept = job_of(room, number)
    assert kept.panels == (f"J{number}-1",), "the same card"
    assert kept.plan.recipe.schedule.coats == before + 1
    with Archive.open(room / "panels.db") as archive:
        assert len(archive.panel(f"J{number}-1").stages) == 2
    page.close()


def test_two_tablets_have_one_job_and_the_late_one_is_told(
    browser: Any, served: harness.Served, room: Path
) -> None:
    one = tablet(browser, served)
    number = begin(one, RED, "shared")
    two = tablet(browser, served, f"?job={number}&step=recipe")
    own(one)
    two.locator("[data-do=use]").first.click()
    settled(two)
    assert two.get_by_role("alert").filter(has_text="changed elsewhere").is_visible()
    assert job_of(room, number).version == 2, "the late press did nothing"
    one.close()
    two.close()


def test_a_server_that_is_killed_at_any_step_loses_nothing(browser: Any, tmp_path: Path) -> None:
    from playwright.sync_api import expect

    copied(tmp_path)
    with contextlib.ExitStack() as servers:
        served = servers.enter_context(harness.open_workbook(tmp_path))
        page = tablet(browser, served)

        def killed(**typed: str) -> None:
            """Kill the server, start it again: the page is where it was, with what was typed."""
            nonlocal served
            where, title = page.url, heading(page)
            for name, value in typed.items():
                page.locator(f".wb [name={name}]").fill(value)
            page.evaluate("window.before = true")
            os.killpg(served.child.pid, signal.SIGKILL)
            gone = page.get_by_role("alert").filter(has_text="does not answer")
            gone.wait_for(timeout=6000)
            served.child.wait()
            served = servers.enter_context(harness.open_workbook(tmp_path, port=served.port))
            # A page that has just come back waits to be touched before it does so again.
            page.wait_for_function(
                "() => { dispatchEvent(new Event('keydown')); return !window.before; }",
                polling=500,
                timeout=harness.PATIENCE,
            )
            settled(page)
            assert (page.url, heading(page)) == (where, title)
            for name, value in typed.items():
                field = page.locator(f".wb [name={name}]")
                expect(field).to_have_value(value, timeout=harness.PATIENCE)

        press(page, "new")
        page.get_by_label("The sample reads").fill(RED)
        killed(lab=RED, customer="Harbour Trust")
        forward(page)
        number = int(re.findall(r"job=(\d+)", page.url)[0])
        assert job_of(tmp_path, number).customer == "Harbour Trust"
        own(page)
        forward(page)
        killed()
        spray_on(page)
        killed(lab="27.2 46.1 28.4")
        forward(page)
        assert page.get_by_text("Every target is met").is_visible()
        forward(page)
        killed()
        forward(page)
        assert job_of(tmp_path, number).outcome == "matched"
        page.close()
