"""Colours a file states twice, as Lab and as spectrum or XYZ, and the light that suits both."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby
from statistics import median, median_high
from typing import NamedTuple

from matchlib.domain import Lab, Viewing, three
from matchlib.errors import FileError
from matchlib.readings.questions import Asking, Choice, Question

__all__ = ["LIGHTS", "Pair", "StatedTwice", "lab_from_xyz"]

LIGHTS = (
    *(("D65", "10"), ("D50", "2"), ("D65", "2"), ("D50", "10"), ("A", "10")),
    *(("A", "2"), ("F2", "10"), ("F11", "10"), ("LED-B3", "10")),
)
"""Light and observer, the likeliest first (common practice, no source)."""

_LIKELY = 3
_AGREE = 1.0  # ΔE00 between a file's Lab and its spectrum's: rounding and interpolation stay below
_FAR_BETTER = 0.5  # ΔE00 by which another light must fit better to be spoken of
Light = tuple[str, str]


class Pair(NamedTuple):
    """The Lab of a row, and its spectrum; without wavelengths its XYZ."""

    row: int
    wavelengths: tuple[float, ...]
    values: tuple[float, ...]
    lab: Lab


def _light_fits(pairs: Sequence[Pair], stated: Light | None) -> dict[Light, list[float]]:
    """ΔE00 of each Lab to that of its spectrum or XYZ by light, the best first."""
    from matchlib.colorimetry import delta_e00, reflectance_to_lab

    # of spectra alike many are worked out at once, which takes no longer than one
    alike = [
        (nm, [pair.values for pair in run])
        for nm, run in groupby(pairs, key=lambda pair: pair.wavelengths)
    ]
    tried = LIGHTS[:_LIKELY]
    if stated and stated not in tried:
        tried = (stated, *tried)
    found: dict[Light, list[float]] = {}
    for light in tried:
        view, labs = Viewing(*light), []
        for nm, values in alike:
            if nm:
                labs += reflectance_to_lab(values, view, wavelengths=nm).tolist()
            else:
                labs += [lab_from_xyz(three(xyz), view) for xyz in values]
        found[light] = delta_e00(labs, [pair.lab for pair in pairs]).tolist()
    return {light: found[light] for light in sorted(found, key=lambda n: median(found[n]))}


def lab_from_xyz(xyz: Lab, viewing: Viewing) -> Lab:
    """Return the CIELAB (CIE 15:2018, 8.2.1) of XYZ, Y of white 100, by ASTM E308's whites."""
    if not all(-0.5 <= v <= 250 for v in xyz):
        raise FileError(
            "These are not possible tristimulus values.",
            expected="0 to about 110, Y of white being 100",
            got="X {:g}, Y {:g}, Z {:g}".format(*xyz),
            remedy="export XYZ on the scale of 100.",
        )
    from matchlib.colorimetry import white_point, xyz_to_lab  # numpy: only such files pay

    white = white_point(viewing.illuminant, viewing.observer)
    return three(xyz_to_lab([max(v, 0.0) for v in xyz], white))


class StatedTwice:
    """What the rows of a table with both Lab and spectrum say of the light its Lab holds for.

    `medians` are ΔE00 between the two by light, the best first; `far` the rows where they are
    apart under the light stated; `beside` what the Lab was compared with.
    """

    def __init__(self, pairs: Sequence[Pair], stated: Light | None) -> None:
        self._rows, self._stated = [pair.row for pair in pairs], stated
        self.beside = "spectra" if any(pair.wavelengths for pair in pairs) else "X, Y, Z"
        found = _light_fits(pairs, stated) if pairs else {}
        self.medians = {k: median_high(vs) for k, vs in found.items()}
        own = found.get(stated, []) if stated else []
        self.far = [n for n, v in zip(self._rows, own, strict=False) if v > _AGREE]

    def answer(self, asking: Asking, row: int | None, *, needed: bool) -> str | None:
        """Return the light that was answered, ``stated``, or None where there is no doubt."""
        # Rows of Lab alone need the answer; else the spectra stand.
        stated, best = self._stated, next(iter(self.medians), None)
        if stated is None or best is None or stated not in self.medians:
            return None
        mine, other = self.medians[stated], self.medians[best]
        if mine - other <= _FAR_BETTER or other >= _AGREE:
            return None
        question = Question(
            "twice",
            f"The file says {stated[0]}, {stated[1]}°, but its L, a, b fit its own "
            f"{self.beside} far better under {best[0]}, {best[1]}° (ΔE00 {other:.2f} against "
            f"{mine:.2f}). Spectra are taken as they are; for which light do L, a, b without "
            "one hold?",
            [
                Choice("/".join(best), f"{best[0]}, {best[1]}°, as the {self.beside} say"),
                Choice("stated", f"{stated[0]}, {stated[1]}°, as the file says"),
            ],
            None if needed else "stated",
            list(self._rows),
        )
        return asking.answer(question, row)
