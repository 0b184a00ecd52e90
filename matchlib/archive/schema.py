"""The tables of an archive, as they stand at the newest schema version.

The steps that lead here from every earlier version are in `matchlib.archive.migrations`; a test
holds that they arrive at exactly these tables.
"""

from __future__ import annotations

import sqlalchemy as sa

__all__ = [
    "HEAD",
    "VERSIONS",
    "attachments",
    "history",
    "ignored",
    "imports",
    "metadata",
    "names",
    "panels",
    "readings",
    "settings",
    "version",
]

VERSIONS = ("0001", "0002", "0003")
"""Every schema version there has been, oldest first."""

HEAD = VERSIONS[-1]

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
    sa.Column("kind", sa.String(16), nullable=False),  # ground or colour
    sa.Column("key", sa.Text, nullable=False),  # without regard to capitals
    sa.Column("spelling", sa.Text, nullable=False),  # as first seen
    sa.UniqueConstraint("kind", "key"),
)

panels = sa.Table(
    "panels",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("code", sa.String(80), nullable=False, unique=True),
    sa.Column("ground", sa.Text, nullable=False),  # JSON [[name, parts], …], parts exact
    sa.Column("colour", sa.Text),
    sa.Column("schedule", sa.Text),  # JSON [[coats, carrier, colour], …]
    sa.Column("clear", sa.Text),
    sa.Column("date", sa.String(10)),
    sa.Column("sprayer", sa.Text, nullable=False),
    sa.Column("lot", sa.Text, nullable=False),
    sa.Column("note", sa.Text, nullable=False),
    sa.Column("extra", sa.Text, nullable=False),  # JSON [[column, text], …]
    sa.Column("import_id", sa.ForeignKey("imports.id"), nullable=False),
    sa.Column("customer", sa.Text, nullable=False, server_default=""),
    sa.Column("temperature", sa.Double),  # °C
    sa.Column("humidity", sa.Double),  # %
    sa.Column("deleted", sa.Boolean, nullable=False, server_default=sa.false()),
    sa.Column("digest", sa.String(64), nullable=False, server_default=""),
    sqlite_autoincrement=True,
)

readings = sa.Table(
    "readings",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("panel_id", sa.ForeignKey("panels.id"), nullable=False, index=True),
    sa.Column("import_id", sa.ForeignKey("imports.id"), nullable=False),
    sa.Column("source", sa.String(24), nullable=False),
    sa.Column("illuminant", sa.String(8), nullable=False),
    sa.Column("observer", sa.String(4), nullable=False),
    sa.Column("geometry", sa.String(12), nullable=False),
    sa.Column("lab", sa.Text),  # JSON; shortest digits that give the same 64-bit float back
    sa.Column("wavelengths", sa.Text),
    sa.Column("reflectance", sa.Text),
    sa.Column("sd", sa.Double),
    sa.Column("digest", sa.String(64), nullable=False),
    # The n-th reading of this panel with these same values. It makes the same reading imported
    # twice at the same moment impossible, and leaves honest repeats with equal values alone.
    sa.Column("repeat", sa.Integer, nullable=False),
    sa.UniqueConstraint("panel_id", "digest", "repeat"),
    sqlite_autoincrement=True,
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
    sa.Column("panel_id", sa.ForeignKey("panels.id"), nullable=False, index=True),
    sa.Column("import_id", sa.ForeignKey("imports.id")),
    sa.Column("at", sa.String(32), nullable=False),
    sa.Column("who", sa.Text, nullable=False),
    sa.Column("action", sa.String(24), nullable=False),
    sa.Column("why", sa.Text, nullable=False),
    sa.Column("before", sa.Text),  # JSON of the fields that changed
    sa.Column("after", sa.Text),
    sa.Column("undoes", sa.ForeignKey("history.id")),
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
