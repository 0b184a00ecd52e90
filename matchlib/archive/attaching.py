"""Photos and other files kept with a panel, inside the archive."""

from __future__ import annotations

import datetime as dt
import hashlib
from dataclasses import dataclass

import sqlalchemy as sa

from matchlib.archive import schema
from matchlib.errors import ArchiveError

__all__ = ["MAX_BYTES", "Attachment", "attach", "attachments_of"]

MAX_BYTES = 50_000_000
"""Largest attachment [byte]; a raw photograph has about half of that."""


@dataclass(frozen=True, slots=True)
class Attachment:
    """A file kept with a panel.

    Parameters
    ----------
    name : str
        File name.
    data : bytes
        What is in it.
    sha256 : str
        Its digest.
    at : datetime.datetime
        When it was attached, UTC.
    who : str
        By whom.
    """

    name: str
    data: bytes
    sha256: str
    at: dt.datetime
    who: str


def attach(
    connection: sa.Connection, code: str, name: str, data: bytes, *, at: str, who: str
) -> None:
    """Keep a file with a panel."""
    t = schema.attachments
    panel_id = connection.execute(sa.select(_of(code))).scalar()
    plain = name.isprintable() and not set(name) & set('/\\:*?"<>|') and name.strip(" .") == name
    if panel_id is None or not name or len(name) > 120 or not plain:
        raise ArchiveError(
            "There is no panel of this code in the archive."
            if panel_id is None
            else "This is not a usable file name.",
            got=repr((code if panel_id is None else name)[:130]),
            remedy="check the code on the back of the panel."
            if panel_id is None
            else "give it a plain name without a folder.",
        )
    if len(data) > MAX_BYTES:
        raise ArchiveError(
            "This file is too large to be kept with a panel.",
            expected=f"at most {MAX_BYTES // 1_000_000} MB",
            got=f"{len(data) / 1e6:.1f} MB",
            where=name,
            remedy="make the photo smaller.",
        )
    sha256 = hashlib.sha256(data).hexdigest()
    query = sa.select(t.c.sha256).where(t.c.panel_id == panel_id, t.c.name == name)
    there = connection.execute(query).scalar()
    if there == sha256:
        return
    if there is not None:
        raise ArchiveError(
            f"Panel {code} has another file of this name already.",
            got=name,
            remedy="give the new one another name.",
        )
    connection.execute(
        t.insert().values(panel_id=panel_id, name=name, at=at, who=who, sha256=sha256, data=data)
    )


def attachments_of(connection: sa.Connection, code: str) -> tuple[Attachment, ...]:
    """Return the files kept with a panel."""
    t = schema.attachments
    query = sa.select(t).where(t.c.panel_id == _of(code)).order_by(t.c.id)
    return tuple(
        Attachment(r["name"], r["data"], r["sha256"], dt.datetime.fromisoformat(r["at"]), r["who"])
        for r in connection.execute(query).mappings()
    )


def digests(connection: sa.Connection) -> dict[str, dict[str, str]]:
    """Return the SHA-256 of every file kept with a panel that is in use."""
    p, t = schema.panels, schema.attachments
    query = sa.select(p.c.code, t.c.name, t.c.sha256).join(t, t.c.panel_id == p.c.id)
    found: dict[str, dict[str, str]] = {}
    for code, name, sha256 in connection.execute(query.where(p.c.deleted == sa.false())):
        found.setdefault(code, {})[name] = sha256
    return found


def _of(code: str) -> sa.ScalarSelect[int]:
    """The panel of a code: the one in use, or the last removed."""
    p = schema.panels
    query = sa.select(p.c.id).where(p.c.code == code).order_by(p.c.deleted, p.c.id.desc())
    return query.limit(1).scalar_subquery()
