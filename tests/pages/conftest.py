"""A shop of two colours with its fit, and one that has nothing yet."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from matchlib.archive import Archive
from matchlib.demo import demo_panels
from tests.cli_shop import copied
from workbook.jobs.app import JobsScreen
from workbook.session import Session


@pytest.fixture(scope="package")
def fitted(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two colours of the demonstration, two of its wrong backs among them, and their fit."""
    place = tmp_path_factory.mktemp("shop") / "panels.db"
    names = {"violet", "lagoon"}
    with Archive.open(place, create=True) as archive:
        some = [p for p in demo_panels() if p.recipe.bare or set(p.recipe.colour.names) <= names]  # type: ignore[union-attr]
        archive.add(some, file="panels.csv", who="test")
    with Session.open(place) as session:
        session.fit()
    return place


@pytest.fixture
def shop(fitted: Path, tmp_path: Path) -> Iterator[Session]:
    for file in fitted.parent.glob("panels.db*"):
        shutil.copy(file, tmp_path / file.name)
    with Session.open(tmp_path / "panels.db") as session:
        yield session


@pytest.fixture
def nothing(tmp_path: Path) -> Iterator[Session]:
    with Session.open(tmp_path / "new.db", create=True) as session:
        yield session


@pytest.fixture
def screen(tmp_path: Path) -> JobsScreen:
    return JobsScreen(Session.open(copied(tmp_path)))
