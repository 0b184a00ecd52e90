"""From reflectance to Lab, and what differences in Lab mean.

Everything works on arrays whose last axis is wavelength, XYZ or Lab, and is a pure function. The
numbers come from colour-science: its ASTM E308 weights are computed once by
`matchlib.colorimetry.make_tables` and kept in a small file, so that nobody waits for its import.

There is no conversion of a Lab from one illuminant or observer to another: without the spectrum
that would be a guess.
"""

from __future__ import annotations

from matchlib.colorimetry.difference import delta_e00, delta_e76, delta_e_cmc, delta_lch, lch
from matchlib.colorimetry.expected import expected_delta_e00
from matchlib.colorimetry.interpolate import interpolate_reflectance
from matchlib.colorimetry.lab import lab_to_xyz, reflectance_to_lab, reflectance_to_xyz, xyz_to_lab
from matchlib.colorimetry.metamerism import metamerism_index
from matchlib.colorimetry.screen import to_srgb
from matchlib.colorimetry.tables import GRID, weights, white_point
from matchlib.colorimetry.tolerance import Tolerance

__all__ = [
    "GRID",
    "Tolerance",
    "delta_e00",
    "delta_e76",
    "delta_e_cmc",
    "delta_lch",
    "expected_delta_e00",
    "interpolate_reflectance",
    "lab_to_xyz",
    "lch",
    "metamerism_index",
    "reflectance_to_lab",
    "reflectance_to_xyz",
    "to_srgb",
    "weights",
    "white_point",
    "xyz_to_lab",
]
