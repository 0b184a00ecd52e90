"""How soon a page is there: from its address to its first control, in a real browser.

Each page is opened in a browser that has never seen it, then again; ``open`` is the time until the
command tells its address. Kernels are kept warm; the demonstration's archive, fitted.
"""

from __future__ import annotations

import argparse
import os
import shutil
import statistics
import tempfile
import time
from pathlib import Path

import nbformat

from tests.browser import harness
from tests.cli_shop import copied
from workbook.serving import notebooks_folder

__all__ = ["main"]


def main(arguments: list[str]) -> None:
    """Measure every notebook's page and print a table."""
    from playwright.sync_api import sync_playwright

    parser = argparse.ArgumentParser(prog="pages", description=__doc__)
    parser.add_argument("--times", type=int, default=5)
    times = parser.parse_args(arguments).times
    chromium = shutil.which("chromium")
    print(f"load average before: {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")
    with tempfile.TemporaryDirectory() as name, sync_playwright() as play:
        room = Path(name)
        copied(room)
        began = time.perf_counter()
        with harness.open_workbook(room) as served:
            print(f"open: {time.perf_counter() - began:.1f} s until it answers")
            browser = play.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
            print("| page | first visit, median s | again, median s |\n|---|---|---|")
            for book in sorted(notebooks_folder().glob("*.ipynb")):
                if not nbformat.read(book, 4).metadata.get("workbook", {}).get("page"):
                    continue
                fresh, again = [], []
                for _ in range(times):
                    context = browser.new_context(viewport={"width": 1280, "height": 800})
                    for taken in (fresh, again):
                        page = context.new_page()
                        time.sleep(8)  # the next kernel is made ready
                        start = time.perf_counter()
                        harness.open_in_voila(page, served, book.name)
                        taken.append(time.perf_counter() - start)
                        page.close()
                    context.close()
                both = (statistics.median(taken) for taken in (fresh, again))
                print(f"| {book.stem} | {' | '.join(f'{t:.1f}' for t in both)} |", flush=True)
            browser.close()
