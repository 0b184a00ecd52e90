"""What is to be matched: typed Lab, a file, or a panel's own readings → one reading an angle."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from matchlib.domain import BEFORE_CLEAR
from matchlib.errors import MatchlibError, TargetError
from matchlib.plural import counted

if TYPE_CHECKING:
    from matchlib.archive import Archive
    from matchlib.domain import Panel, Reading, Recipe, Stage, Viewing

__all__ = [
    "angles_of_file",
    "angles_of_panel",
    "last_tried",
    "read_like",
    "reading_of_lab",
    "samples_of_file",
    "single_reading",
    "stages_read",
    "typed_readings",
]


def reading_of_lab(lab: Sequence[float], viewing: Viewing | None = None) -> Reading:
    """Return typed Lab as a reading.

    `viewing`: D65/10° 45:0 where not given.
    """
    from matchlib.domain import Reading
    from matchlib.domain import Viewing as View
    from matchlib.target import Aim

    view = viewing or View()
    light, red, yellow = (float(v) for v in lab)
    Aim((light, red, yellow), view)  # refuses what no surface can look like
    try:
        return Reading(view, "spectrophotometer", (light, red, yellow))
    except MatchlibError as error:
        raise TargetError(
            "This target is no physical colour.",
            expected=error.expected,
            got=error.got,
            remedy="check the signs, the decimal point and the order L, a, b.",
        ) from None


def typed_readings(
    rows: Sequence[tuple[str, Sequence[float | None]]],
    *,
    illuminant: str = "D65",
    observer: str = "10",
) -> tuple[Reading, ...]:
    """Return a target typed at one angle or several.

    `rows`: geometry, and CIELAB there; None for what was left empty.
    """
    from matchlib.domain import Viewing as View

    found: list[Reading] = []
    for angle, lab in rows:
        view = View(illuminant, observer, angle)
        of = f" at {view.geometry}" if len(rows) > 1 else ""
        whole = [v for v in lab if v is not None]
        if len(whole) != 3 or len(lab) != 3:
            raise TargetError(
                f"The target{of} is not whole.",
                expected="numbers for L*, a* and b*",
                got=", ".join("nothing" if v is None else f"{v:g}" for v in lab),
                remedy="fill in all three, or remove the angle." if of else "fill in all three.",
            )
        if any(r.viewing.geometry == view.geometry for r in found):
            raise TargetError(
                f"The target is typed twice at {view.geometry}.",
                expected="each angle once",
                got=", ".join(name for name, _ in rows),
                remedy="choose another angle for one of them, or remove it.",
            )
        try:
            found.append(reading_of_lab(whole, view))
        except MatchlibError as error:
            raise error.at(view.geometry) if of else error from None
    return tuple(found)


def single_reading(readings: Sequence[Reading], *, where: str) -> Reading:
    """Return one reading for the readings of one thing.

    `readings`: repeats; where some are spectra, only those count, for a spectrum says more than
    Lab.
    """
    from matchlib.readings.repeats import mean_reading

    if not readings:
        raise TargetError(
            "There is no reading to match.", where=where, remedy="read the sample first."
        )
    chosen = [r for r in readings if r.spectral] or list(readings)
    try:
        return mean_reading(chosen)
    except MatchlibError as error:
        raise error.at(where) from None


def _by_angle(readings: Sequence[Reading], *, where: str) -> tuple[Reading, ...]:
    """Return one reading a geometry for the readings of one thing."""
    by_geometry: dict[str, list[Reading]] = {}
    for reading in readings:
        by_geometry.setdefault(reading.viewing.geometry, []).append(reading)
    if len(by_geometry) < 2:
        return (single_reading(readings, where=where),)
    return tuple(
        single_reading(some, where=f"{where}, at {geometry}")
        for geometry, some in by_geometry.items()
    )


def read_like(target: Reading, readings: Sequence[Reading]) -> tuple[float, float, float]:
    """Return CIELAB of the first reading taken as a target was; of the first one if none was."""
    from matchlib.colorimetry.lab import lab_of_reading

    wanted = target.viewing.canonical
    return lab_of_reading(next((r for r in readings if r.viewing.canonical == wanted), readings[0]))


def last_tried(panel: Panel) -> tuple[Recipe, tuple[Reading, ...]]:
    """Return what is on a panel, with its last reading at each angle."""
    return panel.recipe, _angles_of_stage(panel, panel.stages[-1])


def _angles_of_stage(panel: Panel, stage: Stage) -> tuple[Reading, ...]:
    """One reading a geometry, of those of a kind that say most: an instrument's, spectra, D65."""
    kinds: dict[str, dict[tuple[object, ...], list[Reading]]] = {}
    for r in [r for r in stage.last_read if r.source != "photo"] or stage.last_read:
        other = (r.viewing.illuminant, r.viewing.observer) != ("D65", "10")
        kind = (not r.spectral, other, r.viewing, r.wavelengths)
        kinds.setdefault(r.viewing.geometry, {}).setdefault(kind, []).append(r)
    best = [some[min(some, key=lambda kind: kind[:2])] for some in kinds.values()]
    return _by_angle([r for some in best for r in some], where=f"panel {panel.code}")


def stages_read(panel: Panel, clear: str | None = None) -> list[tuple[Recipe, tuple[Reading, ...]]]:
    """Return what was on a card at each of its stages that were read, with the readings.

    `clear`: the clear coat that it is to have, where it has none yet. A stage without it was read
    before it.
    """
    clear = panel.recipe.clear or clear
    found = []
    for stage in panel.stages:
        if stage.readings:
            read = _angles_of_stage(panel, stage)
            if stage.recipe.clear is None:
                read = tuple(replace(one, state=BEFORE_CLEAR) for one in read)
            found.append((replace(stage.recipe, clear=stage.recipe.clear or clear), read))
    return found


def angles_of_panel(archive: Archive, code: str) -> tuple[Reading, ...]:
    """Return how a panel reads as it is now, one reading a geometry.

    Returned: means of repeats of one kind; one reading where all were taken at one geometry.
    """
    return last_tried(archive.panel(code))[1]


def angles_of_file(
    path: str | Path,
    *,
    panel: str | None = None,
    **declared: Any,
) -> tuple[Reading, ...]:
    """Return the readings of one thing in a file, one a geometry.

    `panel`: which sample, where it holds several. `**declared`: of the file, as `read_target` takes
    it. Returned: means of repeats; one reading where all were taken at one geometry.
    """
    from matchlib.readings import read_target

    found = read_target(path, panel=panel, **declared)
    return _by_angle(found, where=Path(path).name)


def samples_of_file(path: str | Path, **declared: Any) -> dict[str, tuple[Reading, ...]]:
    """Return the readings of every sample in a file, by its name, one a geometry.

    `**declared`: of the file, as `read_targets` takes it.
    """
    from matchlib.readings import read_targets

    found = read_targets(path, **declared)
    where = Path(path).name
    if "" in found:
        raise TargetError(
            "Some samples of this file have no name.",
            expected="a name for each in the column panel; rows of one name are one sample",
            got=f"{counted(len(found['']), 'reading')} without one",
            remedy="number them.",
            where=where,
        )
    return {name: _by_angle(some, where=f"{where}, {name}") for name, some in found.items()}
