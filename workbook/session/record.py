"""What each trainee has done, kept with the archive."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from matchlib.archive import Archive

__all__ = ["keep_attempt", "load_attempts", "trainees"]

_MOST, _KEY = 500, "training: "


def _key(trainee: str) -> str:
    return _KEY + " ".join(trainee.split()).casefold()[:150]


def load_attempts(archive: Archive, trainee: str) -> list[dict[str, Any]]:
    """Return a trainee's attempts.

    Returned: oldest first: ``at``, ``kind``, ``panel``, ``passed``, ``miss``, ``best`` [ΔE00].
    """
    if not trainee.strip():
        return []
    held = archive.setting(_key(trainee), [])
    return [a for a in held if isinstance(a, dict)] if isinstance(held, list) else []


def trainees(archive: Archive) -> dict[str, list[dict[str, Any]]]:
    """Return the attempts of everybody on record, by name."""
    names = (key.removeprefix(_KEY) for key in sorted(archive.settings(_KEY)))
    return {name.title(): load_attempts(archive, name) for name in names}


def keep_attempt(archive: Archive, trainee: str, **attempt: Any) -> None:
    """Put an attempt on record.

    `**attempt`: ``kind``, ``panel``, ``passed``, ``miss``, ``best``.
    """
    at = dt.datetime.now(dt.UTC).isoformat(timespec="seconds")
    held = [*load_attempts(archive, trainee), {"at": at, **attempt}]
    archive.set_setting(_key(trainee), held[-_MOST:])
