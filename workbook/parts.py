"""Rooms of several parts: what is pressed in a part is a function of its module, found by name."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial
from types import ModuleType
from typing import TYPE_CHECKING, Any

from workbook.room import Room

if TYPE_CHECKING:
    from workbook.page import Press
    from workbook.session import Session

__all__ = ["PartedRoom", "Presses"]


class Presses:
    """The presses of a room: its own methods ``do_…``, else the functions of its parts."""

    def __init__(self, room: Room, *parts: ModuleType) -> None:
        self._room, self._parts = room, parts

    def __getattr__(self, name: str) -> Callable[[Press], object]:
        if hasattr(self._room, name):
            found: Callable[[Press], object] = getattr(self._room, name)
            return found
        for part in self._parts:
            if name in part.__all__:
                return partial(getattr(part, name), self._room)
        raise AttributeError(name)


class PartedRoom(Room):
    """A room of which one part is on screen; `parts`: heading and drawing of each, by name."""

    def __init__(
        self,
        session: Session,
        parts: Mapping[str, tuple[str, Callable[..., Any]]],
        *modules: ModuleType,
    ) -> None:
        super().__init__(session)
        self.parts, self.presses = parts, Presses(self, *modules)
        self.chosen: dict[str, str] = {}  # what was chosen in a part's fields

    @property
    def part(self) -> str:
        """Which part is on screen."""
        named = self.address.get("part", "")
        return named if named in self.parts else next(iter(self.parts))

    def do_part(self, done: Press) -> None:
        """Go to a part."""
        self.address = {"part": done.value}

    def do_choose(self, done: Press) -> None:
        """Show what is chosen in a part's fields."""
        self.chosen = {**self.chosen, **done.fields}
