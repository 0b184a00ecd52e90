"""One pot: what is poured into it, by volume, by running weight and by the marks of a cup."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from itertools import accumulate, count
from typing import ClassVar

from matchlib.domain import Colour, MixRatio
from matchlib.errors import DomainError
from matchlib.mixing.mix import Third
from matchlib.mixing.units import format_volume, positive

__all__ = ["Portion", "Pour", "Remainder", "by_marks", "most_kept", "pour"]

_NEAR = 0.01
"""Error of a share at which no larger pot is tried."""

_FAR = 0.05
"""Error at which none over a quarter larger is; with a greater one, up to twice as large."""


@dataclass(frozen=True, slots=True)
class Portion:
    """One thing poured."""

    kind: str  # ``carrier``, ``colour``, or ``third``
    name: str  # the colour's own name, ``colour`` where nobody named it; reducer or hardener
    ml: float  # volume out of its bottle [mL]
    density: float | None = None  # [g/mL], as the data sheet states it
    SHOWN: ClassVar = ("kind", "name", "ml", "g")

    @property
    def g(self) -> float | None:
        """Its weight [g]."""
        return None if self.density is None else self.ml * self.density

    @property
    def words(self) -> str:
        """What it is: carrier, colour (teal), reducer."""
        return f"colour ({self.name})" if self.kind == "colour" != self.name else self.name


@dataclass(frozen=True, slots=True)
class Remainder:
    """Mix of the pot before, at its ratio, that the next pot begins with."""

    ml: float
    ratio: MixRatio


@dataclass(frozen=True, slots=True)
class Pour:
    """A pot made ready."""

    ratio: MixRatio  # the mix wanted
    total_ml: float  # the whole pot [mL]
    # what comes out of the bottles, in the order poured: carrier, colours, reducer or hardener
    portions: tuple[Portion, ...]
    kept: Remainder | None = None  # what the pot begins with
    # A measuring cup's mark [mL], where everything above is whole marks of it
    mark_ml: float | None = None
    # relative error of the share that whole marks miss most [-]; 0 without marks
    error: float = 0.0
    SHOWN: ClassVar = (
        *("ratio", "kept_ml", ("kept_ratio", "kept.ratio")),
        ("carrier_ml", lambda pour: pour.ml("carrier")),
        ("colour_ml", lambda pour: pour.ml("colour")),
        *("portions", "total_ml", "mark_ml", "error", "marks", "scale"),
    )

    def ml(self, kind: str) -> float:
        """Return how much of a kind comes out of the bottles [mL]."""
        return math.fsum(p.ml for p in self.portions if p.kind == kind)

    @property
    def kept_ml(self) -> float:
        """What the pot begins with [mL]."""
        return 0.0 if self.kept is None else self.kept.ml

    def words(self, unit: str = "ml") -> str:
        """Say what to pour, each named."""
        items = [] if self.kept is None else [
            f"{format_volume(self.kept.ml, unit)} left at {self.kept.ratio}"
        ]  # fmt: skip
        items += [f"{format_volume(p.ml, unit)} {p.words}" for p in self.portions if p.ml > 0]
        return f"{' + '.join(items)} = {format_volume(self.total_ml, unit)}"

    @property
    def scale(self) -> str:
        """The pouring by the running weight on a scale; empty where a density is missing."""
        poured = [p for p in self.portions if p.ml > 0]
        weights = [p.g for p in poured if p.g is not None]
        if not poured or len(weights) < len(poured):
            return ""
        steps = [
            f"{p.words} to {w:.1f} g" for p, w in zip(poured, accumulate(weights), strict=True)
        ]
        what = "the empty cup" if self.kept is None else "cup and what is left"
        return f"scale at 0 with {what} on it, then {', then '.join(steps)}"

    @property
    def marks(self) -> str:
        """The pouring by the running mark on the cup's wall; empty where it was not rounded."""
        mark = self.mark_ml
        if mark is None:
            return ""
        in_ml = float(mark).is_integer()  # else marks are counted: of ounces, say

        def line(at: int) -> str:
            return f"{at * mark:g} ml" if in_ml else f"mark {at}"

        at = round(self.kept_ml / mark)
        steps = [f"what is left up to {line(at)}"] if at else []
        for portion in self.portions:
            if portion.ml > 0:
                at += round(portion.ml / mark)
                steps.append(f"{portion.words} to {line(at)}")
        off = "exactly the ratio"
        if abs(self.error) >= 5e-4:
            off = f"within {abs(self.error):.1%} of the ratio, as near as these marks come"
        each = "" if in_ml else f" ({mark:.4g} ml a mark)"
        return f"{', then '.join(steps)}{each}; {off}"


def pour(
    total_ml: float,
    ratio: MixRatio,
    *,
    colour: Colour | None = None,
    third: Third | None = None,
    densities: Mapping[str, float] | None = None,
    kept: Remainder | None = None,
) -> Pour:
    """Make a pot ready, fresh or from what is left of the one before."""
    total = positive(total_ml, "volume of the pot [mL]", top=1e7, zero=True)
    shares = _shares(ratio, colour, third)
    before = [0.0] * len(shares) if kept is None else [
        s * kept.ml for *_, s in _shares(kept.ratio, colour, third)
    ]  # fmt: skip
    added = [total * s - b for (*_, s), b in zip(shares, before, strict=True)]
    if min(added) < -1e-9 * max(1.0, total) and kept is not None:
        most = most_kept(total, ratio, kept.ratio)
        raise DomainError(
            "Adding cannot turn so much of the pot before into this one.",
            expected=f"at most {most:.4g} ml at {kept.ratio} for {total:.4g} ml at {ratio}",
            got=f"{kept.ml:.4g} ml",
            remedy=f"pour off {kept.ml - most:.4g} ml first, or mix a larger pot.",
        )
    weights = _densities(densities or {}, shares)
    portions = tuple(
        Portion(kind, name, ml if ml > 1e-9 * total else 0.0, density)
        for (kind, name, _), ml, density in zip(shares, added, weights, strict=True)
    )
    return Pour(ratio, total, portions, kept)


def most_kept(total_ml: float, ratio: MixRatio, before: MixRatio) -> float:
    """Return how much of a mix adding alone can turn into a pot of another ratio."""
    most = total_ml * ratio.fraction / before.fraction
    if before.fraction < 1.0:
        most = min(most, total_ml * (1.0 - ratio.fraction) / (1.0 - before.fraction))
    return most


def by_marks(
    total_ml: float,
    ratio: MixRatio,
    *,
    mark_ml: float,
    colour: Colour | None = None,
    third: Third | None = None,
    densities: Mapping[str, float] | None = None,
    kept: Remainder | None = None,
) -> Pour:
    """Make a pot ready by whole marks of a measuring cup."""
    wanted = positive(total_ml, "volume wanted [mL]", top=1e6)
    mark = positive(mark_ml, "mark of the cup [mL]", top=1e4)
    shares = [s for *_, s in _shares(ratio, colour, third)]
    old = shares if kept is None else [s for *_, s in _shares(kept.ratio, colour, third)]
    first = max(1, math.ceil(wanted / mark - 1e-9))
    positive(first, "number of marks", top=100_000, remedy="use a cup with larger marks.")
    best: tuple[float, int, int, list[int]] | None = None
    for marks in count(first):
        if best is not None and best[0] <= _NEAR:
            break
        # Never to stop beside a mark that is exact: the next above the best is always tried.
        far = best is not None and best[0] <= _FAR and marks > first * 5 // 4
        if marks > (0 if best is None else best[1]) + 1 and (far or marks > 2 * first + 1):
            break
        tried = [_rounded(marks, shares, old, k) for k in _kept_marks(marks, ratio, kept, mark)]
        near = min((t for t in tried if t is not None), key=lambda t: (t[0], -t[2]), default=None)
        if near is not None and (best is None or near[0] < best[0] - 1e-12):
            best = near
    if best is None:
        raise DomainError(
            "This cup's marks are too coarse for this pot.",
            expected="at least one mark of each",
            got=f"{wanted:.3g} ml at {ratio} with {mark:g} ml a mark",
            remedy="use a finer cup or a syringe for the colour, weigh it, or mix at least "
            f"{mark / min(s for s in shares if s > 0):.4g} ml.",
        )
    error, marks, held, counts = best
    again = None if kept is None or not held else replace(kept, ml=held * mark)
    exact = pour(marks * mark, ratio, colour=colour, third=third, densities=densities)
    portions = tuple(replace(p, ml=n * mark) for p, n in zip(exact.portions, counts, strict=True))
    return Pour(ratio, marks * mark, portions, again, mark, error)


def _kept_marks(marks: int, ratio: MixRatio, kept: Remainder | None, mark: float) -> range:
    """Whole marks of the mix in hand worth trying: the most, and three fewer."""
    if kept is None:
        return range(1)
    most = math.floor(min(kept.ml, most_kept(marks * mark, ratio, kept.ratio)) / mark + 1e-9)
    return range(max(0, most - 3), most + 1)


def _rounded(
    marks: int, shares: list[float], old: list[float], held: int
) -> tuple[float, int, int, list[int]] | None:
    """Error, marks, kept marks and marks of each portion; None where it cannot be poured."""
    exact = [marks * s - held * o for s, o in zip(shares, old, strict=True)]
    counts = [max(0, round(v)) for v in exact[1:]]
    carrier = marks - held - sum(counts)
    ends = [(carrier + held * old[0]) / marks] + [
        (n + held * o) / marks for n, o in zip(counts, old[1:], strict=True)
    ]
    wrong = carrier < 0 or any((s > 0) != (e > 0) for s, e in zip(shares, ends, strict=True))
    if wrong:
        return None
    off = max(abs(e / s - 1.0) for e, s in zip(ends[1:], shares[1:], strict=True) if s > 0)
    return off, marks, held, [carrier, *counts]


def _shares(
    ratio: MixRatio, colour: Colour | None, third: Third | None
) -> list[tuple[str, str, float]]:
    """Kind, name and share of the pot, in the order poured; carrier first, also where it is 0."""
    parts = (("colour", ratio.colour),) if colour is None else colour.parts
    whole = sum((p for _, p in parts), start=ratio.colour * 0)
    base = 1.0 if third is None else 1.0 / (1.0 + third.share)
    out = [("carrier", "carrier", base * (1.0 - ratio.fraction))]
    out += [("colour", n, base * ratio.fraction * float(p / whole)) for n, p in parts]
    if third is not None:
        out.append(("third", third.name, 1.0 - base))
    return out


def _densities(given: Mapping[str, float], shares: list[tuple[str, str, float]]
               ) -> list[float | None]:  # fmt: skip
    known = {k.casefold(): v for k, v in given.items()}
    names = [name.casefold() for _, name, _ in shares]
    unknown = set(known) - {*names, "colour"}
    if unknown:
        raise DomainError(
            "A density is given for something that is not in this pot.",
            expected=", ".join(n for _, n, _ in shares),
            got=", ".join(sorted(unknown)),
            remedy="give densities by the names in the recipe.",
        )
    for value in known.values():
        # Coatings lie near 0.8 to 2 g/mL; 0.3 to 5 catches kg/m3 and lb/gal typed by mistake.
        if not 0.3 <= value <= 5.0:
            raise DomainError(
                "This density is not possible for a paint.",
                expected="0.3 to 5 g/mL",
                got=f"{value:g}",
                remedy="give grams per millilitre, which is kg/L, as the data sheet does; 8.345 lb "
                "per US gallon is 1 g/mL.",
            )
    usual = known.get("colour")
    return [
        known.get(name, usual if kind == "colour" else None)
        for (kind, _, _), name in zip(shares, names, strict=True)
    ]
