"""Version 4: stages, jobs, names with lots, profiles; a history of many things a change."""

import contextlib
import json
from collections import Counter
from collections.abc import Mapping
from fractions import Fraction
from typing import Any

import sqlalchemy as sa
from alembic import op

from matchlib.archive.codec import panel_digest, panel_of, panel_text, reading_digest
from matchlib.domain import Colour, Ground, MixRatio, Name, Reading, name_key
from matchlib.errors import DomainError
from matchlib.plain import dump, from_plain, to_plain

revision = "0004"
down_revision = "0003"

_REBUILT = ("attachments", "history", "readings", "panels", "names")  # those that refer first
_OF_STAGE = ("colour", "schedule", "clear", "date", "sprayer", "lot", "temperature", "humidity")


def upgrade() -> None:
    """Set the old rows aside, make the tables anew, and bring every row over."""
    connection = op.get_bind()
    for table in _REBUILT:
        connection.execute(sa.text(f"CREATE TABLE old_{table} AS SELECT * FROM {table}"))  # noqa: S608  # names of our own
    for table in _REBUILT:
        op.drop_table(table)
    _make_tables()
    _move_panels(connection)
    _move_history(connection)
    connection.execute(sa.text("INSERT INTO attachments SELECT * FROM old_attachments"))
    for table in _REBUILT:
        op.drop_table(f"old_{table}")
    if connection.dialect.name == "postgresql":
        for table in ("panels", "readings", "history", "attachments"):
            connection.execute(
                sa.text(
                    f"SELECT setval(pg_get_serial_sequence('{table}', 'id'),"  # noqa: S608  # as above
                    f" (SELECT coalesce(max(id), 0) + 1 FROM {table}), false)"
                )
            )


def _make_tables() -> None:
    _make_panels()
    _make_jobs()
    _make_history()
    _make_attachments()


def _make_panels() -> None:
    op.create_table(
        "names",
        sa.Column("id", sa.Integer),
        sa.Column("kind", sa.String(16), nullable=False),
        sa.Column("key", sa.Text, nullable=False),
        sa.Column("data", sa.Text, nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_names"),
        sa.UniqueConstraint("kind", "key", name="uq_names_kind"),
    )
    op.create_table(
        "panels",
        sa.Column("id", sa.Integer),
        sa.Column("code", sa.String(80), nullable=False),
        sa.Column("data", sa.Text, nullable=False),
        sa.Column("import_id", sa.Integer, nullable=False),
        sa.Column("deleted", sa.Boolean, nullable=False, server_default=sa.false()),
        sa.Column("digest", sa.String(64), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_panels"),
        sa.ForeignKeyConstraint(["import_id"], ["imports.id"], name="fk_panels_import_id_imports"),
        sqlite_autoincrement=True,
    )
    where = sa.text("NOT deleted")
    op.create_index(
        "ix_panels_code",
        "panels",
        ["code"],
        unique=True,
        sqlite_where=where,
        postgresql_where=where,
    )
    op.create_table(
        "readings",
        sa.Column("id", sa.Integer),
        sa.Column("panel_id", sa.Integer, nullable=False),
        sa.Column("import_id", sa.Integer, nullable=False),
        sa.Column("stage", sa.Integer, nullable=False),
        sa.Column("data", sa.Text, nullable=False),
        sa.Column("digest", sa.String(64), nullable=False),
        sa.Column("repeat", sa.Integer, nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_readings"),
        sa.UniqueConstraint("panel_id", "stage", "digest", "repeat", name="uq_readings_panel_id"),
        sa.ForeignKeyConstraint(["panel_id"], ["panels.id"], name="fk_readings_panel_id_panels"),
        sa.ForeignKeyConstraint(
            ["import_id"], ["imports.id"], name="fk_readings_import_id_imports"
        ),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_readings_panel_id", "readings", ["panel_id"])


def _make_jobs() -> None:
    op.create_table(
        "jobs",
        sa.Column("number", sa.Integer),
        sa.Column("version", sa.Integer, nullable=False),
        sa.Column("state", sa.String(16), nullable=False),
        sa.Column("customer", sa.Text, nullable=False),
        sa.Column("at", sa.String(32), nullable=False),
        sa.Column("data", sa.Text, nullable=False),
        sa.PrimaryKeyConstraint("number", name="pk_jobs"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_jobs_state", "jobs", ["state"])
    op.create_table(
        "profiles",
        sa.Column("kind", sa.String(40), nullable=False),
        sa.Column("name", sa.String(120), nullable=False),
        sa.Column("data", sa.Text, nullable=False),
        sa.Column("at", sa.String(32), nullable=False),
        sa.Column("who", sa.Text, nullable=False),
        sa.PrimaryKeyConstraint("kind", "name", name="pk_profiles"),
    )


def _make_history() -> None:
    op.create_table(
        "history",
        sa.Column("id", sa.Integer),
        sa.Column("import_id", sa.Integer),
        sa.Column("at", sa.String(32), nullable=False),
        sa.Column("who", sa.Text, nullable=False),
        sa.Column("action", sa.String(24), nullable=False),
        sa.Column("why", sa.Text, nullable=False),
        sa.Column("undoes", sa.Integer),
        sa.PrimaryKeyConstraint("id", name="pk_history"),
        sa.ForeignKeyConstraint(["import_id"], ["imports.id"], name="fk_history_import_id_imports"),
        sa.ForeignKeyConstraint(["undoes"], ["history.id"], name="fk_history_undoes_history"),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "history_items",
        sa.Column("id", sa.Integer),
        sa.Column("change_id", sa.Integer, nullable=False),
        sa.Column("kind", sa.String(16), nullable=False),
        sa.Column("subject", sa.Integer, nullable=False),
        sa.Column("before", sa.Text),
        sa.Column("after", sa.Text),
        sa.PrimaryKeyConstraint("id", name="pk_history_items"),
        sa.ForeignKeyConstraint(
            ["change_id"], ["history.id"], name="fk_history_items_change_id_history"
        ),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_history_items_change_id", "history_items", ["change_id"])
    op.create_index("ix_history_items_subject", "history_items", ["subject"])


def _make_attachments() -> None:
    op.create_table(
        "attachments",
        sa.Column("id", sa.Integer),
        sa.Column("panel_id", sa.Integer, nullable=False),
        sa.Column("name", sa.String(120), nullable=False),
        sa.Column("at", sa.String(32), nullable=False),
        sa.Column("who", sa.Text, nullable=False),
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.Column("data", sa.LargeBinary, nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_attachments"),
        sa.UniqueConstraint("panel_id", "name", name="uq_attachments_panel_id"),
        sa.ForeignKeyConstraint(["panel_id"], ["panels.id"], name="fk_attachments_panel_id_panels"),
        sqlite_autoincrement=True,
    )


def _rows(connection: sa.Connection, query: str) -> list[dict[str, Any]]:
    return [dict(row) for row in connection.execute(sa.text(query)).mappings()]


def _insert(connection: sa.Connection, table: str, rows: list[dict[str, Any]]) -> None:
    if rows:
        connection.execute(sa.table(table, *map(sa.column, rows[0])).insert(), rows)


def _move_panels(connection: sa.Connection) -> None:
    panels, readings = [], []
    digests: dict[int, list[tuple[int, str]]] = {}
    seen: Counter[tuple[int, str]] = Counter()
    for row in _rows(connection, "SELECT * FROM old_readings ORDER BY id"):
        plain = _reading(row)
        digest = reading_digest(plain)
        key = (row["panel_id"], digest)
        new = {"stage": 1, "data": dump(plain), "digest": digest, "repeat": seen[key]}
        readings.append({k: row[k] for k in ("id", "panel_id", "import_id")} | new)
        digests.setdefault(row["panel_id"], []).append((1, digest))
        seen[key] += 1
    names = _Names()
    for row in _rows(connection, "SELECT * FROM old_names ORDER BY id"):
        names.note(row["kind"], row["spelling"])
    for row in _rows(connection, "SELECT * FROM old_panels ORDER BY id"):
        plain = {k: row[k] for k in ("code", "note", "customer") if row[k]}
        if row["extra"] != "[]":
            plain["extra"] = json.loads(row["extra"])
        stage = {k: _value(k, row[k]) for k in _OF_STAGE if row[k] not in (None, "")}
        recipe = {"ground": _value("ground", row["ground"])}
        recipe |= {k: stage.pop(k) for k in ("colour", "schedule", "clear") if k in stage}
        panel = panel_of(dump({**plain, "stages": [{"recipe": recipe, **stage}]}))
        new = {"data": panel_text(panel), "deleted": bool(row["deleted"])}
        new["digest"] = panel_digest(panel, digests.get(row["id"], []))
        panels.append({k: row[k] for k in ("id", "code", "import_id")} | new)
        if panel.recipe.clear not in (None, "yes"):
            names.note("clear", str(panel.recipe.clear))
        if panel.sprayer:
            names.note("sprayer", panel.sprayer)
    _insert(connection, "panels", panels)
    _insert(connection, "readings", readings)
    _insert(connection, "names", names.rows())


def _move_history(connection: sa.Connection) -> None:
    changes, items = [], []
    for row in _rows(connection, "SELECT * FROM old_history ORDER BY id"):
        kept = ("id", "import_id", "at", "who", "action", "why", "undoes")
        changes.append({k: row[k] for k in kept})
        item = {"change_id": row["id"], "kind": "panel", "subject": row["panel_id"]}
        items.append(item | {side: _fields(row[side]) for side in ("before", "after")})
    _insert(connection, "history", changes)
    _insert(connection, "history_items", items)


class _Names:
    """Names found, each once under the spelling met first."""

    def __init__(self) -> None:
        self.found: dict[tuple[str, str], Name] = {}

    def note(self, kind: str, text: str) -> None:
        key = (kind, name_key(text))
        if key not in self.found:
            # A remark where a name should be is left as it is.
            with contextlib.suppress(DomainError):
                self.found[key] = Name(kind, text)

    def rows(self) -> list[dict[str, Any]]:
        return [
            {"kind": kind, "key": key, "data": dump(to_plain(name))}
            for (kind, key), name in self.found.items()
        ]


def _fields(text: str | None) -> str | None:
    if text is None:
        return None
    old: dict[str, Any] = json.loads(text)
    new: dict[str, Any] = {}
    for name, value in old.items():
        if name == "readings":
            new[name] = [[1, _reading(row)] for row in value]
        elif name == "extra":
            new[name] = json.loads(value) or None
        elif name in ("ground", *_OF_STAGE):
            new[f"stage 1 {name}"] = None if value in (None, "") else _value(name, value)
        else:
            new[name] = None if value == "" else value
    return dump(new)


def _value(name: str, stored: Any) -> Any:
    if name in ("ground", "colour"):
        parts = tuple((part, Fraction(share)) for part, share in json.loads(stored))
        return str(Ground(parts) if name == "ground" else Colour(parts))
    if name == "schedule":
        steps = json.loads(stored)
        ratios = [MixRatio(Fraction(c) / Fraction(k), Fraction(1)) for _, c, k in steps]
        return " ".join(f"{n}@{ratio}" for (n, _, _), ratio in zip(steps, ratios, strict=True))
    return stored


def _reading(row: Mapping[str, Any]) -> dict[str, Any]:
    plain = {"source": row["source"], "sd": row["sd"]}
    plain["viewing"] = {k: row[k] for k in ("illuminant", "observer", "geometry")}
    for name in ("lab", "wavelengths", "reflectance"):
        if row[name] is not None:
            plain[name] = json.loads(row[name])
    kept: dict[str, Any] = to_plain(from_plain(Reading, plain))
    return kept
