"""Make the shipped tables, ``python -m matchlib.colorimetry.make_tables``.

They are the weights of ASTM E308, the spectra of an average chart of 24 patches, and the points and
quantiles by which a match counts its chances.

Feeding the identity matrix through colour-science's ASTM E308 method gives its weights exactly.
The spectra of the lights are brought to 1 nm first, as CIE 15:2018 defines each: illuminant A by
its formula, D65 and D50 by straight lines between the tabulated 5 nm, and the lamps, whose 5 nm
tables have narrow peaks, by Sprague's polynomial (CIE 167:2005). Straight lines there would lower
the peaks.
"""

from __future__ import annotations

import warnings
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from matchlib.colorimetry.tables import GRID
from matchlib.domain.reading import ILLUMINANTS, OBSERVERS
from matchlib.tails import SHIPPED_CLOUDS, SHIPPED_RANKS, far_out, freedoms, made_cloud, region

__all__ = ["NORMAL_POINTS", "OBSERVER_NAMES", "PLACE", "illuminant", "make_tables", "observer"]

PLACE = Path(__file__).resolve().parents[1] / "data" / "tables.npz"
NORMAL_POINTS = 1024
_RANGE = 360, 780
_NAMES = {"F2": "FL2", "F11": "FL11"}
OBSERVER_NAMES = {
    "2": "CIE 1931 2 Degree Standard Observer",
    "10": "CIE 1964 10 Degree Standard Observer",
}


def _colour() -> Any:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it says that no plotting library is there
        import colour
    return colour


def illuminant(name: str) -> Any:
    """Return the spectrum of a light every 1 nm."""
    colour = _colour()
    shape = colour.SpectralShape(*_RANGE, 1)
    if name == "A":
        return colour.sd_CIE_standard_illuminant_A(shape)
    known = colour.SDS_ILLUMINANTS[_NAMES.get(name, name)]
    nm = shape.wavelengths
    if name in ("D65", "D50"):
        values = np.interp(nm, known.wavelengths, known.values)
    else:
        values = np.zeros(nm.size)
        inside = nm >= known.wavelengths[0]
        values[inside] = colour.SpragueInterpolator(known.wavelengths, known.values)(nm[inside])
    return colour.SpectralDistribution(values, nm, name=name)


def observer(name: str) -> Any:
    """Return colour matching functions."""
    colour = _colour()
    full = colour.MSDS_CMFS[OBSERVER_NAMES[name]]
    # Trimmed here, since colour-science else stretches the light to the longer range first.
    return full.copy().trim(colour.SpectralShape(*_RANGE, 1))


def make_tables() -> dict[str, NDArray[np.float64]]:
    """Compute what the file holds."""
    from scipy.special import ndtri
    from scipy.stats import qmc

    colour = _colour()
    tables = {}
    for light in ILLUMINANTS:
        for field in OBSERVERS:
            unit = colour.MultiSpectralDistributions(np.eye(GRID.size), GRID)
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")  # it says that 400 to 700 nm are not all there is
                xyz = colour.msds_to_XYZ(
                    unit, cmfs=observer(field), illuminant=illuminant(light), method="ASTM E308"
                )
            tables[f"{light}/{field}"] = np.asarray(xyz, dtype=np.float64)
    chart = colour.SDS_COLOURCHECKERS["BabelColor Average"]
    tables["chart"] = np.stack(
        [s.copy().align(colour.SpectralShape(400, 700, 10)).values for s in chart.values()]
    )
    cube = qmc.Sobol(3, scramble=False).random(NORMAL_POINTS)
    # Unscrambled Sobol points start in the corner; half a cell inwards keeps them finite.
    tables["normal"] = ndtri(cube + 0.5 / NORMAL_POINTS)
    tables |= {f"cloud/{points}": made_cloud(points, 3) for points in SHIPPED_CLOUDS}
    tables |= {f"far out/{ranks}": far_out(ranks, 3) for ranks in SHIPPED_RANKS}
    far = [region(0.99, freedoms(), dimension=d) for d in range(1, 31)]
    tables["ninety-nine"] = np.stack(far, axis=1)
    return tables


if __name__ == "__main__":
    PLACE.parent.mkdir(exist_ok=True)
    np.savez_compressed(PLACE, allow_pickle=False, **make_tables())
