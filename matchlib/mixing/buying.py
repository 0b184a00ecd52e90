"""How much to buy: what a job takes, what is on the shelf, bottles, cost and hours."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import ClassVar

from matchlib.domain import MixRatio
from matchlib.errors import DomainError
from matchlib.mixing.pot import Pot
from matchlib.mixing.units import format_volume, positive
from matchlib.plural import counted

__all__ = ["Bill", "BillLine", "Labour", "Supply", "bill", "bottle_makes"]


@dataclass(frozen=True, slots=True)
class Supply:
    """A bottle as it is bought, and what is on the shelf.

    Parameters
    ----------
    stock_ml : float
        On the shelf [mL].
    bottle_ml : float, optional
        What a bottle holds [mL].
    price : float, optional
        Of a bottle, in the shop's money.

    Examples
    --------
    >>> honey = Supply(stock_ml=120.0, bottle_ml=250.0)
    >>> honey.less(200.0, bought=1).stock_ml
    170.0
    """

    stock_ml: float = 0.0
    bottle_ml: float | None = None
    price: float | None = None

    def __post_init__(self) -> None:
        positive(self.stock_ml, "stock [mL]", top=1e7, zero=True)
        if self.bottle_ml is not None:
            positive(self.bottle_ml, "bottle [mL]", top=1e6)
        if self.price is not None:
            positive(self.price, "price of a bottle", top=1e7, zero=True)

    def less(self, ml: float, *, bought: int = 0) -> Supply:
        """Return what is on the shelf when bottles were bought and something taken.

        Parameters
        ----------
        ml : float
            Taken [mL], 0 or more.
        bought : int
            Bottles bought before.

        Returns
        -------
        Supply
            Never below 0.
        """
        there = self.stock_ml + bought * (self.bottle_ml or 0.0)
        return replace(self, stock_ml=max(0.0, there - ml))


@dataclass(frozen=True, slots=True)
class Labour:
    """What a job takes in time.

    Parameters
    ----------
    coat_min : float
        To spray a coat and let it flash off [min], as it goes in this shop.
    set_up_min : float
        To mix, mask and clean up [min].
    rate : float, optional
        An hour, in the shop's money.

    Examples
    --------
    >>> Labour(coat_min=12.0, set_up_min=30.0).hours(4)
    1.3
    """

    coat_min: float
    set_up_min: float = 0.0
    rate: float | None = None

    def hours(self, coats: int) -> float:
        """Return how long colour coats take.

        Parameters
        ----------
        coats : int
            How many.

        Returns
        -------
        float
            Setting up included [h].
        """
        return (coats * self.coat_min + self.set_up_min) / 60.0


@dataclass(frozen=True, slots=True)
class BillLine:
    """What a job takes of one thing."""

    name: str  # carrier, a colour, reducer or hardener
    need_ml: float  # what the job takes [mL]
    stock_ml: float  # what is on the shelf [mL]
    bottles: int | None  # to buy; None where the bottle's size is not known
    spent: float | None  # worth of what the job takes, in the shop's money
    paid: float | None  # price of the bottles to buy
    SHOWN: ClassVar = ("name", "need_ml", "stock_ml", "short_ml", "bottles", "spent", "paid")

    @property
    def short_ml(self) -> float:
        """What the shelf lacks [mL]."""
        return max(0.0, self.need_ml - self.stock_ml)

    def words(self, unit: str = "ml") -> str:
        """Say it."""
        text = f"{self.name}: {format_volume(self.need_ml, unit)} needed"
        text += f" of {format_volume(self.stock_ml, unit)} on the shelf" * (self.stock_ml > 0)
        if self.short_ml <= 0:
            left = self.stock_ml - self.need_ml
            text += f", {format_volume(left, unit)} will be left"
        elif self.bottles is None:
            text += f", buy {format_volume(self.short_ml, unit)}"
        else:
            text += f", buy {counted(self.bottles, 'bottle')}"
            text += "" if self.paid is None else f" for {self.paid:.2f}"
        return text + ("." if self.spent is None else f"; worth {self.spent:.2f}.")


@dataclass(frozen=True, slots=True)
class Bill:
    """What a job takes, in paint and hours.

    Parameters
    ----------
    lines : tuple of BillLine
        In the order poured.
    hours : float, optional
        Of work [h].
    wages : float, optional
        In the shop's money.
    too_late : str
        What to do where a pot's coats take longer than its pot life; else empty.

    Examples
    --------
    >>> from matchlib import CoatSchedule
    >>> from matchlib.mixing import CoatUse, JobArea, pot
    >>> use = CoatUse.of_panel(45.0, area_m2=0.25, coats=2)
    >>> made = pot(CoatSchedule.parse("3@6:1"), area=JobArea.flat(0.5), use=use)
    >>> bill(made, {}, labour=Labour(coat_min=10.0, rate=60.0)).hours
    0.5
    """

    lines: tuple[BillLine, ...]
    hours: float | None = None
    wages: float | None = None
    too_late: str = ""
    SHOWN: ClassVar = ("lines", "paint", "hours", "wages")

    @property
    def paint(self) -> float | None:
        """Worth of the paint the job takes; None where a price is missing."""
        spent = [line.spent for line in self.lines]
        known = [s for s in spent if s is not None]
        return math.fsum(known) if spent and len(known) == len(spent) else None

    def words(self, unit: str = "ml") -> str:
        """Say what to buy, and what the job costs.

        Parameters
        ----------
        unit : str
            Unit of volume.

        Returns
        -------
        str
            Lines parted by newlines.
        """
        lines = [line.words(unit) for line in self.lines]
        if self.paint is not None:
            lines.append(
                f"Paint for the colour coats: {self.paint:.2f}; ground and clear are extra."
            )
        if self.hours is not None:
            wages = "" if self.wages is None else f", {self.wages:.2f} in wages"
            lines.append(f"Time for the colour coats: {self.hours:.3g} h{wages}.")
        lines += [self.too_late] if self.too_late else []
        return "\n".join(lines)


def bill(pots: Pot, shelf: Mapping[str, Supply], *, labour: Labour | None = None) -> Bill:
    """Work out what to buy for a job, and what it costs.

    Parameters
    ----------
    pots : Pot
        What is mixed.
    shelf : mapping of str to Supply
        By name: ``carrier``, the colours, ``reducer`` or ``hardener``; what is not in it is bought.
    labour : Labour, optional
        What a coat takes in time.

    Returns
    -------
    Bill
        One line for each bottle the job opens.

    Examples
    --------
    >>> from matchlib import CoatSchedule
    >>> from matchlib.mixing import CoatUse, JobArea, pot
    >>> use = CoatUse.of_panel(45.0, area_m2=0.25, coats=2)
    >>> made = pot(CoatSchedule.parse("3@6:1"), area=JobArea.flat(0.5), use=use)
    >>> bill(made, {"carrier": Supply(stock_ml=100.0, bottle_ml=500.0)}).lines[0].words()
    'carrier: 187 ml needed of 100 ml on the shelf, buy 1 bottle.'
    """
    known = {name.casefold(): supply for name, supply in shelf.items()}
    lines = []
    for portion in pots.needs:
        supply = known.get(portion.name.casefold(), Supply())
        short = max(0.0, portion.ml - supply.stock_ml)
        size, price = supply.bottle_ml, supply.price
        count = None if size is None else math.ceil(short / size - 1e-9)
        lines.append(
            BillLine(
                portion.name,
                portion.ml,
                supply.stock_ml,
                count,
                None if size is None or price is None else portion.ml / size * price,
                None if count is None or price is None else count * price,
            )
        )
    if labour is None:
        return Bill(tuple(lines))
    hours = labour.hours(sum(g.coats for g in pots.groups))
    wages = None if labour.rate is None else hours * labour.rate
    return Bill(tuple(lines), hours, wages, _too_late(pots, labour))


def _too_late(pots: Pot, labour: Labour) -> str:
    """What to do where a pot's coats take longer than its pot life; else empty."""
    taken = longest = 0.0
    for group in pots.groups:
        # What is left of a pot brings its age into the next.
        taken = (taken if group.pour.kept else 0.0) + group.coats * labour.coat_min
        longest = max(longest, taken)
    life = pots.pot_life_min
    if life is None or not pots.activated or longest <= life:
        return ""
    return (
        f"The coats of a pot take {longest:g} min, longer than its pot life of {life:g} min: mix "
        "it in parts, each when it is due."
    )


def bottle_makes(volume: float, ratio: MixRatio, *, of: str = "colour") -> tuple[float, float]:
    """Return how much mix an opened bottle makes.

    Parameters
    ----------
    volume : float
        What is left in the bottle, in any unit.
    ratio : MixRatio
        The mix.
    of : str
        ``colour`` or ``carrier``: what the bottle holds.

    Returns
    -------
    tuple of 2 float
        Carrier and colour in the same unit: 4 of colour makes 28 at 6:1, with 24 of carrier.

    Raises
    ------
    DomainError
        If `of` is neither, or a bottle of carrier is asked to make a mix without carrier.

    Examples
    --------
    >>> from matchlib import MixRatio
    >>> bottle_makes(40.0, MixRatio.parse("6:1"))
    (240.0, 40.0)
    """
    have = positive(volume, "volume in the bottle")
    if of not in ("colour", "carrier") or (of == "carrier" and ratio.carrier == 0):
        raise DomainError(
            "This bottle cannot make this mix.",
            expected="a bottle of colour, or of carrier for a mix that has some",
            got=f"a bottle of {of} for {ratio}",
            remedy="say what is in the bottle.",
        )
    part = have / float(ratio.colour if of == "colour" else ratio.carrier)
    return part * float(ratio.carrier), part * float(ratio.colour)
