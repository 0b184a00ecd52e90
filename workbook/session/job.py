"""What a job takes, as typed: shapes, coats and bottles → the pots to mix."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING

from matchlib.errors import DomainError

if TYPE_CHECKING:
    from matchlib.domain import Recipe
    from matchlib.mixing import BottleReach, CoatUse, JobArea, Pot, StepUp

__all__ = [
    "Job",
    "area_of",
    "bottle_words",
    "bottles_of",
    "densities_of",
    "pot_of",
    "steps_of",
    "use_of",
]


@dataclass(frozen=True, slots=True)
class Job:
    """A job as typed, every measure with its unit.

    Parameters
    ----------
    area : str
        Flat area, ``2 m2``.
    sheet : str
        ``600 mm x 400 mm``; add ``x 2`` for both sides.
    tube : str
        Diameter and length, ``40 mm x 1.2 m``.
    sphere : str
        Diameter, ``120 mm``.
    margin : float, optional
        Share added for edges [-]; none for a flat area and 0.1 for shapes if left out.
    dry_film_um : float, optional
        Dry film of one coat [µm].
    volume_solids : float, optional
        Of the mix as sprayed [-].
    transfer : tuple of 2 float, optional
        Range of transfer efficiency [-]; else that of large surfaces, or of small parts.
    small : bool
        Whether the work is small against the fan.
    used : str
        What a sprayed panel took out of the cup, ``80 ml``; replaces film and solids.
    used_area : str
        Area of that panel, ``0.02 m2``.
    used_coats : int
        Coats on it.
    chance : float
        Chance of not running out [-].
    residue : str
        What stays in cup and gun at each ratio.
    gun_cup : str
        What the gun's cup holds, where known.
    mark : str
        A measuring cup's mark, to get whole marks.
    """

    area: str = ""
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


def area_of(job: Job) -> JobArea:
    """Return the area of a job.

    Parameters
    ----------
    job : Job
        With exactly one shape.

    Returns
    -------
    JobArea
        With its margin.

    Raises
    ------
    DomainError
        If there is none or more than one shape, or a measure cannot be read.
    """
    from matchlib.mixing import JobArea, parse_area, parse_length

    given = [name for name in ("area", "sheet", "tube", "sphere") if getattr(job, name)]
    if len(given) != 1:
        raise DomainError(
            "The job needs one shape.",
            expected="one of area, sheet, tube or sphere",
            got=" and ".join(given) or "none",
            remedy="give the area, such as 2 m2, or a shape, such as a sheet of 600 mm x 400 mm.",
        )
    margin = {} if job.margin is None else {"margin": job.margin}
    if job.area:
        return JobArea.flat(parse_area(job.area), **margin)
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


def use_of(job: Job) -> CoatUse:
    """Return what a coat takes out of the cup.

    Parameters
    ----------
    job : Job
        With a film and solids, or with what a panel used.

    Returns
    -------
    CoatUse
        With its uncertainty.
    """
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
    return CoatUse.of_film(job.dry_film_um, volume_solids=job.volume_solids, transfer=transfer)


def densities_of(pairs: Sequence[str]) -> dict[str, float]:
    """Read densities such as ``carrier=0.87``.

    Parameters
    ----------
    pairs : sequence of str
        Name and density [g/mL].

    Returns
    -------
    dict
        By name.

    Raises
    ------
    DomainError
        If one is not so written.
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


def pot_of(recipe: Recipe, job: Job, *, densities: dict[str, float] | None = None) -> Pot:
    """Return the pots of a job.

    Parameters
    ----------
    recipe : Recipe
        What is sprayed.
    job : Job
        On what.
    densities : dict, optional
        Density [g/mL] by colour and ``carrier``.

    Returns
    -------
    Pot
        One pot a ratio.
    """
    from matchlib.mixing import parse_volume, pot

    return pot(
        recipe,
        area=area_of(job),
        use=use_of(job),
        chance=job.chance,
        residue_ml=parse_volume(job.residue),
        gun_cup_ml=parse_volume(job.gun_cup) if job.gun_cup else None,
        mark_ml=parse_volume(job.mark) if job.mark else None,
        densities=densities or None,
    )


def steps_of(recipe: Recipe, pots: Pot | None = None) -> tuple[StepUp, ...]:
    """Return how to turn the pot of one ratio into that of the next.

    Parameters
    ----------
    recipe : Recipe
        With a schedule.
    pots : Pot, optional
        Its pots; what is expected to be left of one is what the next begins with.

    Returns
    -------
    tuple of StepUp
        One fewer than the schedule has ratios.
    """
    from matchlib.mixing import step_pot

    if pots is None or recipe.schedule is None:
        return ()
    made = []
    for before, after in zip(pots.groups, pots.groups[1:], strict=False):
        left = max(0.0, before.leftover_ml)
        turn = partial(
            step_pot, left, now=before.pour.ratio, then=after.pour.ratio, colour=recipe.colour
        )
        least = turn()
        needed = after.pour.total_ml
        made.append(least if least.after.total_ml >= needed else turn(want_ml=needed))
    return tuple(made)


def bottles_of(recipe: Recipe, bottle: str, *, of: str = "colour") -> tuple[BottleReach, ...]:
    """Return how far an opened bottle goes at each ratio of a recipe.

    Parameters
    ----------
    recipe : Recipe
        With a schedule.
    bottle : str
        What is left in it, ``120 ml``, or a number without unit.
    of : str
        ``colour`` or ``carrier``.

    Returns
    -------
    tuple of BottleReach
        One a ratio.
    """
    from matchlib.mixing import bottle_reach, parse_volume

    try:
        volume = float(bottle)
    except ValueError:
        volume = parse_volume(bottle)
    ratios = dict.fromkeys(s.ratio for s in recipe.schedule.steps) if recipe.schedule else ()
    return tuple(bottle_reach(volume, ratio, of=of) for ratio in ratios)


def bottle_words(reach: BottleReach, bottle: str, unit: str = "ml") -> str:
    """Say how far an opened bottle goes.

    Parameters
    ----------
    reach : BottleReach
        At one ratio.
    bottle : str
        As it was given to `bottles_of`: a number without unit stays one.
    unit : str
        Unit of volume to say it in.

    Returns
    -------
    str
        One sentence.
    """
    from matchlib.mixing import format_volume

    try:
        float(bottle)
    except ValueError:
        pass
    else:
        return f"{reach.text[:1].upper()}{reach.text[1:]}."
    volumes = {"colour": reach.colour, "carrier": reach.carrier}
    del volumes[reach.bottle]
    ((other, need),) = volumes.items()
    return (
        f"With {format_volume(need, unit)} of {other} the {bottle} of {reach.bottle} in the "
        f"bottle make {format_volume(reach.total, unit)} at {reach.ratio} ({reach.ratio.words})."
    )


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
