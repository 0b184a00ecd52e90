"""What a bench has typed and done in forms: kept in the archive's settings, not in the kernel.

A *bench* is one tablet or desk; its mark comes from its browser and is part of the settings' names,
so that two benches on one archive do not write into each other's forms.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import re
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from matchlib.errors import MatchlibError

if TYPE_CHECKING:
    from matchlib.archive import Archive

__all__ = ["Forms", "bench_of"]

_MARK = re.compile(r"[0-9a-f]{8,40}")
_MOST_DONE = 50


def bench_of(mark: object) -> str:
    """Return a bench's mark if it is one.

    Parameters
    ----------
    mark : object
        What a browser sent.

    Returns
    -------
    str
        The mark; empty, the bench without a browser, for anything else.
    """
    return mark if isinstance(mark, str) and _MARK.fullmatch(mark) else ""


class Forms:
    """Half-filled forms of one bench, and what was done in them and can be taken back.

    Parameters
    ----------
    archive : Archive
        Open; where it cannot be written, what is typed lasts as long as the page.
    bench : str
        The bench's mark.
    """

    def __init__(self, archive: Archive, bench: str = "") -> None:
        self.archive = archive
        self.bench = bench_of(bench)

    def _key(self, what: str, form: str) -> str:
        return f"{what}: {form}: {self.bench}"

    def typed(self, form: str) -> dict[str, Any]:
        """Return what was typed into a form and not pressed.

        Parameters
        ----------
        form : str
            Its name.

        Returns
        -------
        dict
            Field to value; empty if there is nothing.
        """
        held = self.archive.setting(self._key("typed", form))
        fields = held.get("fields") if isinstance(held, dict) else None
        return dict(fields) if isinstance(fields, dict) else {}

    def keep_typed(self, form: str, fields: Mapping[str, Any] | None) -> None:
        """Keep what is typed.

        Parameters
        ----------
        form : str
            Its name.
        fields : mapping or None
            Field to what JSON can hold; None or empty forgets it.
        """
        at = dt.datetime.now(dt.UTC).isoformat(timespec="seconds")
        held = {"at": at, "fields": dict(fields)} if fields else None
        key = self._key("typed", form)
        with contextlib.suppress(MatchlibError):
            if held is not None or self.archive.setting(key) is not None:
                self.archive.set_setting(key, held)

    def done(self, form: str) -> list[dict[str, Any]]:
        """Return what was done in a form and not taken back.

        Parameters
        ----------
        form : str
            Its name.

        Returns
        -------
        list of dict
            Oldest first, as given to `did`.
        """
        held = self.archive.setting(self._key("done", form), [])
        return [d for d in held if isinstance(d, dict)] if isinstance(held, list) else []

    def did(self, form: str, **step: Any) -> None:
        """Keep what was done, so that it can be taken back after a restart too.

        Parameters
        ----------
        form : str
            Its name.
        **step : object
            What taking it back needs; what JSON can hold.
        """
        held = [*self.done(form), step][-_MOST_DONE:]
        with contextlib.suppress(MatchlibError):
            self.archive.set_setting(self._key("done", form), held)

    def took_back(self, form: str) -> None:
        """Forget what was done last, for it was taken back.

        Parameters
        ----------
        form : str
            Its name.
        """
        held = self.done(form)[:-1]
        with contextlib.suppress(MatchlibError):
            self.archive.set_setting(self._key("done", form), held or None)
