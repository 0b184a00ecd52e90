"""A target typed at several angles: a row each of angle, L*, a*, b* and how often it counts."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from workbook.controls import Button, Choice, HtmlView, NumberField
from workbook.match.angles import angle_words
from workbook.match.parts import columns, hide, rows, taking
from workbook.session import lab_of
from workbook.session.targets import typed_readings

if TYPE_CHECKING:
    from matchlib.domain import Reading

__all__ = ["STANDARD", "TypedAngles"]

STANDARD = ("45as15", "45as25", "45as45", "45as75", "45as110")
"""Aspecular angles that instruments for effect colours have in common (ASTM E2194, E2539)."""

_OTHERS = ("45:0", "di:8", "de:8")
_LIMITS = (("L*", 0, 100), ("a*", -128, 128), ("b*", -128, 128))
_BRIGHTEST = 200
"""At an aspecular angle flake outshines the white reference [L*]."""


class _Row:
    """One angle."""

    def __init__(self, offered: Sequence[str]) -> None:
        self.angle = Choice(list(offered), texts=[angle_words(a) for a in offered])
        self.lab = [NumberField(min=low, max=high) for _, low, high in _LIMITS]
        self.weight = NumberField(label="Counts", min=0.01, max=100, value=1.0)
        self.away = Button("Remove")
        self.angle.observe(self._turned, "value")
        self._turned()
        self.box = columns(
            taking(self.angle, "250px"),
            *(taking(field, "72px") for field in self.lab),
            taking(self.weight, "78px"),
            self.away,
        )
        self.box.layout.align_items = "flex-end"  # the button beside the fields, not their labels
        for control, most in (
            (self.angle, "300px"),
            *((f, "150px") for f in (*self.lab, self.weight)),
        ):
            control.layout.max_width = most

    def _turned(self, _: object = None) -> None:
        self.lab[0].max = _BRIGHTEST if self.angle.value.startswith("45as") else 100

    def name(self, number: int, *, only: bool) -> None:
        """Say which row it is, aloud too; the only one says nothing of number and weight."""
        of = "" if only else f" angle {number}"
        self.angle.label = "Angle" if only else f"Angle {number}"
        for field, (axis, *_) in zip(self.lab, _LIMITS, strict=True):
            field.label, field.spoken = axis, of
        self.weight.spoken = of
        self.away.buttons = [{**self.away.buttons[0], "spoken": of}]
        for control in (self.weight, self.away):
            hide(control, only)

    @property
    def plain(self) -> dict[str, Any]:
        """What stands in it, as JSON can hold it."""
        return {
            "angle": self.angle.value,
            "lab": [field.value for field in self.lab],
            "weight": self.weight.value,
        }

    def fill(self, plain: Mapping[str, Any]) -> None:
        """Take what `plain` gave."""
        angle = str(plain["angle"])
        if angle not in self.angle.options:
            self.angle.texts = [*self.angle.texts, angle_words(angle)]
            self.angle.options = [*self.angle.options, angle]
        self.angle.value = angle
        for field, value in zip(self.lab, plain["lab"], strict=True):
            field.value = None if value is None else float(value)
        weight = plain["weight"]
        self.weight.value = None if weight is None else float(weight)


class TypedAngles:
    """Rows of a typed target; at least one.

    Parameters
    ----------
    usual : str
        Geometry of the first row: the archive's own.
    changed : callable
        Called when something was typed, added or taken away.
    """

    def __init__(self, usual: str, changed: Callable[[], object]) -> None:
        self._usual, self._changed = usual, changed
        self._filling = False
        self._rows: list[_Row] = []
        self._list = rows()
        self.more = Button(
            "Add an angle",
            help="For an order that is judged at several angles: a row for each.",
        )
        self.more.on_press(lambda _: self.add())
        self.counting = HtmlView(
            '<p class="cpw-help">Counts: 1 is usual; at 2 a difference at this angle counts '
            "double.</p>"
        )
        self.box = rows(self._list, self.counting, self.more)
        self._rows = [self._row(usual)]
        self._arranged()

    @property
    def rows(self) -> tuple[_Row, ...]:
        """As they stand."""
        return tuple(self._rows)

    def add(self) -> None:
        """Add a row, at the first standard angle that has none yet."""
        have = {row.angle.value for row in self._rows}
        free = [a for a in (*STANDARD, *_OTHERS) if a not in have]
        if free:
            self._rows.append(self._row(free[0]))
            self._arranged()
            self._typed()

    def remove(self, row: _Row) -> None:
        """Take a row away; the last one stays.

        Parameters
        ----------
        row : _Row
            One of `rows`.
        """
        if len(self._rows) > 1 and row in self._rows:
            self._rows.remove(row)
            self._arranged()
            self._typed()
            self._close(row)

    def _row(self, angle: str) -> _Row:
        row = _Row(list(dict.fromkeys([self._usual, *STANDARD, *_OTHERS])))
        row.angle.value = angle
        for control in (row.angle, *row.lab, row.weight):
            control.observe(self._typed, "value")
        row.away.on_press(lambda _: self.remove(row))
        return row

    def _arranged(self) -> None:
        for number, row in enumerate(self._rows, 1):
            row.name(number, only=len(self._rows) == 1)
        hide(self.counting, len(self._rows) == 1)
        self._list.children = tuple(row.box for row in self._rows)
        self.more.enable("Add an angle", len(self._rows) < len(STANDARD) + len(_OTHERS))

    @staticmethod
    def _close(row: _Row) -> None:
        for control in (row.angle, *row.lab, row.weight, row.away, row.box):
            control.close()

    def _typed(self, _: object = None) -> None:
        if not self._filling:
            self._changed()

    def plain(self) -> list[dict[str, Any]]:
        """Return what is typed, to be kept.

        Returns
        -------
        list of dict
            One a row.
        """
        return [row.plain for row in self._rows]

    def fill(self, values: object) -> None:
        """Fill in what was typed.

        Parameters
        ----------
        values : object
            As `plain` gave it.

        Raises
        ------
        TypeError
            If it is something else.
        """
        if not isinstance(values, list) or not values:
            raise TypeError
        self._filling = True
        try:
            gone, self._rows = self._rows[len(values) :], self._rows[: len(values)]
            self._rows += [self._row(self._usual) for _ in values[len(self._rows) :]]
            for row, value in zip(self._rows, values, strict=True):
                row.fill(value)
        finally:
            self._arranged()  # also where what was kept is nonsense
            self._filling = False
        for row in gone:
            self._close(row)

    def show(self, readings: Sequence[Reading], weights: Mapping[str, float]) -> None:
        """Fill in a target.

        Parameters
        ----------
        readings : sequence of Reading
            One an angle.
        weights : mapping of str to float
            By geometry; 1 where none is given.
        """
        self.fill(
            [
                {
                    "angle": r.viewing.geometry,
                    "lab": [round(v, 2) for v in lab_of(r)],
                    "weight": weights.get(r.viewing.geometry, 1.0),
                }
                for r in readings
            ]
        )

    def weigh(self, weights: Mapping[str, float]) -> None:
        """Take weights that were set elsewhere.

        Parameters
        ----------
        weights : mapping of str to float
            By geometry; 1 where none is given.
        """
        for row in self._rows:
            row.weight.value = weights.get(row.angle.value, 1.0)

    @property
    def weights(self) -> dict[str, float]:
        """Geometry to weight, for those that are not 1; an empty field counts once."""
        typed = {row.angle.value: row.weight.value for row in self._rows}
        return {a: float(w) for a, w in typed.items() if w is not None and w != 1.0}

    def readings(self, *, illuminant: str, observer: str) -> tuple[Reading, ...]:
        """Return the target that is typed.

        Parameters
        ----------
        illuminant, observer : str
            Under which all rows hold.

        Returns
        -------
        tuple of Reading
            One an angle, in the order of the rows.

        Raises
        ------
        TargetError
            If a row is not whole, two are of one angle, or no surface can have one of them.
        """
        typed = [(row.angle.value, [field.value for field in row.lab]) for row in self._rows]
        return typed_readings(typed, illuminant=illuminant, observer=observer)
