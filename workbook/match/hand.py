"""What a bench has in hand and may take back, as one document in the archive's settings.

Every bench has a document of its own. It is written whole at every change, with a stamp, so that a
page that was left open while the bench went on elsewhere can tell that it shows the past.
"""

from __future__ import annotations

import datetime as dt
import secrets
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from matchlib.errors import DomainError
from workbook.match.keeping import SETTING, Work, plain_of, work_of
from workbook.session import bench_of

if TYPE_CHECKING:
    from matchlib.archive import Archive

__all__ = ["InHand", "benches", "keep", "key_of", "load", "settle", "stamp_of"]


@dataclass(frozen=True, slots=True)
class InHand:
    """A bench's match.

    Parameters
    ----------
    work : Work
        In hand.
    steps : tuple of mapping
        What undo takes back, oldest first, as plain data.
    name : str
        The bench's; empty before it has one.
    at : str
        When it was written, UTC; empty when it never was.
    stamp : str
        Another at every writing.
    """

    work: Work = field(default_factory=Work)
    steps: tuple[Mapping[str, Any], ...] = ()
    name: str = ""
    at: str = ""
    stamp: str = ""


def key_of(bench: str) -> str:
    """Return the name of a bench's setting.

    Parameters
    ----------
    bench : str
        Its mark; empty for the bench without a browser.

    Returns
    -------
    str
        For the archive.
    """
    return f"{SETTING}: {bench}" if bench else SETTING


def _hand_of(plain: object) -> InHand:
    if not isinstance(plain, Mapping) or "work" not in plain:
        return InHand(work_of(plain))  # as it was kept before there were benches
    steps = plain.get("steps")
    return InHand(
        work_of(plain["work"]),
        tuple(s for s in steps if isinstance(s, Mapping)) if isinstance(steps, list) else (),
        str(plain.get("name", "")),
        str(plain.get("at", "")),
        str(plain.get("stamp", "")),
    )


def load(archive: Archive, bench: str) -> InHand:
    """Return what a bench has in hand.

    Parameters
    ----------
    archive : Archive
        Open.
    bench : str
        Its mark.

    Returns
    -------
    InHand
        Empty where nothing was kept.

    Raises
    ------
    DomainError
        If what was kept cannot be read.
    """
    return _hand_of(archive.setting(key_of(bench)))


def stamp_of(archive: Archive, bench: str) -> str:
    """Return the stamp of what is kept now.

    Parameters
    ----------
    archive : Archive
        Open.
    bench : str
        Its mark.

    Returns
    -------
    str
        Empty where nothing is kept.
    """
    held = archive.setting(key_of(bench))
    return str(held.get("stamp", "")) if isinstance(held, Mapping) else ""


def keep(archive: Archive, bench: str, hand: InHand) -> InHand:
    """Keep what a bench has in hand.

    Parameters
    ----------
    archive : Archive
        Open.
    bench : str
        Its mark.
    hand : InHand
        As it is now.

    Returns
    -------
    InHand
        The same with time and stamp of this writing.

    Raises
    ------
    ArchiveError
        If the archive cannot be written.
    """
    at = dt.datetime.now(dt.UTC).isoformat(timespec="seconds")
    hand = replace(hand, at=at, stamp=secrets.token_hex(6))
    held = {
        "name": hand.name,
        "at": at,
        "stamp": hand.stamp,
        "work": plain_of(hand.work),
        "steps": [dict(step) for step in hand.steps],
    }
    archive.set_setting(key_of(bench), held)
    return hand


def benches(archive: Archive) -> dict[str, InHand]:
    """Return every bench that has something in hand on an archive.

    Parameters
    ----------
    archive : Archive
        Open.

    Returns
    -------
    dict
        Mark to what it has in hand, the one used last first; one that cannot be read is left out.
    """
    found = {}
    for key, plain in archive.settings(SETTING).items():
        mark = key.removeprefix(SETTING).removeprefix(": ")
        if mark and not bench_of(mark):
            continue
        try:
            found[mark] = _hand_of(plain)
        except DomainError:
            continue
    return dict(sorted(found.items(), key=lambda item: item[1].at, reverse=True))


def settle(archive: Archive, bench: str) -> None:
    """Give a bench that is new on an archive the match that no bench's browser owns yet.

    Such a match is left by a notebook that ran without a browser, and by the time before there
    were benches.

    Parameters
    ----------
    archive : Archive
        Open.
    bench : str
        Its mark.

    Raises
    ------
    ArchiveError
        If the archive cannot be written.
    """
    left = archive.setting(SETTING)
    if bench and left is not None and archive.setting(key_of(bench)) is None:
        archive.set_setting(key_of(bench), left)
        archive.set_setting(SETTING, None)
