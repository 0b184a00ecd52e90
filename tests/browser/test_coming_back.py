"""What a page does when its server or its kernel went, and when it is loaded again."""

from __future__ import annotations

import json
import os
import re
import signal
import time
from pathlib import Path
from typing import Any

import pytest

from tests.browser import harness
from tests.cli_shop import copied
from workbook.serving.notebooks import notebooks_folder

pytestmark = pytest.mark.browser


def gone(page: Any) -> Any:
    return page.locator(".workbook-gone:not([hidden])")


def test_a_page_says_that_its_server_went_keeps_what_was_typed_and_comes_back(
    browser: Any, tmp_path: Path, artifacts: Path
) -> None:
    from playwright.sync_api import expect

    copied(tmp_path)
    page = browser.new_page()
    with harness.open_workbook(tmp_path) as served:
        page.goto(f"{served.url}?token={served.token}", timeout=harness.PATIENCE)
        page.get_by_role("button", name="New job").click(timeout=harness.PATIENCE)
        field = page.get_by_role("textbox", name="The sample reads")
        field.fill("27.1 45.9 28.5", timeout=harness.PATIENCE)
        page.wait_for_timeout(2500)
        expect(gone(page)).to_have_count(0)
        served.child.kill()
        began = time.monotonic()
        gone(page).wait_for(timeout=10_000)
        took = time.monotonic() - began
        print(f"said that the server went after {took:.1f} s")
        assert took < 3.5  # a promise to the user; half a second is the machine's
        expect(gone(page)).to_contain_text("does not answer")
        page.get_by_role("textbox", name="Customer").fill("Harbour Trust")
        harness.shoot(page, artifacts, "serving-gone")
    # Started again without a word, it has the same address and lets the same browser in.
    with harness.open_workbook(tmp_path, port=served.port) as again:
        assert again.token == served.token
        expect(gone(page)).to_have_count(0, timeout=harness.PATIENCE)
        for name, value in (("The sample reads", "27.1 45.9 28.5"), ("Customer", "Harbour Trust")):
            box = page.get_by_role("textbox", name=name)
            expect(box).to_have_value(value, timeout=harness.PATIENCE)
        page.close()


@pytest.mark.parametrize("lab", [False, True])
def test_a_page_comes_back_when_its_kernel_went(
    browser: Any, room: Path, artifacts: Path, lab: bool
) -> None:
    from playwright.sync_api import expect

    with harness.open_workbook(room, *(["--lab"] if lab else [])) as served:
        page = browser.new_page(viewport={"width": 1280, "height": 900})
        page.goto(f"{served.url}?token={served.token}", timeout=harness.PATIENCE)
        page.get_by_role("button", name="New job").click(timeout=harness.PATIENCE)
        box = page.get_by_role("textbox", name="The sample reads")
        box.fill("27.1 45.9 28.5", timeout=harness.PATIENCE)
        page.wait_for_timeout(4000)
        for pid in harness.kernels_of(served):  # the page's, and the one kept warm
            os.kill(pid, signal.SIGKILL)
        began = time.monotonic()
        gone(page).wait_for(timeout=10_000)
        print(f"said that the kernel went after {time.monotonic() - began:.1f} s")
        expect(gone(page)).to_have_count(0, timeout=harness.PATIENCE)
        expect(box).to_have_value("27.1 45.9 28.5", timeout=harness.PATIENCE)
        page.get_by_role("button", name="Next: recipes").click()
        aim = page.get_by_text("aim 27.1 45.9 28.5")
        expect(aim).to_be_visible(timeout=harness.PATIENCE)
        page.close()


def test_in_the_lab_pages_run_by_themselves_and_a_reload_keeps_them(
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
        harness.shoot(page, artifacts, "serving-lab")
        bar.get_by_role("button", name="Code").click()
        expect(page.locator(".jp-CodeCell .jp-Cell-inputWrapper").first).to_be_visible()
        watch.check()
        # JupyterLab keeps code to itself: not without the secret, not under other names.
        assert harness.ask(served, "GET", "/api/contents")[0] == 403
        status, _, _ = harness.ask(served, "GET", f"/lab?token={served.token}", Host="evil.example")
        assert status == 403
        page.close()
    assert re.search(r"/lab/tree/match_a_sample\.ipynb\?token=", served.log.read_text())
