"""Where an archive of a test is kept: a file, and a database on the server if there is one."""

from __future__ import annotations

import os
import secrets
from collections.abc import Iterator
from pathlib import Path

import pytest
import sqlalchemy as sa

from tests.conftest import in_ci
from tests.tools.postgres_server import VARIABLE

__all__ = ["PLACES", "fresh_database", "place"]

PLACES = ["sqlite", pytest.param("postgres", marks=pytest.mark.postgres)]


def fresh_database() -> Iterator[str]:
    """Make an empty database on the test server; yield its URL; take it away."""
    url = os.environ.get(VARIABLE)
    if not url:
        if in_ci():
            pytest.fail(f"{VARIABLE} is not set")
        pytest.skip(f"{VARIABLE} is not set: run tests/tools/postgres_server.py run -- pytest")
    name = f"archive_{secrets.token_hex(6)}"
    admin = sa.create_engine(url, isolation_level="AUTOCOMMIT")
    with admin.connect() as connection:
        connection.exec_driver_sql(f"CREATE DATABASE {name}")
    yield sa.engine.make_url(url).set(database=name).render_as_string(hide_password=False)
    with admin.connect() as connection:
        connection.exec_driver_sql(f"DROP DATABASE {name} WITH (FORCE)")
    admin.dispose()


@pytest.fixture(params=PLACES)
def place(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """Yield the path or URL of an archive that does not exist yet, on each kind of database."""
    if request.param == "sqlite":
        yield str(tmp_path / "panels.db")
    else:
        yield from fresh_database()
