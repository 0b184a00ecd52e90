"""Photos and other files kept with a panel, inside the archive."""

from __future__ import annotations

import datetime as dt
import hashlib
from dataclasses import dataclass

import sqlalchemy as sa

from matchlib.archive import schema
from matchlib.archive.stored import panel_kept
from matchlib.errors import ArchiveError

__all__ = ["MAX_BYTES", "Attachment", "attach", "attachments_of", "digests"]

MAX_BYTES = 50_000_000
"""Largest attachment [byte]; a raw photograph has about half of that."""


@dataclass(frozen=True, slots=True)
class Attachment:
    """A file kept with a panel."""

    name: str  # file name
    data: bytes  # what is in it
    sha256: str  # its digest
    at: dt.datetime  # when it was attached, UTC
    who: str  # by whom


def attach(
    connection: sa.Connection, code: str, name: str, data: bytes, *, at: str, who: str
) -> None:
    """Keep a file with a panel."""
    t = schema.attachments
    panel_id = panel_kept(connection, code).row
    plain = name.isprintable() and not set(name) & set('/\\:*?"<>|') and name.strip(" .") == name
    if not name or len(name) > 120 or not plain:
        raise ArchiveError(
            "This is not a usable file name.",
            got=repr(name[:130]),
            remedy="give it a plain name without a folder.",
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
    stored = connection.execute(query).scalar()
    if stored == sha256:
        return
    if stored is not None:
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
    query = sa.select(t).where(t.c.panel_id == panel_kept(connection, code).row).order_by(t.c.id)
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
