"""From the pot in hand to the next ratio, and topping up what a panel used."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from matchlib.domain import Colour, MixRatio
from matchlib.errors import DomainError
from matchlib.mixing.pour import Pour, pour
from matchlib.mixing.stated import ratio_dict
from matchlib.mixing.units import format_volume, positive

__all__ = ["StepUp", "step_pot", "top_up"]


@dataclass(frozen=True, slots=True)
class StepUp:
    """What to add to the pot in hand.

    Parameters
    ----------
    before, add, after : Pour
        What is in the pot, what is added, and what is in it then. `add` carries the ratio of the
        pot it is for; only its volumes say what is added.
    """

    before: Pour
    add: Pour
    after: Pour

    @property
    def kind(self) -> str:
        """``stronger``, ``let down`` or ``top up``."""
        if self.after.ratio == self.before.ratio:
            return "top up"
        return "stronger" if self.after.ratio > self.before.ratio else "let down"

    def words(self, unit: str = "ml") -> str:
        """Say what to add.

        Parameters
        ----------
        unit : str
            Unit of volume.

        Returns
        -------
        str
            One sentence.
        """
        now, then = self.before.ratio, self.after.ratio
        items = []
        if self.add.carrier_ml > 0:
            items.append(f"{format_volume(self.add.carrier_ml, unit)} carrier")
        for name, volume in self.add.colours:
            if volume > 0:
                what = "colour" if name == "colour" else f"colour ({name})"
                items.append(f"{format_volume(volume, unit)} {what}")
        to = f"at {now}" if now == then else f"from {now} to {then} ({then.words})"
        return (
            f"To {format_volume(self.before.total_ml, unit)} in the pot add "
            f"{' and '.join(items) or 'nothing'}: {format_volume(self.after.total_ml, unit)} {to}."
        )

    @property
    def text(self) -> str:
        """What to add, in millilitres."""
        return self.words()

    def as_dict(self) -> dict[str, object]:
        """Return it as plain data.

        Returns
        -------
        dict
            For JSON; carrier and colour named.
        """
        return {
            "kind": self.kind,
            "now": ratio_dict(self.before.ratio),
            "next": ratio_dict(self.after.ratio),
            "before_ml": self.before.total_ml,
            "add_carrier_ml": self.add.carrier_ml,
            "add_colour_ml": self.add.colour_ml,
            "add_colours": [{"colour": n, "colour_ml": v} for n, v in self.add.colours],
            "after_ml": self.after.total_ml,
            "text": self.text,
        }


def step_pot(
    volume_left_ml: float,
    *,
    now: MixRatio,
    then: MixRatio,
    want_ml: float | None = None,
    room_ml: float | None = None,
    colour: Colour | None = None,
) -> StepUp:
    """Turn the pot in hand into the next ratio: stronger, weaker, or the same and more of it.

    Parameters
    ----------
    volume_left_ml : float
        What is in the pot [mL], 0 or more.
    now, then : MixRatio
        Its ratio, and the one wanted.
    want_ml : float, optional
        Volume wanted afterwards [mL]; without it, as little as possible is added.
    room_ml : float, optional
        What the pot can hold [mL].
    colour : Colour, optional
        The blend, the same before and after.

    Returns
    -------
    StepUp
        What to add; volume of carrier and of each colour is conserved.

    Raises
    ------
    DomainError
        If no addition can do it: the wanted volume or the pot is too small, or neat colour is
        wanted from a pot that holds carrier.
    """
    left = Fraction(positive(volume_left_ml, "volume in the pot [mL]", top=1e6, zero=True))
    fraction_now = now.colour / (now.carrier + now.colour)
    fraction_then = then.colour / (then.carrier + then.colour)
    if fraction_then == 1 and fraction_now < 1 and left > 0:
        raise DomainError(
            "A pot that holds carrier cannot become neat colour.",
            expected="a ratio with some carrier",
            got=f"{now} to {then}",
            remedy="spray or keep what is left, and start a fresh pot.",
        )
    # Only one of the two is added unless a larger pot is wanted, so the least after-volume is
    # set by whichever part of the mix is in excess now.
    colour_now, carrier_now = left * fraction_now, left * (1 - fraction_now)
    least = colour_now / fraction_then
    if fraction_then < 1:
        least = max(least, carrier_now / (1 - fraction_then))
    if want_ml is None:
        after = least
    else:
        after = Fraction(positive(want_ml, "volume wanted [mL]", top=1e6))
        # A volume typed to a tenth of a percent is the least volume.
        if least > after >= least * Fraction(999, 1000):
            after = least
    if after < least:
        keep = float(left * after / least)
        raise DomainError(
            "Adding can only make the pot larger.",
            expected=f"at least {float(least):.4g} ml at {then}",
            got=f"{float(after):.4g} ml wanted from {float(left):.4g} ml at {now}",
            remedy=f"pour off {float(left) - keep:.4g} ml first and step up the {keep:.4g} ml that "
            "stay.",
        )
    if room_ml is not None and float(after) > positive(room_ml, "room in the pot [mL]"):
        keep = float(left) * room_ml / float(after)
        raise DomainError(
            "The pot would run over.",
            expected=f"at most {room_ml:g} ml",
            got=f"{float(after):.4g} ml at {then}",
            remedy=f"use a larger pot, or keep only {keep:.4g} ml of the mix in it first.",
        )
    before = pour(float(left), now, colour=colour)
    result = pour(float(after), then, colour=colour)
    add_carrier = float(after * (1 - fraction_then) - carrier_now)
    add_colour = after * fraction_then - colour_now
    parts = colour.parts if colour is not None else (("colour", Fraction(1)),)
    whole = sum((p for _, p in parts), start=Fraction(0))
    added = Pour(then, add_carrier, tuple((n, float(add_colour * p / whole)) for n, p in parts))
    return StepUp(before, added, result)


def top_up(
    used_ml: float, *, volume_left_ml: float, ratio: MixRatio, colour: Colour | None = None
) -> StepUp:
    """Make up for what a panel used, at the same ratio.

    Parameters
    ----------
    used_ml : float
        What left the pot [mL].
    volume_left_ml : float
        What is still in it [mL].
    ratio : MixRatio
        Its ratio.
    colour : Colour, optional
        The blend.

    Returns
    -------
    StepUp
        What to add to have the volume of before again.
    """
    used = positive(used_ml, "volume used [mL]", top=1e6)
    left = positive(volume_left_ml, "volume in the pot [mL]", top=1e6, zero=True)
    return step_pot(left, now=ratio, then=ratio, want_ml=left + used, colour=colour)
