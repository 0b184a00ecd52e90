"""What a page does when its server or its kernel went, and when it is loaded again."""

from __future__ import annotations

import json
import os
import re
import signal
from pathlib import Path
from typing import Any

import pytest

from tests.browser import harness
from workbook.serving.notebooks import notebooks_folder

pytestmark = pytest.mark.browser


def gone(page: Any) -> Any:
    return page.locator(".workbook-gone:not([hidden])")


def loses_its_kernel(page: Any, served: harness.Served) -> None:
    """Kill every kernel below what was typed: it is said, mended, and what was typed stays."""
    from playwright.sync_api import expect

    box = page.get_by_role("textbox", name="The sample reads")
    box.fill("27.1 45.9 28.5", timeout=harness.PATIENCE)
    page.wait_for_timeout(2500)
    expect(gone(page)).to_have_count(0)
    for pid in harness.kernels_of(served):  # the page's, and the one kept warm
        os.kill(pid, signal.SIGKILL)
    gone(page).wait_for(timeout=10_000)
    expect(gone(page)).to_have_count(0, timeout=harness.PATIENCE)
    expect(box).to_have_value("27.1 45.9 28.5", timeout=harness.PATIENCE)
    page.get_by_role("button", name="Next: recipes").click()
    aim = page.locator(".wb-rail .wb-num", has_text="aim 27.1 45.9 28.5")
    expect(aim).to_be_visible(timeout=harness.PATIENCE)


def test_a_page_comes_back_when_its_kernel_went(browser: Any, served: harness.Served) -> None:
    page = browser.new_page(viewport={"width": 1280, "height": 900})
    page.goto(f"{served.url}?token={served.token}", timeout=harness.PATIENCE)
    page.get_by_role("button", name="New job").click(timeout=harness.PATIENCE)
    loses_its_kernel(page, served)
    page.close()


def test_in_the_lab_pages_run_by_themselves_and_come_back(
    browser: Any, room: Path, artifacts: Path
) -> None:
    from playwright.sync_api import expect

    with harness.open_workbook(room, "--lab") as served:
        page = browser.new_page(viewport={"width": 1280, "height": 900})
        watch = harness.Watch().on(page)
        page.goto(f"{served.url}?token={served.token}", timeout=harness.PATIENCE)
        page.get_by_role("button", name="New job").click(timeout=harness.PATIENCE)
        bar = page.get_by_role("navigation", name="Pages")
        books = [json.loads(p.read_text("utf-8")) for p in notebooks_folder().glob("*.ipynb")]
        pages = sum("workbook" in book["metadata"] for book in books)
        expect(bar.get_by_role("button")).to_have_count(pages + 1)
        expect(page.locator(".jp-CodeCell .jp-Cell-inputWrapper").first).to_be_hidden()
        kernels = harness.kernels_of(served)
        page.reload(timeout=harness.PATIENCE)
        sample = page.get_by_role("textbox", name="The sample reads")
        expect(sample).to_be_visible(timeout=harness.PATIENCE)
        assert harness.kernels_of(served) == kernels
        foot = page.locator(".wb-bottom").bounding_box()
        assert foot["y"] + foot["height"] <= 900, "Next is in sight here too"
        harness.shoot(page, artifacts, "serving-lab")
        bar.get_by_role("button", name="Code").click()
        expect(page.locator(".jp-CodeCell .jp-Cell-inputWrapper").first).to_be_visible()
        watch.check()
        # JupyterLab keeps code to itself: not without the secret, not under other names.
        assert harness.ask(served, "GET", "/api/contents")[0] == 403
        status, _, _ = harness.ask(served, "GET", f"/lab?token={served.token}", Host="evil.example")
        assert status == 403
        bar.get_by_role("button", name="Code").click()
        loses_its_kernel(page, served)
        page.close()
    assert re.search(r"/lab/tree/match_a_sample\.ipynb\?token=", served.log.read_text())
