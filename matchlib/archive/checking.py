"""A thorough look for damage: the database's own checks, and every digest computed anew."""

from __future__ import annotations

import hashlib
import json

import sqlalchemy as sa

from matchlib.archive import schema
from matchlib.archive.codec import panel_digest, panel_of, reading_digest
from matchlib.archive.database import Database
from matchlib.domain import Reading
from matchlib.errors import MatchlibError
from matchlib.plain import from_plain

__all__ = ["check", "content_faults"]


def check(database: Database) -> tuple[str, ...]:
    """Return what is wrong with an archive.

    Parameters
    ----------
    database : Database
        Open.

    Returns
    -------
    tuple of str
        In words, each naming the panel or file; empty when all is well.
    """
    try:
        with database.read() as connection:
            wrong = _structure(connection) if database.is_sqlite else []
            return tuple(wrong or content_faults(connection))
    except MatchlibError as error:
        return (str(error),)


def _structure(connection: sa.Connection) -> list[str]:
    told = connection.exec_driver_sql("PRAGMA integrity_check(20)").scalars().all()
    wrong = [f"The file is damaged: {line}." for line in told if line != "ok"]
    loose = connection.exec_driver_sql("PRAGMA foreign_key_check").all()
    wrong += [f"Row {row[1]} of {row[0]} belongs to nothing in {row[2]}." for row in loose[:20]]
    return wrong


def content_faults(connection: sa.Connection) -> list[str]:
    """Return what of the content is not as it was written, by every digest.

    Parameters
    ----------
    connection : Connection
        Open.

    Returns
    -------
    list of str
        In words; empty when all is well.
    """
    p, r, t = schema.panels, schema.readings, schema.attachments
    wrong = []
    codes = {row.id: row.code for row in connection.execute(sa.select(p.c.id, p.c.code))}
    digests: dict[int, list[tuple[int, str]]] = {}
    for found in connection.execute(sa.select(r)).mappings():
        row = dict(found)
        code = codes.get(row["panel_id"], "?")
        digests.setdefault(row["panel_id"], []).append((row["stage"], row["digest"]))
        try:
            plain = json.loads(row["data"])
            from_plain(Reading, plain)
            whole = reading_digest(plain) == row["digest"]
        except (MatchlibError, LookupError, ValueError, TypeError):
            whole = False
        if not whole:
            wrong.append(f"A reading of panel {code} is not what was imported.")
    for found in connection.execute(sa.select(p)).mappings():
        row = dict(found)
        try:
            panel = panel_of(row["data"])
            whole = panel_digest(panel, digests.get(row["id"], [])) == row["digest"]
        except (MatchlibError, LookupError, ValueError, TypeError):
            whole = False
        if not whole:
            wrong.append(f"Panel {row['code']} is not what was written last.")
    for kept in connection.execute(sa.select(t)).mappings():
        if hashlib.sha256(kept["data"]).hexdigest() != kept["sha256"]:
            code = codes.get(kept["panel_id"], "?")
            wrong.append(f"The file {kept['name']} of panel {code} is not what was attached.")
    return wrong
