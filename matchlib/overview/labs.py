"""What a panel reads under one viewing."""

from __future__ import annotations

import numpy as np

from matchlib.domain import Lab, Panel, Viewing, three
from matchlib.linear import lab_under

__all__ = ["panel_lab"]


def panel_lab(panel: Panel, viewing: Viewing) -> Lab | None:
    """Return the mean of a panel's readings under a viewing.

    Parameters
    ----------
    panel : Panel
        With its readings.
    viewing : Viewing
        Wanted.

    Returns
    -------
    tuple of 3 float or None
        CIELAB, under its clear coat where it was read so; spectra are worked out for the light
        wanted, Lab readings count only where they were taken under it; photographs never count.
        None where no reading serves.

    Examples
    --------
    >>> from matchlib import Viewing
    >>> from matchlib.demo import demo_panels
    >>> panel_lab(demo_panels()[0], Viewing(geometry="45as15")) is None
    True
    """
    read = (lab_under(r, viewing) for r in panel.seen if r.source != "photo")
    labs = [lab for lab in read if lab is not None]
    return three(np.mean(labs, axis=0)) if labs else None
