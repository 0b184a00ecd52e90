"""What a job takes, as typed: shapes, coats and bottles → the pots to mix and what to buy."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from matchlib.errors import DomainError

if TYPE_CHECKING:
    from matchlib.domain import Recipe
    from matchlib.mixing import CoatUse, JobArea, Labour, Pot, Third

__all__ = [
    "PotRequest",
    "area_of",
    "bottle_words",
    "densities_of",
    "labour_of",
    "pot_of",
    "time_words",
    "use_of",
]


@dataclass(frozen=True, slots=True)
class PotRequest:
    """A job as typed, every measure with its unit.

    `area`: flat area, ``2 m2``, or a range, ``1.5 m2 to 2 m2``. `work`: a usual job by name,
    ``door``; its area is a range. `sheet`: ``600 mm x 400 mm``; add ``x 2`` for both sides. `tube`:
    diameter and length, ``40 mm x 1.2 m``. `sphere`: diameter, ``120 mm``. `margin`: share added
    for edges [-]; none for a flat area and 0.1 for shapes if left out. `dry_film_um`: dry film of
    one coat [µm]. `volume_solids`: of carrier and colour, before any reducer [-]. `transfer`: range
    of transfer efficiency [-]; else that of large surfaces, or of small parts. `small`: whether the
    work is small against the fan. `used`: what a sprayed panel took out of the cup, ``80 ml``;
    replaces film and solids. `used_area`: area of that panel, ``0.02 m2``. `used_coats`: coats on
    it. `chance`: chance of not running out [-]. `residue`: what stays in cup and gun at each ratio.
    `gun_cup`: what the gun's cup holds, where known. `mark`: a measuring cup's mark, to get whole
    marks. `least`: least mix worth making; empty for what is usual. `third`: reducer or hardener
    and its share of carrier and colour, ``hardener 10%``. `pot_life`: from the data sheet [min].
    `coat_min`, `set_up_min`: to spray a coat and let it flash off; to mix, mask and clean up [min].
    `rate`: an hour, in the shop's money.
    """

    area: str = ""
    work: str = ""
    sheet: str = ""
    tube: str = ""
    sphere: str = ""
    margin: float | None = None
    dry_film_um: float | None = None
    volume_solids: float | None = None
    transfer: tuple[float, float] | None = None
    small: bool = False
    used: str = ""
    used_area: str = ""
    used_coats: int = 1
    chance: float = 0.95
    residue: str = "15 ml"
    gun_cup: str = ""
    mark: str = ""
    least: str = ""
    third: str = ""
    pot_life: float | None = None
    coat_min: float | None = None
    set_up_min: float | None = None
    rate: float | None = None

    @property
    def shapes(self) -> list[str]:
        """By which of its fields it says what is to be sprayed: one, for a pot."""
        names = ("area", "work", "sheet", "tube", "sphere")
        return [name for name in names if getattr(self, name)]


def area_of(job: PotRequest) -> JobArea:
    """Return the area of a job."""
    from matchlib.mixing import JobArea, parse_area, parse_length

    if len(job.shapes) != 1:
        raise DomainError(
            "The job needs one shape.",
            expected="one of area, work, sheet, tube or sphere",
            got=" and ".join(job.shapes) or "none",
            remedy="give the area, such as 2 m2, a usual job, such as a door, or a shape: a "
            "sheet of 600 mm x 400 mm.",
        )
    margin: Any = {} if job.margin is None else {"margin": job.margin}
    if job.area:
        ends = [parse_area(end) for end in job.area.split(" to ")]
        return JobArea(ends[0], ends[-1], **margin)
    if job.work:
        return JobArea.usual(job.work, **margin)
    if job.sphere:
        return JobArea.sphere(parse_length(job.sphere), **margin)
    if job.tube:
        across, along = _measures(job.tube, 2, "40 mm x 1.2 m")
        return JobArea.tube(parse_length(across), parse_length(along), **margin)
    width, height, *sides = _measures(job.sheet, 3, "600 mm x 400 mm, or 600 mm x 400 mm x 2")
    return JobArea.sheet(
        parse_length(width),
        parse_length(height),
        sides={"1": 1, "2": 2}.get(sides[0], 0) if sides else 1,  # 0 is refused in words
        **margin,
    )


def use_of(job: PotRequest) -> CoatUse:
    """Return what a coat takes out of the cup."""
    from matchlib.mixing import CoatUse, TransferRange, parse_area, parse_volume

    if job.used:
        return CoatUse.of_panel(
            parse_volume(job.used), area_m2=parse_area(job.used_area), coats=job.used_coats
        )
    if job.dry_film_um is None or job.volume_solids is None:
        raise DomainError(
            "What a coat takes is not known.",
            expected="the dry film of a coat and the volume solids of the mix, or what a sprayed "
            "panel used",
            got="neither" if job.dry_film_um is job.volume_solids else "only one of the two",
            remedy="take both from the data sheet; better, weigh the cup before and after a panel.",
        )
    transfer = (
        TransferRange.of_surface(small=job.small)
        if job.transfer is None
        else TransferRange(*job.transfer)
    )
    third = _third(job)
    return CoatUse.of_film(
        job.dry_film_um,
        volume_solids=job.volume_solids,
        transfer=transfer,
        thinner=0.0 if third is None or third.hardens else third.share,
    )


def _third(job: PotRequest) -> Third | None:
    from matchlib.mixing import Third

    return Third.parse(job.third) if job.third.strip() else None


def labour_of(job: PotRequest) -> Labour | None:
    """Return what a job takes in time; None where nobody said what a coat takes."""
    from matchlib.mixing import Labour

    if job.coat_min is None:
        return None
    return Labour(job.coat_min, job.set_up_min or 0.0, job.rate)


def time_words(job: PotRequest, pots: Pot) -> str:
    """Say what the coats take in time, beside the pot life; empty where nobody said."""
    from matchlib.mixing import bill

    labour = labour_of(job)
    return "" if labour is None else replace(bill(pots, {}, labour=labour), lines=()).words()


def densities_of(pairs: Sequence[str]) -> dict[str, float]:
    """Read densities such as ``carrier=0.87``.

    `pairs`: name and density [g/mL].
    """
    found = {}
    for pair in pairs:
        name, _, number = pair.rpartition("=")
        try:
            found[name.strip()] = float(number)
        except ValueError:
            name = ""
        if not name.strip():
            raise DomainError(
                "This is not a density.",
                expected="name=grams per millilitre, such as carrier=0.87",
                got=repr(pair[:60]),
                remedy="take it from the data sheet.",
            )
    return found


def pot_of(recipe: Recipe, job: PotRequest, *, densities: dict[str, float] | None = None) -> Pot:
    """Return the pots of a job.

    `densities`: density [g/mL] by colour and ``carrier``.
    """
    from matchlib.mixing import LEAST_ML, parse_volume, pot

    def volume(text: str, *, zero: bool = False) -> float | None:
        return parse_volume(text, zero=zero) if text.strip() else None

    return pot(
        recipe,
        area=area_of(job),
        use=use_of(job),
        chance=job.chance,
        residue_ml=volume(job.residue, zero=True) or 0.0,
        least_ml=LEAST_ML if not job.least.strip() else parse_volume(job.least, zero=True),
        gun_cup_ml=volume(job.gun_cup),
        mark_ml=volume(job.mark),
        third=_third(job),
        pot_life_min=job.pot_life,
        densities=densities or None,
    )


def bottle_words(recipe: Recipe, bottle: str, *, of: str = "colour", unit: str = "ml"
                 ) -> tuple[str, ...]:  # fmt: skip
    """Say how far an opened bottle goes at each ratio of a recipe.

    `bottle`: what is left in it, ``120 ml``, or a number without unit, which then has none in the
    sentence either. `of`: ``colour`` or ``carrier``: what the bottle holds.
    """
    from matchlib.mixing import bottle_makes, format_volume, parse_volume
    from workbook.cup import cups_of

    try:
        volume, plain = float(bottle), True
    except ValueError:
        volume, plain = parse_volume(bottle), False
    lines = []
    for ratio in dict.fromkeys(r for r, _ in cups_of(recipe)):
        makes = dict(zip(("carrier", "colour"), bottle_makes(volume, ratio, of=of), strict=True))
        total = sum(makes.values())
        have, (other, need) = makes.pop(of), *makes.items()
        amounts = [f"{v:.4g}" if plain else format_volume(v, unit) for v in (have, total, need)]
        lines.append(
            f"{amounts[0]} of {of} left in the bottle makes {amounts[1]} at {ratio} "
            f"({ratio.words}), with {amounts[2]} of {other}."
        )
    return tuple(lines)


def _measures(text: str, most: int, example: str) -> list[str]:
    parts = [part.strip() for part in text.replace("×", "x").split("x")]
    if not 2 <= len(parts) <= most or not all(parts):
        raise DomainError(
            "These are not the measures of the shape.",
            expected=f"lengths with their units, such as {example}",
            got=repr(text[:60]),
            remedy="write them with an x between.",
        )
    return parts
