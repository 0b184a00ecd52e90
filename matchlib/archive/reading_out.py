"""Stored rows read out as panels and recipes, and the digest of them all."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Collection
from typing import ParamSpec, TypeVar

import sqlalchemy as sa

from matchlib.archive import schema
from matchlib.archive.codec import panel_of, reading_of, recipe_of
from matchlib.domain import Panel, Reading, Recipe
from matchlib.errors import ArchiveError, MatchlibError

__all__ = ["hash_in", "panels_in", "recipes_in", "whole"]

_P = ParamSpec("_P")
_T = TypeVar("_T")


def panels_in(
    connection: sa.Connection, where: sa.ColumnElement[bool], *, label: str
) -> tuple[Panel, ...]:
    """Return panels with their readings.

    Parameters
    ----------
    connection : Connection
        Open.
    where : ColumnElement
        Which panels.
    label : str
        The archive, for errors.

    Returns
    -------
    tuple of Panel
        In the order they came.

    Raises
    ------
    ArchiveError
        If a stored row is no possible panel.
    """
    p, r = schema.panels, schema.readings
    rows = connection.execute(sa.select(p).where(where).order_by(p.c.id)).mappings().all()
    found = connection.execute(
        sa.select(r).join(p, p.c.id == r.c.panel_id).where(where).order_by(r.c.id)
    ).mappings()
    readings: dict[int, list[Reading]] = {}
    for row in found:
        readings.setdefault(row["panel_id"], []).append(whole(label, reading_of, dict(row)))
    return tuple(whole(label, panel_of, dict(row), readings.get(row["id"], ())) for row in rows)


def recipes_in(connection: sa.Connection, *, label: str) -> tuple[Recipe, ...]:
    """Return every recipe of the panels not deleted, each once.

    Parameters
    ----------
    connection : Connection
        Open.
    label : str
        The archive, for errors.

    Returns
    -------
    tuple of Recipe
        In the order first seen.

    Raises
    ------
    ArchiveError
        If a stored recipe is none.
    """
    p = schema.panels
    columns = (p.c.ground, p.c.colour, p.c.schedule, p.c.clear)
    query = sa.select(*columns).where(p.c.deleted == sa.false()).order_by(p.c.id)
    rows = dict.fromkeys(tuple(row) for row in connection.execute(query))
    return tuple(whole(label, recipe_of, *row) for row in rows)


def hash_in(connection: sa.Connection, without: Collection[str] = ()) -> str:
    """Return one digest of all panels that are not deleted.

    Parameters
    ----------
    connection : Connection
        Open.
    without : collection of str
        Codes of panels that do not count.

    Returns
    -------
    str
        SHA-256 over the panels' digests in sorted order.
    """
    p = schema.panels
    query = sa.select(p.c.code, p.c.digest).where(p.c.deleted == sa.false())
    digests = sorted(digest for code, digest in connection.execute(query) if code not in without)
    return hashlib.sha256("\n".join(digests).encode()).hexdigest()


def whole(label: str, build: Callable[_P, _T], *args: _P.args, **kwargs: _P.kwargs) -> _T:
    """Build a value from stored columns, or say that the archive is damaged.

    Parameters
    ----------
    label : str
        The archive, for the error.
    build : callable
        What builds it.
    *args, **kwargs : object
        Its arguments.

    Returns
    -------
    object
        What was built.

    Raises
    ------
    ArchiveError
        If the columns make no such value.
    """
    try:
        return build(*args, **kwargs)
    except (MatchlibError, ValueError, TypeError) as error:
        raise ArchiveError(
            "This archive is damaged: what is stored of a panel cannot be read.",
            got=str(error)[:200],
            where=label,
            remedy="restore the newest backup.",
        ) from error
