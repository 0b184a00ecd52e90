"""A shop of two colours with its fit, one of a few cards, and one that has nothing yet."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from matchlib.progress import part_of
from tests.cli_shop import copied, small_shop, two_colours
from workbook.jobs.app import JobsScreen
from workbook.screen import BaseScreen
from workbook.session import Session


class AtOnce:
    """A page that does what takes long before it goes on."""

    working, task = "", 0

    def later(self, _: str, work: Callable[[Any], Any], then: Callable[[Any], object]) -> None:
        then(work(part_of(None)))

    def offer(self, name: str, content: bytes) -> None:
        pass

    def drop(self) -> None:
        pass


class Busy(AtOnce):
    """A page that never comes to what takes long."""

    def later(self, *_: object) -> None:
        pass


@pytest.fixture(autouse=True)
def _a_page(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(BaseScreen, "page", AtOnce(), raising=False)
    monkeypatch.setattr(JobsScreen, "page", Busy(), raising=False)


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
