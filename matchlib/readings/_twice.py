"""Colours a file states twice, as Lab and as spectrum or XYZ, and the light that suits both."""

from __future__ import annotations

from collections.abc import Sequence
from math import isnan

from matchlib.domain import Viewing, three
from matchlib.errors import FileError, MatchlibError
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
Pair = tuple[tuple[float, ...], tuple[float, ...], tuple[float, float, float]]


def _light_fits(pairs: Sequence[Pair], stated: Light | None) -> dict[Light, list[float]]:
    """ΔE00 of each Lab to that of its spectrum by light, the best first; empty if none."""
    # Without wavelengths a pair holds XYZ and Lab.
    import numpy as np

    from matchlib.colorimetry import delta_e00, reflectance_to_lab, white_point, xyz_to_lab

    by_grid: dict[tuple[float, ...], list[int]] = {}
    for i, pair in enumerate(pairs):
        by_grid.setdefault(pair[0], []).append(i)
    tried = list(LIGHTS[:_LIKELY])
    if stated and stated not in tried:
        tried.insert(0, stated)
    found: dict[Light, list[float]] = {}
    for light in tried:
        apart = np.full(len(pairs), np.nan)
        for nm, places in by_grid.items():
            held = np.array([pairs[i][1] for i in places])
            try:
                lab = (
                    reflectance_to_lab(held, Viewing(*light), wavelengths=nm)
                    if nm
                    else xyz_to_lab(np.maximum(held, 0), white_point(*light))
                )
            except MatchlibError:
                continue
            apart[places] = delta_e00(lab, np.array([pairs[i][2] for i in places]))
        if not np.isnan(apart).all():
            found[light] = apart.tolist()
    order = sorted(found, key=lambda light: float(np.nanmedian(found[light])))
    return {light: found[light] for light in order}


def lab_from_xyz(xyz: tuple[float, float, float], viewing: Viewing) -> tuple[float, float, float]:
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

    def __init__(self, rows: Sequence[int], pairs: Sequence[Pair], stated: Light | None) -> None:
        self._rows, self._stated = rows, stated
        self.beside = "spectra" if any(pair[0] for pair in pairs) else "X, Y, Z"
        found = _light_fits(pairs, stated) if pairs else {}
        finite = {k: sorted(v for v in vs if not isnan(v)) for k, vs in found.items()}
        self.medians = {k: vs[len(vs) // 2] for k, vs in finite.items()}
        own: list[float] = found.get(stated, []) if stated else []
        self.far = [n for n, v in zip(rows, own, strict=False) if v > _AGREE]

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
