"""The demonstration served to a browser, a copy for each module."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.browser import harness
from tests.cli_shop import copied

__all__ = ["room", "served"]


@pytest.fixture(scope="module")
def room(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with an archive of its own."""
    folder = tmp_path_factory.mktemp("room")
    copied(folder)
    return folder


@pytest.fixture(scope="module")
def served(room: Path) -> Iterator[harness.Served]:
    """Its pages, served."""
    with harness.open_workbook(room) as opened:
        yield opened
