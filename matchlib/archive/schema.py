"""The tables of an archive, as they stand at the newest schema version.

The steps that lead here from every earlier version are in `matchlib.archive.migrations`; a test
holds that they arrive at exactly these tables.
"""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa

__all__ = [
    "HEAD",
    "LARGEST",
    "VERSIONS",
    "attachments",
    "history",
    "history_items",
    "ignored",
    "imports",
    "jobs",
    "metadata",
    "names",
    "panels",
    "profiles",
    "readings",
    "settings",
    "version",
]

VERSIONS = ("0001", "0002", "0003", "0004")
"""Every schema version there has been, oldest first."""

HEAD = VERSIONS[-1]

LARGEST = 2**31 - 1
"""The largest number that a column of numbers takes."""

metadata = sa.MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_name)s",
        "uq": "uq_%(table_name)s_%(column_0_name)s",
        "fk": "fk_%(table_name)s_%(column_0_name)s_%(referred_table_name)s",
        "pk": "pk_%(table_name)s",
    }
)

# The name and column are the migration library's own, so that its tools work on an archive.
version = sa.Table(
    "alembic_version", sa.MetaData(), sa.Column("version_num", sa.String(32), primary_key=True)
)

imports = sa.Table(
    "imports",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("file", sa.Text, nullable=False),
    sa.Column("sha256", sa.String(64)),
    sa.Column("at", sa.String(32), nullable=False),  # UTC, ISO 8601
    sa.Column("who", sa.Text, nullable=False),
    sa.Column("readings", sa.Integer, nullable=False),
    sqlite_autoincrement=True,
)

names = sa.Table(
    "names",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("kind", sa.String(16), nullable=False),
    sa.Column("key", sa.Text, nullable=False),  # of its first spelling: `name_key`
    sa.Column("data", sa.Text, nullable=False),  # JSON of a `Name`: spellings, lots
    sa.UniqueConstraint("kind", "key"),
)

panels = sa.Table(
    "panels",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("code", sa.String(80), nullable=False),
    sa.Column("data", sa.Text, nullable=False),  # JSON of a `Panel` without its readings
    sa.Column("import_id", sa.ForeignKey("imports.id"), nullable=False),
    sa.Column("deleted", sa.Boolean, nullable=False, server_default=sa.false()),
    sa.Column("digest", sa.String(64), nullable=False),
    sqlite_autoincrement=True,
)
# The code of a panel that was removed may be used again.
_USED = sa.text("NOT deleted")
_by_code = sa.Index("ix_panels_code", panels.c.code, unique=True, sqlite_where=_USED)


@sa.event.listens_for(panels, "before_create")
def _on_a_server(_table: sa.Table, connection: sa.Connection, **_: Any) -> None:
    # Given above, the option would load PostgreSQL's dialect in every process.
    if connection.dialect.name == "postgresql":
        _by_code.dialect_options["postgresql"]["where"] = _USED


readings = sa.Table(
    "readings",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("panel_id", sa.ForeignKey("panels.id"), nullable=False, index=True),
    sa.Column("import_id", sa.ForeignKey("imports.id"), nullable=False),
    sa.Column("stage", sa.Integer, nullable=False),  # of the panel, the first is 1
    sa.Column("data", sa.Text, nullable=False),  # JSON of a `Reading`, numbers with every digit
    sa.Column("digest", sa.String(64), nullable=False),
    # The n-th reading of this stage with these same values. It makes the same reading imported
    # twice at the same moment impossible, and leaves honest repeats with equal values alone.
    sa.Column("repeat", sa.Integer, nullable=False),
    sa.UniqueConstraint("panel_id", "stage", "digest", "repeat"),
    sqlite_autoincrement=True,
)

jobs = sa.Table(
    "jobs",
    metadata,
    sa.Column("number", sa.Integer, primary_key=True),
    # Counts the changes, so that one made on a stale view is noticed.
    sa.Column("version", sa.Integer, nullable=False),
    sa.Column("state", sa.String(16), nullable=False, index=True),
    sa.Column("customer", sa.Text, nullable=False),  # `name_key` of it, to find jobs by
    sa.Column("at", sa.String(32), nullable=False),  # changed last; UTC, ISO 8601
    sa.Column("data", sa.Text, nullable=False),  # JSON of a `Job`
    sqlite_autoincrement=True,
)

profiles = sa.Table(
    "profiles",
    metadata,
    sa.Column("kind", sa.String(40), primary_key=True),
    sa.Column("name", sa.String(120), primary_key=True),
    sa.Column("data", sa.Text, nullable=False),  # JSON
    sa.Column("at", sa.String(32), nullable=False),
    sa.Column("who", sa.Text, nullable=False),
)

settings = sa.Table(
    "settings",
    metadata,
    sa.Column("key", sa.String(200), primary_key=True),
    sa.Column("value", sa.Text, nullable=False),  # JSON
)

history = sa.Table(
    "history",
    metadata,
    # Order is by this number and never by the clock, which can be set back.
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("import_id", sa.ForeignKey("imports.id")),
    sa.Column("at", sa.String(32), nullable=False),
    sa.Column("who", sa.Text, nullable=False),
    sa.Column("action", sa.String(24), nullable=False),
    sa.Column("why", sa.Text, nullable=False),
    sa.Column("undoes", sa.ForeignKey("history.id")),
    sqlite_autoincrement=True,
)

history_items = sa.Table(
    "history_items",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("change_id", sa.ForeignKey("history.id"), nullable=False, index=True),
    sa.Column("kind", sa.String(16), nullable=False),  # panel, name, job, finding
    sa.Column("subject", sa.Integer, nullable=False, index=True),  # its row; 0 for a finding
    sa.Column("before", sa.Text),  # JSON of the fields that changed
    sa.Column("after", sa.Text),
    sqlite_autoincrement=True,
)

ignored = sa.Table(
    "ignored",
    metadata,
    sa.Column("key", sa.String(400), primary_key=True),
    sa.Column("at", sa.String(32), nullable=False),
    sa.Column("who", sa.Text, nullable=False),
    sa.Column("why", sa.Text, nullable=False),
)

attachments = sa.Table(
    "attachments",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("panel_id", sa.ForeignKey("panels.id"), nullable=False),
    sa.Column("name", sa.String(120), nullable=False),
    sa.Column("at", sa.String(32), nullable=False),
    sa.Column("who", sa.Text, nullable=False),
    sa.Column("sha256", sa.String(64), nullable=False),
    sa.Column("data", sa.LargeBinary, nullable=False),
    sa.UniqueConstraint("panel_id", "name"),
    sqlite_autoincrement=True,
)
