"""Stored rows read out as panels, and the digest of them all."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Collection, Iterable, Iterator
from functools import lru_cache
from itertools import islice
from typing import ParamSpec, TypeVar

import sqlalchemy as sa

from matchlib.archive import schema
from matchlib.archive.codec import panel_of
from matchlib.archive.troubles import DamagedError
from matchlib.domain import Panel
from matchlib.errors import MatchlibError
from matchlib.plain import load

__all__ = ["DAMAGE", "chunked", "hash_in", "panels_in", "whole"]

_CHUNK = 500

DAMAGE = (
    MatchlibError,
    LookupError,
    ValueError,
    TypeError,
    AttributeError,
    OverflowError,
    RecursionError,
)
"""What building a value from spoiled columns may raise."""

_P = ParamSpec("_P")
_T = TypeVar("_T")


def panels_in(
    connection: sa.Connection, where: sa.ColumnElement[bool], *, label: str
) -> tuple[Panel, ...]:
    """Return panels with their readings."""
    p, r = schema.panels, schema.readings
    rows = connection.execute(sa.select(p.c.id, p.c.data).where(where).order_by(p.c.id)).all()
    found = connection.execute(
        sa.select(r.c.panel_id, r.c.stage, r.c.data)
        .join(p, p.c.id == r.c.panel_id)
        .where(where)
        .order_by(r.c.id)
    )
    readings: dict[int, list[tuple[int, str]]] = {}
    for panel_id, stage, text in found:
        readings.setdefault(panel_id, []).append((stage, text))
    return tuple(whole(label, _panel, row.data, tuple(readings.get(row.id, ()))) for row in rows)


@lru_cache(maxsize=16_384)  # a command asks for the same panels several times
def _panel(data: str, readings: tuple[tuple[int, str], ...]) -> Panel:
    return panel_of(data, [(stage, load(text)) for stage, text in readings])


def hash_in(connection: sa.Connection, without: Collection[str] = ()) -> str:
    """Return one digest of all panels that are not deleted."""
    p = schema.panels
    query = sa.select(p.c.code, p.c.digest).where(p.c.deleted == sa.false())
    digests = sorted(digest for code, digest in connection.execute(query) if code not in without)
    return hashlib.sha256("\n".join(digests).encode()).hexdigest()


def chunked(values: Iterable[_T]) -> Iterator[list[_T]]:
    """Yield values a few hundred at a time, for databases limit the parameters of a query."""
    left = iter(values)
    while some := list(islice(left, _CHUNK)):
        yield some


def whole(label: str, build: Callable[_P, _T], *args: _P.args, **kwargs: _P.kwargs) -> _T:
    """Build a value from stored columns, or say that the archive is damaged."""
    try:
        return build(*args, **kwargs)
    except DAMAGE as error:
        raise DamagedError(
            "This archive is damaged: what is stored cannot be read.",
            got=str(error)[:200],
            where=label or None,
            remedy="restore the newest backup ('workbook restore --from last'), or save what can "
            "be read ('workbook salvage').",
        ) from error
