"""Several angles on a page: a weight for each, a panel's readings at each, and all in numbers."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING

from matchlib.errors import TargetError
from workbook.controls import Choice, NumberField
from workbook.figures import Raw, chip, esc, number, table
from workbook.match.parts import columns, hide, rows
from workbook.session import reading_of_lab

if TYPE_CHECKING:
    from matchlib.domain import Reading, Viewing
    from matchlib.forecast import Angle
    from matchlib.suggest import Tolerance

__all__ = ["AngleChoice", "AngleReadings", "AngleWeights", "angle_table", "angle_words"]


def angle_table(
    angles: Sequence[Angle],
    tolerance: Tolerance,
    *,
    caption: str,
    what: str = "predicted",
    chips: bool = True,
) -> str:
    """Show a colour against the target at each angle.

    Parameters
    ----------
    angles : sequence of Angle
        In order.
    tolerance : Tolerance
        What passes.
    caption : str
        What is shown.
    what : str
        ``predicted`` or ``read``.
    chips : bool
        Whether each row has its colour, where there is room for it.

    Returns
    -------
    str
        HTML table; empty for one angle, whose numbers stand elsewhere.
    """
    if len(angles) < 2:
        return ""
    unit = "of the box" if tolerance.boxed else tolerance.unit
    heads = ["angle", "L*", "a*", "b*", unit]
    cells: list[tuple[object, ...]] = []
    for angle in angles:
        for words, lab, away in (
            ("target", angle.wanted, ""),
            (what, angle.lab, _away(angle)),
        ):
            shown: object = f"{angle.viewing.geometry} {words}"
            if chips:
                shown = Raw(f'<span class="cpw-key">{chip(lab, size=20)}{esc(shown)}</span>')
            cells.append((shown, *(number(v) for v in lab), away))
    # Weights are mostly 1, and a card has no room for a column of them.
    weighed = [f"{a.viewing.geometry} counts {a.weight:g} times" for a in angles if a.weight != 1.0]
    caption = "; ".join([caption, *weighed])
    return str(table(heads, cells, caption=caption, right=["L*", "a*", "b*", unit]))


def _away(angle: Angle) -> object:
    """The difference, and what it is taken for where the angle does not count once."""
    plain = number(angle.difference, 2)
    if angle.weight == 1.0:
        return plain
    return Raw(f"{plain}<br>counts as {number(angle.weight * angle.difference, 2)}")


def angle_words(geometry: str) -> str:
    """Return a geometry with its words, for a list to choose from.

    Parameters
    ----------
    geometry : str
        As in `matchlib.domain.Viewing`.

    Returns
    -------
    str
        Such as ``45as15: 15° off the gloss``.
    """
    if geometry.startswith("45as"):
        return f"{geometry}: {geometry.removeprefix('45as')}° off the gloss"
    return f"{geometry}: {_PLAIN[geometry]}" if geometry in _PLAIN else geometry


_PLAIN = {
    "45:0": "lit at 45°, seen from above",
    "0:45": "lit from above, seen at 45°",
    "photo": "a photograph",
    "di:8": "sphere, gloss included",
    "de:8": "sphere, gloss left out",
}


class AngleChoice(Choice):
    """Which of the target's angles is shown; away where there is but one."""

    def show(self, angles: Sequence[str]) -> None:
        """Offer angles.

        Parameters
        ----------
        angles : sequence of str
            Geometries, in the target's order.
        """
        if list(self.options) != list(angles):
            kept = self.value
            self.texts = [angle_words(a) for a in angles]
            self.options = list(angles)
            self.value = kept if kept in angles else next(iter(angles), "")
        hide(self, len(angles) < 2)

    @property
    def index(self) -> int:
        """Its place among the target's angles."""
        return self.options.index(self.value) if self.value in self.options else 0


class AngleWeights:
    """How often a difference counts at each of the target's angles.

    Parameters
    ----------
    changed : callable
        Called when a weight was typed.
    """

    def __init__(self, changed: Callable[[], object]) -> None:
        self._changed = changed
        self._filling = False
        self.fields: dict[str, NumberField] = {}
        self.box = columns()
        hide(self.box)

    def show(self, angles: Sequence[str], weights: Mapping[str, float]) -> None:
        """Show one field an angle.

        Parameters
        ----------
        angles : sequence of str
            Geometries; nothing is shown for one.
        weights : mapping of str to float
            1 where none is given.
        """
        self._filling = True
        try:
            if list(self.fields) != list(angles):
                for field in self.fields.values():
                    field.close()
                self.fields = {name: self._field(name) for name in angles}
                self.box.children = tuple(self.fields.values())
            for name, field in self.fields.items():
                # A field that is being typed into is left alone: empty is not a weight yet.
                if field.value != weights.get(name, 1.0):
                    field.value = weights.get(name, 1.0)
        finally:
            self._filling = False
        hide(self.box, len(angles) < 2)

    def _field(self, name: str) -> NumberField:
        field = NumberField(
            label=f"{name} counts",
            unit="times",
            min=0.01,
            max=100,
            value=1.0,
            help="2: a difference at this angle counts double.",
        )
        field.observe(self._typed, "value")
        return field

    def _typed(self, _: object) -> None:
        if not self._filling:
            self._changed()

    @property
    def weights(self) -> dict[str, float]:
        """Geometry to weight, for those that are not 1; an empty field counts once."""
        typed = {name: field.value for name, field in self.fields.items()}
        return {n: float(v) for n, v in typed.items() if v is not None and v != 1.0}


class AngleReadings:
    """A panel's readings at the target's further angles, typed.

    Parameters
    ----------
    changed : callable
        Called when something was typed.
    """

    def __init__(self, changed: Callable[[], object]) -> None:
        self._changed = changed
        self._views: tuple[Viewing, ...] = ()
        self._kept: dict[str, list[float | None]] = {}
        self.fields: dict[str, tuple[NumberField, ...]] = {}
        self.box = rows()

    def show(self, views: Sequence[Viewing]) -> None:
        """Show three fields an angle.

        Parameters
        ----------
        views : sequence of Viewing
            The target's, without the first.
        """
        if tuple(views) == self._views:
            return
        kept = {**self._kept, **self.typed()}
        for three in self.fields.values():
            for field in three:
                field.close()
        self._views = tuple(views)
        self.fields = {v.geometry: self._three(v.geometry) for v in views}
        self.box.children = tuple(columns(*three) for three in self.fields.values())
        self.fill(kept)

    def _three(self, geometry: str) -> tuple[NumberField, ...]:
        fields = tuple(
            NumberField(label=f"Read {axis} at {geometry}", min=low, max=high)
            for axis, low, high in (("L*", 0, 200), ("a*", -128, 128), ("b*", -128, 128))
        )
        for field in fields:
            field.observe(lambda _: self._changed(), "value")
        return fields

    def typed(self) -> dict[str, list[float | None]]:
        """Return what is typed, to be kept.

        Returns
        -------
        dict
            Geometry to L*, a* and b*; those of which nothing is typed are left out.
        """
        found = {name: [f.value for f in three] for name, three in self.fields.items()}
        return {name: lab for name, lab in found.items() if any(v is not None for v in lab)}

    def fill(self, values: object) -> None:
        """Fill in what was typed.

        Parameters
        ----------
        values : object
            As `typed` gave it; what is for no angle shown now is filled in when it is.
        """
        self._kept = dict(values) if isinstance(values, Mapping) else {}
        for name, three in self.fields.items():
            lab = self._kept.get(name)
            good = isinstance(lab, list) and len(lab) == 3
            for field, value in zip(three, lab if good and lab else [None] * 3, strict=True):
                field.value = float(value) if isinstance(value, int | float) else None

    def clear(self) -> None:
        """Empty all fields."""
        self.fill({})

    def readings(self) -> tuple[Reading, ...]:
        """Return the readings that were typed.

        Returns
        -------
        tuple of Reading
            One an angle.

        Raises
        ------
        TargetError
            If one of them is not whole.
        """
        found = []
        for view in self._views:
            lab = [field.value for field in self.fields[view.geometry]]
            if any(v is None for v in lab):
                raise TargetError(
                    f"The panel's reading at {view.geometry} is not whole.",
                    expected="numbers for L*, a* and b* at every angle of the target",
                    got=", ".join("nothing" if v is None else f"{v:g}" for v in lab),
                    remedy="read the panel at that angle too, or choose the instrument's file.",
                )
            found.append(reading_of_lab([float(v) for v in lab if v is not None], view))
        return tuple(found)
