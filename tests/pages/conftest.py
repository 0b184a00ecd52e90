"""A shop of two colours with its fit, one of a few cards, and one that has nothing yet."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.cli_shop import copied, small_shop, two_colours
from workbook.jobs.app import JobsScreen
from workbook.session import Session


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Session]:
    with Session.open(copied(tmp_path, two_colours())) as session:
        yield session


@pytest.fixture
def few(tmp_path: Path) -> Iterator[Session]:
    """A shop of six cards, whose fit takes no time."""
    with Session.open(copied(tmp_path, small_shop() / "panels.db")) as session:
        yield session


@pytest.fixture
def nothing(tmp_path: Path) -> Iterator[Session]:
    with Session.open(tmp_path / "new.db", create=True) as session:
        yield session


@pytest.fixture
def screen(shop: Session) -> JobsScreen:
    return JobsScreen(shop)
