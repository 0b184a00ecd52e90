"""Panel: what the shelf has, remembered with the archive."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from workbook.controls import Button, CheckList, Choice, HtmlView, NumberField, Slider
from workbook.figures import esc
from workbook.match.parts import Panel, columns, hide
from workbook.session.order import KINDS, box_words, tolerance_of

__all__ = ["LimitsPanel", "ratio_words", "ratios_shown"]

_MAY = {
    "blends": "two colours in one pot",
    "step_ups": "a second, stronger ratio on top",
    "ground_blends": "grounds mixed of two",
}


def ratios_shown() -> list[str]:
    """Return the ratios offered, richest first.

    Returns
    -------
    list of str
        Carrier to colour.
    """
    halves = [n / 2 for n in range(2, 25)]
    return [f"{c:g}:1" for c in halves if c >= 1.0]


def ratio_words(ratio: str) -> str:
    """Return a ratio with its words.

    Parameters
    ----------
    ratio : str
        Carrier to colour.

    Returns
    -------
    str
        Such as ``6:1, 6 parts carrier to 1 part colour``.
    """
    from matchlib.domain import MixRatio

    parsed = MixRatio.parse(ratio)
    return f"{parsed}, {parsed.words}"


class LimitsPanel(Panel):
    """Grounds, colours, ratios, coats, tolerance."""

    name = "limits"
    title = "Limits: what the shelf has"

    def build(self) -> Sequence[Any]:
        """Make the panel's widgets."""
        self._filling = False
        archive = self.bench.session.archive
        grounds = [str(g) for g in archive.grounds()]
        colours = list(archive.names("colour"))
        texts = [ratio_words(r) for r in ratios_shown()]
        self.grounds = CheckList(options=grounds, label="Grounds on the shelf")
        self.colours = CheckList(options=colours, label="Colours on the shelf")
        self.richest = Choice(ratios_shown(), texts=texts, label="Richest ratio")
        self.weakest = Choice(ratios_shown(), texts=texts, label="Weakest ratio")
        self.coats = Slider(label="Most coats of colour", min=1, max=10, unit="coats", value=6)
        self.may = CheckList(options=list(_MAY), texts=list(_MAY.values()), label="Also allowed")
        self.kind = Choice(
            list(KINDS), texts=list(KINDS.values()), label="Difference that the order names"
        )
        self.sides = [
            NumberField(label=f"{name} at most, either way", min=0.01, max=50)
            for name in box_words("box")
        ]
        self.tolerance = NumberField(
            label="Tolerance", unit="ΔE00", min=0.05, max=20, help="1 is a usual tolerance."
        )
        self.uneven = NumberField(
            label="Most that ±10% of film may show",
            unit="ΔE00",
            min=0.05,
            max=20,
            help="Leave it empty to allow recipes that must be laid very evenly.",
        )
        self.open_shelf = Button("Forget the limits: allow everything")
        self.open_shelf.on_press(self.safely(self._open))
        self.view = HtmlView(live="polite", label="The limits in words")
        for control in (self.grounds, self.colours, self.richest, self.weakest, self.coats):
            control.observe(self.safely(self._changed), "value")
        self.may.observe(self.safely(self._changed), "value")
        for control in (self.kind, self.tolerance, *self.sides):
            control.observe(self.safely(self._judged), "value")
        self.uneven.observe(self.safely(self._judged), "value")
        return [
            columns(self.grounds, self.colours),
            columns(self.richest, self.weakest),
            columns(self.coats, self.may),
            columns(self.kind, self.tolerance, *self.sides, self.uneven),
            self.open_shelf,
            self.said,
            self.view,
        ]

    def _changed(self) -> None:
        if self._filling:
            return
        shelf = dict(self.bench.session.shelf())
        for name, control in (("grounds", self.grounds), ("colours", self.colours)):
            if len(control.value) == len(control.options):
                shelf.pop(name, None)  # everything, also what is added later
            elif control.value:
                shelf[name] = list(control.value)
            else:
                self.said.warn(f"Leave at least one of the {name} on the shelf.")
                self._fill()
                return
        shelf["min_ratio"], shelf["max_ratio"] = self.richest.value, self.weakest.value
        shelf["max_coats"] = round(self.coats.value)
        for name in _MAY:
            shelf[name] = name in self.may.value
        self.bench.set_shelf("limits", shelf)
        self.said.tell("")

    def _judged(self) -> None:
        if self._filling:
            return
        # An empty or impossible tolerance leaves the last one; the field says what is wrong.
        work, typed = self.bench.work, self.tolerance.value
        tolerance = work.tolerance if typed is None else typed
        first, second, third = (
            was if field.value is None else field.value
            for field, was in zip(self.sides, work.box, strict=True)
        )
        box, kind = (first, second, third), self.kind.value
        tolerance_of(kind, tolerance, box)
        self._turn(kind)
        self.bench.change(
            "tolerance", kind=kind, tolerance=tolerance, box=box, most_uneven=self.uneven.value
        )

    def _turn(self, kind: str) -> None:
        """Show the fields that a kind of tolerance needs, and only those."""
        boxed = kind.startswith("box")
        hide(self.tolerance, boxed)
        for field, name in zip(self.sides, box_words(kind), strict=True):
            hide(field, not boxed)
            field.label = f"{name} at most, either way"
        unit = tolerance_of(kind).unit
        if not boxed:
            self.tolerance.unit = unit
        self.uneven.unit = unit

    def _open(self) -> None:
        self.bench.set_shelf("limits", {})
        self.bench.change("limit of unevenness", most_uneven=None)
        self._fill()
        self.said.tell("Everything the archive knows is allowed.")

    def _fill(self) -> None:
        limits = self.bench.session.limits()
        low, high = limits.carrier
        self._filling = True
        try:
            for control, chosen in ((self.grounds, limits.grounds), (self.colours, limits.colours)):
                control.value = (
                    list(control.options) if chosen is None else [str(item) for item in chosen]
                )
            _choose(self.richest, low)
            _choose(self.weakest, high)
            self.coats.value = limits.max_coats
            self.may.value = [name for name in _MAY if getattr(limits, name)]
            work = self.bench.work
            if work.kind not in self.kind.options:  # such as a CMC with other numbers
                self.kind.texts = [*self.kind.texts, work.order.unit]
                self.kind.options = [*self.kind.options, work.kind]
            self.kind.value = work.kind
            self._turn(work.kind)
            typing = (self.tolerance, work.tolerance), *zip(self.sides, work.box, strict=True)
            for field, value in typing:
                if field.value is None or not self.open:
                    field.value = value
            self.uneven.value = self.bench.work.most_uneven
        finally:
            self._filling = False

    def show(self, on: bool) -> None:
        """Open or close the panel."""
        if on:
            self._filling = True
            try:
                for field in (self.tolerance, *self.sides):
                    field.value = None
            finally:
                self._filling = False
        super().show(on)

    def draw(self) -> None:
        """Show the bench as it is now."""
        self._fill()
        limits = self.bench.session.limits()
        low, high = limits.carrier
        of = "all grounds" if limits.grounds is None else f"{len(limits.grounds)} grounds"
        colours = "all colours" if limits.colours is None else f"{len(limits.colours)} colours"
        self.view.html = (
            f"<p>Searched are {esc(of)} and {esc(colours)}, from {low:g} to {high:g} parts carrier "
            f"to 1 part colour, up to {limits.max_coats} coats; a panel passes with "
            f"{esc(self.bench.work.order.words)}. The limits are remembered with the archive.</p>"
        )


def _choose(choice: Choice, carrier: float) -> None:
    """Choose a ratio; one that is not offered, such as the archive's richest, is then too."""
    ratio = f"{carrier:g}:1" if carrier >= 1 else f"1:{1 / carrier:g}"
    if ratio not in choice.options:
        offered = sorted([*choice.options, ratio], key=_carrier)
        choice.texts = [ratio_words(r) for r in offered]
        choice.options = offered
    choice.value = ratio


def _carrier(ratio: str) -> float:
    carrier, colour = ratio.split(":")
    return float(carrier) / float(colour)
