"""Two colours of the demonstration over all its grounds, and their fit."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from matchlib.domain import Panel
from matchlib.regression import FilmPredictor
from tests.cli_shop import two_colours
from workbook.session import Session


@pytest.fixture(scope="package")
def opened() -> Iterator[Session]:
    with Session.open(two_colours(), write=False) as session:
        yield session


@pytest.fixture(scope="package")
def panels(opened: Session) -> tuple[Panel, ...]:
    return opened.archive.panels()


@pytest.fixture(scope="package")
def model(opened: Session) -> FilmPredictor:
    return opened.model
