"""What a measuring cup can show: whole marks, and what their rounding costs."""

from __future__ import annotations

import math
from dataclasses import dataclass

from matchlib.domain import Colour, MixRatio
from matchlib.errors import DomainError
from matchlib.mixing.stated import ratio_dict, ratio_of
from matchlib.mixing.units import positive

__all__ = ["CupMarks", "cup_marks"]


@dataclass(frozen=True, slots=True)
class CupMarks:
    """A pot poured to whole marks of a measuring cup, carrier first.

    Parameters
    ----------
    asked, poured : MixRatio
        The ratio wanted, and what the whole marks give.
    mark_ml : float
        Volume of one mark [mL].
    carrier_marks : int
        Marks of carrier.
    colour_marks : tuple of (str, int)
        Marks of each colour, in the order poured.
    wanted_ml : float
        Volume that was wanted [mL].
    """

    asked: MixRatio
    poured: MixRatio
    mark_ml: float
    carrier_marks: int
    colour_marks: tuple[tuple[str, int], ...]
    wanted_ml: float

    @property
    def marks(self) -> int:
        """Marks in all."""
        return self.carrier_marks + sum(n for _, n in self.colour_marks)

    @property
    def total_ml(self) -> float:
        """Volume poured [mL]."""
        return self.marks * self.mark_ml

    @property
    def extra_ml(self) -> float:
        """What rounding up pours beyond what was wanted [mL]."""
        return self.total_ml - self.wanted_ml

    @property
    def strength_error(self) -> float:
        """Relative error of the colour fraction from rounding [-]."""
        return self.poured.fraction / self.asked.fraction - 1.0

    @property
    def text(self) -> str:
        """The pouring in words, by the running mark on the cup's wall."""
        at = self.carrier_marks
        steps = [f"carrier to mark {at}"] if at else []
        for name, marks in self.colour_marks:
            at += marks
            steps.append(f"{name} up to mark {at}")
        error = self.strength_error
        exact = "exactly the ratio" if abs(error) < 5e-4 else f"colour {error:+.1%} of the ratio"
        return (
            f"{', then '.join(steps)} ({self.mark_ml:g} ml a mark, {self.total_ml:g} ml); "
            f"{exact}, {self.extra_ml:.3g} ml more than needed"
        )

    def as_dict(self) -> dict[str, object]:
        """Return it as plain data.

        Returns
        -------
        dict
            For JSON; carrier and colour named.
        """
        return {
            "asked": ratio_dict(self.asked),
            "poured": ratio_dict(self.poured),
            "mark_ml": self.mark_ml,
            "carrier_marks": self.carrier_marks,
            "colour_marks": [{"colour": n, "marks": m} for n, m in self.colour_marks],
            "total_ml": self.total_ml,
            "extra_ml": self.extra_ml,
            "strength_error": self.strength_error,
            "text": self.text,
        }


def cup_marks(
    ratio: MixRatio,
    *,
    volume_ml: float,
    mark_ml: float,
    colour: Colour | None = None,
    tolerance: float = 0.01,
) -> CupMarks:
    """Find the smallest pot of whole marks that is enough and keeps the ratio.

    Parameters
    ----------
    ratio : MixRatio
        The mix.
    volume_ml : float
        Volume that must be there [mL].
    mark_ml : float
        Volume of one mark [mL].
    colour : Colour, optional
        The blend, whose colours each get their marks.
    tolerance : float
        Relative error of any colour's share that is good enough [-]. Where no pot up to a quarter
        larger (or one whole set of parts, at most twice the pot) keeps it, the nearest is taken
        and its error shown.

    Returns
    -------
    CupMarks
        What to pour.

    Raises
    ------
    DomainError
        If the cup is too coarse for the pot: a colour would get no mark at all.
    """
    wanted = positive(volume_ml, "volume wanted [mL]", top=1e6)
    mark = positive(mark_ml, "mark of the cup [mL]", top=1e4)
    blend = () if colour is None else colour.parts
    total_parts = sum((p for _, p in blend), start=ratio.colour * 0)
    shares = [
        (n, ratio.fraction * float(p / total_parts)) for n, p in blend
    ] or [("colour", ratio.fraction)]  # fmt: skip
    first = max(1, math.ceil(wanted / mark - 1e-9))
    if first > 100_000:
        positive(first, "number of marks", top=100_000, remedy="use a cup with larger marks.")
    # A quarter more, or one whole set of parts more, but never more than twice what is needed.
    last = min(max(first * 5 // 4, first + math.ceil(ratio.carrier + ratio.colour)), 2 * first)
    best: tuple[float, int, list[int]] | None = None
    for marks in range(first, min(last, first + 5000) + 1):
        counts = [round(marks * share) for _, share in shares]
        if min(counts) == 0 or sum(counts) > marks or (ratio.carrier > 0) != (sum(counts) < marks):
            continue
        error = max(abs(c / marks / s - 1.0) for c, (_, s) in zip(counts, shares, strict=True))
        if best is None or error < best[0] - 1e-12:
            best = (error, marks, counts)
        if error <= tolerance:
            break
    if best is None:
        raise DomainError(
            "This cup's marks are too coarse for this pot.",
            expected="at least one mark of each colour",
            got=f"{wanted:.3g} ml at {ratio} with {mark:g} ml a mark",
            remedy="use a finer cup or a syringe for the colour, weigh it, or mix at least "
            f"{mark / min(s for _, s in shares):.4g} ml.",
        )
    _, marks, counts = best
    carrier = marks - sum(counts)
    poured = ratio_of(colour_volume=sum(counts), carrier_volume=carrier)
    named = tuple((name, count) for (name, _), count in zip(shares, counts, strict=True))
    return CupMarks(ratio, poured, mark, carrier, named, wanted)
