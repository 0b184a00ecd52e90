"""Which bench a page belongs to, and what that bench has in hand.

Two tablets on one archive are two benches: each has its own match, its own forms and its own undo.
A bench is known by a mark that its browser keeps, and can be gone to from another tablet on
purpose.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable
from dataclasses import replace

from matchlib.errors import DomainError, MatchlibError
from workbook.match import hand
from workbook.match.hand import InHand
from workbook.session import Forms, Session, bench_of

__all__ = ["AtBench"]


class AtBench:
    """A page at a bench.

    Parameters
    ----------
    session : Session
        Open.
    mark : str
        Of the bench, as its browser keeps it; empty for none.
    """

    def __init__(self, session: Session, mark: str = "") -> None:
        self.session = session
        self.remembered = True  # whether the browser keeps the mark
        self._watching: list[Callable[[], None]] = []
        self._moving: list[Callable[[], None]] = []
        self._sit(mark)

    def _sit(self, mark: str) -> None:
        self.mark = bench_of(mark)
        self.trouble = ""
        self.forms = Forms(self.session.archive, self.mark)
        try:
            with contextlib.suppress(MatchlibError):  # a locked archive can be looked at
                hand.settle(self.session.archive, self.mark)
            self.hand = hand.load(self.session.archive, self.mark)
        except DomainError as error:
            self.hand, self.trouble = InHand(), str(error)
        if not self.hand.name:
            self.hand = replace(self.hand, name=self._free_name())

    def _free_name(self) -> str:
        taken = {h.name for m, h in self.others().items() if m != self.mark}
        return next(n for k in range(1, 10_000) if (n := f"Bench {k}") not in taken)

    # Which bench this is

    def move(self, mark: str) -> None:
        """Go to another bench, and go on with what it has in hand.

        Parameters
        ----------
        mark : str
            Of that bench; a new one for an empty bench.
        """
        self._sit(mark)
        for call in list(self._moving):
            call()

    def on_move(self, call: Callable[[], None]) -> None:
        """Call whenever this became another bench.

        Parameters
        ----------
        call : callable
            Takes nothing.
        """
        self._moving.append(call)

    def others(self) -> dict[str, InHand]:
        """Return all other benches of the archive.

        Returns
        -------
        dict
            Mark to what it has in hand, the one used last first.
        """
        found = hand.benches(self.session.archive)
        return {mark: held for mark, held in found.items() if mark != self.mark}

    def rename(self, name: str) -> None:
        """Call this bench something else.

        Parameters
        ----------
        name : str
            Its name from now on.

        Raises
        ------
        DomainError
            If it is empty, or another bench is called so.
        """
        name = " ".join(name.split())[:60]
        if not name or name in {held.name for held in self.others().values()}:
            raise DomainError(
                "A bench cannot be called so.",
                expected="a name that no other bench has",
                got=repr(name),
                remedy="give it a name of its own, such as Booth 2.",
            )
        if name != self.hand.name:
            self.refresh()
            self.hand = replace(self.hand, name=name)
            self._keep()
            self._tell()

    def refresh(self) -> bool:
        """Take over what this bench has in hand by now, if it went on elsewhere meanwhile.

        Returns
        -------
        bool
            Whether it did.
        """
        archive = self.session.archive
        stamp = hand.stamp_of(archive, self.mark)
        if not stamp or stamp == self.hand.stamp:
            return False
        self.hand = hand.load(archive, self.mark)
        return True

    # Keeping it, and telling

    def watch(self, call: Callable[[], None]) -> None:
        """Call after every change.

        Parameters
        ----------
        call : callable
            Takes nothing.
        """
        self._watching.append(call)

    def _not_stale(self) -> None:
        if self.refresh():
            self._tell()
            raise DomainError(
                "This bench went on elsewhere meanwhile, so nothing was changed.",
                expected="one page for one bench",
                remedy="look at what is in hand now, and press again; or give this tablet a bench "
                "of its own, under Bench.",
            )

    def _keep(self) -> None:
        if not self.hand.at and self.hand.name in {h.name for h in self.others().values()}:
            # Two benches came while neither had anything in hand; the first to have keeps the name.
            self.hand = replace(self.hand, name=self._free_name())
        # An archive that cannot be written can be matched from all the same.
        with contextlib.suppress(MatchlibError):
            self.hand = hand.keep(self.session.archive, self.mark, self.hand)

    def _tell(self) -> None:
        for call in list(self._watching):
            call()
