"""What every test shares: one thread a library, hypothesis profiles, a real browser."""

from __future__ import annotations

import os
import shutil
import warnings
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

# Before numpy is imported anywhere: two cores are soon oversubscribed by threads within threads.
for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

import pytest  # noqa: E402  the threads must be limited first
from hypothesis import HealthCheck, settings  # noqa: E402

__all__ = [
    "ROOT",
    "artifacts",
    "book",
    "browser",
    "colour",
    "home",
    "in_ci",
    "place",
    "shop",
    "table",
]

ROOT = Path(__file__).resolve().parents[1]

# No deadline: a busy machine is not a failing law. In CI the examples are the same every time.
settings.register_profile(
    "ci", deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow]
)
settings.register_profile("dev", deadline=None, suppress_health_check=[HealthCheck.too_slow])


def in_ci() -> bool:
    """Whether a missing tool is a failure rather than a skip."""
    return os.environ.get("CI", "").lower() in {"1", "true", "yes"}


from tests.faults.places import place  # noqa: E402  a fixture, whose module asks `in_ci`

settings.load_profile("ci" if in_ci() else "dev")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Leave browser tests for last: the quick ones should speak first."""
    items.sort(key=lambda item: item.get_closest_marker("browser") is not None)


@pytest.fixture(scope="session")
def artifacts() -> Path:
    """The folder in which screenshots are kept for a person to look at."""
    place = ROOT / "artifacts"
    place.mkdir(exist_ok=True)
    return place


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Keep what is kept for the user, backups of databases on a server too, out of their folder."""
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    return tmp_path


@pytest.fixture
def table(tmp_path: Path) -> Callable[..., Path]:
    """Writes a table into a file, as text or as bytes."""

    def write(content: str | bytes, name: str = "t.csv", encoding: str = "utf-8") -> Path:
        path = tmp_path / name
        path.write_bytes(content if isinstance(content, bytes) else content.encode(encoding))
        return path

    return write


@pytest.fixture
def book(tmp_path: Path) -> Callable[..., Path]:
    """Writes sheets of rows, with merged areas, into an XLSX file."""
    from openpyxl import Workbook

    def write(merged: Any = (), name: str = "shop.xlsx", **sheets: Any) -> Path:
        made = Workbook()
        made.remove(made.active)
        for title, rows in sheets.items():
            sheet = made.create_sheet(title.replace("_", " "))
            for row in rows:
                sheet.append(row)
            for area in merged:
                sheet.merge_cells(area)
        path = tmp_path / name
        made.save(path)
        return path

    return write


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    """A folder of its own with a small table, and the archive made of it."""
    from tests.cli_shop import small_shop

    return Path(shutil.copytree(small_shop(), tmp_path, dirs_exist_ok=True))


@pytest.fixture(scope="session")
def colour() -> Any:
    """The reference library of colour science, which warns of what it does not find."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour as library
    return library


# One browser a module, not a session: playwright keeps an event loop running in this thread while
# it is open, and notebooks executed in-process by other modules need that thread free of one.
@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    """Debian's Chromium under playwright, never one that a test tool would download."""
    chromium = shutil.which("chromium")
    if chromium is None:
        if in_ci():
            pytest.fail("Chromium is not installed; browser tests may not be skipped in CI")
        pytest.skip("Chromium is not installed (apt-get install chromium)")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        opened = play.chromium.launch(
            executable_path=chromium,
            args=[
                "--no-sandbox",
                "--disable-gpu",
                "--disable-quic",
                "--no-first-run",
                "--disable-background-networking",
                "--disable-component-update",
                "--disable-sync",
                # Drawn as a monitor with the sRGB curve would, whatever the machine says.
                "--force-color-profile=srgb",
            ],
        )
        yield opened
        opened.close()
