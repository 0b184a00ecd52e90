"""What is typed into a form and not pressed yet: kept as it is typed, back after a restart."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Callable, Mapping
from typing import Any

import traitlets

from workbook.session import Forms

__all__ = ["Typed"]

_SOON = 0.1
"""After a key, then it is kept [s], with all typed meanwhile, and again while somebody types on: a
burst of keys is one writing, and a kernel that is killed loses no more than this."""


class Typed:
    """The fields of a form, kept in the archive while they are filled in.

    Parameters
    ----------
    form : str
        Its name.
    fields : mapping
        Name to control, in the order in which they are to be filled again.
    more : mapping, optional
        Name to a pair of functions, one that gives and one that takes what JSON can hold, for what
        belongs to the form and is no control.
    """

    def __init__(
        self,
        form: str,
        fields: Mapping[str, Any],
        more: Mapping[str, tuple[Callable[[], Any], Callable[[Any], object]]] | None = None,
    ) -> None:
        self.form = form
        self.forms: Forms | None = None
        self._fields, self._more = dict(fields), dict(more or {})
        self._first = self._usual = self._now()
        self._filling = False
        self._waiting: asyncio.TimerHandle | None = None
        for control in self._fields.values():
            control.observe(self.changed, "value")

    def _now(self) -> dict[str, Any]:
        held = {name: control.value for name, control in self._fields.items()}
        return held | {name: give() for name, (give, _) in self._more.items()}

    def sit(self, forms: Forms) -> None:
        """Fill in what was typed at a bench, once it is known which bench this is.

        Parameters
        ----------
        forms : Forms
            Of the bench.
        """
        self._write_waiting()
        another = self.forms is not None and self.forms.bench != forms.bench
        self.forms = forms
        held = forms.typed(self.form)
        if held or another:
            self._fill({**self._first, **held})

    def _fill(self, values: Mapping[str, Any]) -> None:
        self._filling = True
        try:
            for name, control in self._fields.items():
                # What a choice no longer offers is refused, and the rest filled in all the same.
                with contextlib.suppress(traitlets.TraitError):
                    control.value = values[name]
            for name, (_, take) in self._more.items():
                with contextlib.suppress(KeyError, TypeError, ValueError):
                    take(values[name])
        finally:
            self._filling = False

    def changed(self, _: object = None) -> None:
        """Keep the form in a moment, as it then stands."""
        if self._filling or self.forms is None or self._waiting is not None:
            return
        try:
            loop = asyncio.get_running_loop()
        except RuntimeError:
            self._write()
        else:
            self._waiting = loop.call_later(_SOON, self._write)

    def _stop_waiting(self) -> bool:
        waiting, self._waiting = self._waiting, None
        if waiting is not None:
            waiting.cancel()
        return waiting is not None

    def _write_waiting(self) -> None:
        if self._stop_waiting():
            self._write()

    def _write(self) -> None:
        self._waiting = None
        now = self._now()
        if self.forms is not None:
            self.forms.keep_typed(self.form, None if now == self._usual else now)

    def done(self) -> None:
        """Forget what was typed, for it was pressed; what the fields now show is as usual."""
        self._stop_waiting()
        self._usual = self._now()
        if self.forms is not None:
            self.forms.keep_typed(self.form, None)
