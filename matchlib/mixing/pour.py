"""What goes into one pot: carrier and each colour, by volume and by weight."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from matchlib.domain import Colour, MixRatio
from matchlib.errors import DomainError
from matchlib.mixing.stated import ratio_dict
from matchlib.mixing.units import format_volume, mass_of, positive

__all__ = ["Pour", "pour"]


@dataclass(frozen=True, slots=True)
class Pour:
    """Carrier and colours of one pot.

    Parameters
    ----------
    ratio : MixRatio
        The mix.
    carrier_ml : float
        Carrier [mL].
    colours : tuple of (str, float)
        Each colour and its volume [mL], in the order written.
    carrier_g : float, optional
        Carrier [g], where its density was given.
    colours_g : tuple of (str, float or None)
        Each colour [g], None where its density was not given.
    """

    ratio: MixRatio
    carrier_ml: float
    colours: tuple[tuple[str, float], ...]
    carrier_g: float | None = None
    colours_g: tuple[tuple[str, float | None], ...] = ()

    @property
    def colour_ml(self) -> float:
        """All colours together [mL]."""
        return math.fsum(v for _, v in self.colours)

    @property
    def total_ml(self) -> float:
        """The whole pot [mL]."""
        return math.fsum((self.carrier_ml, *(v for _, v in self.colours)))

    @property
    def total_g(self) -> float | None:
        """Weight of the pot [g], or None where a density is missing."""
        masses = [m for _, m in self.colours_g]
        if self.carrier_ml > 0:
            masses.append(self.carrier_g)
        known = [m for m in masses if m is not None]
        return math.fsum(known) if known and len(known) == len(masses) else None

    def words(self, unit: str = "ml") -> str:
        """Say what to pour, carrier first, each named.

        Parameters
        ----------
        unit : str
            Unit of volume to show.

        Returns
        -------
        str
            For example ``60 ml carrier + 10 ml colour (teal) = 70 ml``.
        """

        def item(volume: float, what: str, mass: float | None) -> str:
            weight = "" if mass is None else f", {mass:.4g} g"
            return f"{format_volume(volume, unit)} {what}{weight}"

        masses = dict(self.colours_g)
        items = [item(self.carrier_ml, "carrier", self.carrier_g)] if self.carrier_ml else []
        for name, volume in self.colours:
            what = "colour" if name == "colour" else f"colour ({name})"
            items.append(item(volume, what, masses.get(name)))
        return f"{' + '.join(items)} = {format_volume(self.total_ml, unit)}"

    def as_dict(self) -> dict[str, object]:
        """Return it as plain data.

        Returns
        -------
        dict
            For JSON; carrier and colour named.
        """
        masses = dict(self.colours_g)
        return {
            "ratio": ratio_dict(self.ratio),
            "carrier_ml": self.carrier_ml,
            "carrier_g": self.carrier_g,
            "colour_ml": self.colour_ml,
            "colours": [
                {"colour": n, "colour_ml": v, "colour_g": masses.get(n)} for n, v in self.colours
            ],
            "total_ml": self.total_ml,
            "total_g": self.total_g,
        }


def pour(
    total_ml: float,
    ratio: MixRatio,
    *,
    colour: Colour | None = None,
    densities: Mapping[str, float] | None = None,
) -> Pour:
    """Divide a pot into carrier and colours.

    Parameters
    ----------
    total_ml : float
        The whole pot [mL], 0 or more.
    ratio : MixRatio
        The mix.
    colour : Colour, optional
        The blend; its colours are given apart.
    densities : mapping of str to float, optional
        Density [g/mL] by colour name and under ``carrier``; names not in it get no weight.

    Returns
    -------
    Pour
        Volumes that add up to the pot, and weights.

    Raises
    ------
    DomainError
        If the pot is negative or a density impossible.
    """
    total = positive(total_ml, "volume of the pot [mL]", top=1e7, zero=True)
    known = {k.casefold(): v for k, v in (densities or {}).items()}
    parts = colour.parts if colour is not None else (("colour", ratio.colour / ratio.colour),)
    unknown = set(known) - {"carrier", "colour"} - {n.casefold() for n, _ in parts}
    if unknown:
        raise DomainError(
            "A density is given for something that is not in this pot.",
            expected=", ".join(["carrier", *(n for n, _ in parts)]),
            got=", ".join(sorted(unknown)),
            remedy="give densities by the names in the recipe.",
        )
    whole = sum((p for _, p in parts), start=ratio.colour * 0)
    share = ratio.colour / (ratio.carrier + ratio.colour)
    colours = tuple((n, total * float(share * p / whole)) for n, p in parts)
    carrier = total * float(1 - share)

    def weigh(name: str, volume: float) -> float | None:
        density = known.get(name.casefold())
        if density is None and name != "carrier":
            density = known.get("colour")
        return None if density is None else float(mass_of(volume, density=density))

    return Pour(
        ratio,
        carrier,
        colours,
        weigh("carrier", carrier),
        tuple((n, weigh(n, v)) for n, v in colours),
    )
