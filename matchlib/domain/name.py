"""Names that an archive knows: grounds, colours, clear coats, instruments, sprayers."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable
from dataclasses import dataclass
from difflib import SequenceMatcher

from matchlib.domain.parts import clean_name, clean_text, name_key
from matchlib.errors import DomainError

__all__ = ["NAME_KINDS", "Lot", "Name", "near_names"]

NAME_KINDS = ("ground", "colour", "clear", "instrument", "sprayer")

_NEAR = 0.82  # share of letters in common; 'slver' and 'silver' have 0.91


@dataclass(frozen=True, slots=True)
class Lot:
    """A lot of a colour, or a batch of a ground or clear coat.

    Parameters
    ----------
    code : str
        As printed on the tin.
    opened, finished : datetime.date, optional
        In use from and until; the one opened last and not finished is today's.
    note : str
        Anything else.

    Examples
    --------
    >>> Lot("B 12", note="opened in March").code
    'B 12'
    """

    code: str
    opened: dt.date | None = None
    finished: dt.date | None = None
    note: str = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "code", clean_name(self.code, "lot"))
        object.__setattr__(self, "note", clean_text(self.note, "note"))
        if self.opened and self.finished and self.finished < self.opened:
            raise DomainError(
                f"Lot {self.code} cannot be finished before it was opened.",
                expected=f"{self.opened.isoformat()} or later",
                got=self.finished.isoformat(),
                remedy="set the dates right, or leave one empty.",
            )


@dataclass(frozen=True, slots=True)
class Name:
    """One thing with its name, its other spellings, and its lots.

    Parameters
    ----------
    kind : str
        One of `NAME_KINDS`.
    name : str
        As it is shown everywhere.
    spellings : tuple of str
        Other spellings that mean the same thing.
    lots : tuple of Lot
        In the order opened.

    Examples
    --------
    >>> from matchlib.domain import Lot, Name
    >>> silver = Name("ground", "silver", spellings=("slver",), lots=(Lot("12"),))
    >>> silver.lot.code
    '12'
    """

    kind: str
    name: str
    spellings: tuple[str, ...] = ()
    lots: tuple[Lot, ...] = ()

    def __post_init__(self) -> None:
        if self.kind not in NAME_KINDS:
            raise DomainError(
                "This is no kind of name.",
                expected=", ".join(NAME_KINDS),
                got=repr(self.kind),
                remedy="say what is named.",
            )
        object.__setattr__(self, "name", clean_name(self.name, self.kind))
        cleaned = (clean_name(s, self.kind) for s in self.spellings)
        others = {name_key(s): s for s in cleaned}
        others.pop(name_key(self.name), None)
        object.__setattr__(self, "spellings", tuple(others.values()))
        codes = [name_key(lot.code) for lot in self.lots]
        if len(set(codes)) < len(codes):
            raise DomainError(
                f"A lot of {self.name} stands twice.",
                expected="each lot once",
                got=", ".join(lot.code for lot in self.lots),
                remedy="join the two.",
            )

    @property
    def keys(self) -> frozenset[str]:
        """What every spelling of it comes down to."""
        return frozenset(map(name_key, (self.name, *self.spellings)))

    @property
    def lot(self) -> Lot | None:
        """Today's lot: the one opened last and not finished."""
        open_ones = [lot for lot in self.lots if lot.finished is None]
        return max(open_ones, key=lambda lot: lot.opened or dt.date.min) if open_ones else None


def near_names(name: str, known: Iterable[str]) -> tuple[str, ...]:
    """Return which known names may be the same thing, spelled otherwise."""
    key, found = name_key(name), []
    for other in known:
        theirs = name_key(other)
        if theirs == key or re.findall(r"\d+", theirs) != re.findall(r"\d+", key):
            continue
        if re.sub(r"\W", "", theirs) == re.sub(r"\W", "", key):
            found.append((1.0, other))
        elif min(len(key), len(theirs)) >= 4:
            alike = SequenceMatcher(None, key, theirs, autojunk=False)
            if alike.quick_ratio() >= _NEAR and (share := alike.ratio()) >= _NEAR:
                found.append((share, other))
    return tuple(other for _, other in sorted(found, key=lambda pair: -pair[0]))
