"""What reading stored rows needs: a few hundred at a time, damage said in words, one digest."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Collection, Iterable, Iterator
from itertools import islice
from typing import ParamSpec, TypeVar

import sqlalchemy as sa

from matchlib.archive import schema
from matchlib.archive.troubles import DamagedError
from matchlib.errors import MatchlibError

__all__ = ["DAMAGE", "chunked", "hash_in", "whole"]

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


def whole(build: Callable[_P, _T], *args: _P.args, **kwargs: _P.kwargs) -> _T:
    """Build a value from stored columns, or say that they are damaged; `Database` says where."""
    try:
        return build(*args, **kwargs)
    except DAMAGE as error:
        raise DamagedError(
            "This archive is damaged: what is stored cannot be read.",
            got=str(error)[:200],
            remedy="restore the newest backup ('workbook restore --from last'), or save what can "
            "be read ('workbook salvage').",
        ) from error
