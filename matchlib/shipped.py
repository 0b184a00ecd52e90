"""Arrays that come with the program, made by `matchlib.colorimetry.make_tables`."""

from __future__ import annotations

from functools import cache
from importlib.resources import files

import numpy as np
from numpy.typing import NDArray

__all__ = ["table"]


@cache
def table(name: str) -> NDArray[np.float64]:
    """Return an array of the shipped file."""
    with (
        (files("matchlib") / "data" / "tables.npz").open("rb") as file,
        np.load(file, allow_pickle=False) as kept,
    ):
        values = np.asarray(kept[name], dtype=np.float64)
    values.setflags(write=False)
    return values
