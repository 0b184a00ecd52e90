"""The film regression: readings of panels in, predictions with honest uncertainty out."""

from __future__ import annotations

from matchlib.regression.estimator import FilmRegressor
from matchlib.regression.frames import frames_of
from matchlib.regression.law import FilmLaw
from matchlib.regression.priors import Priors
from matchlib.regression.saved import library_versions, load_fit, save_fit
from matchlib.regression.solve import FittedLaw

__all__ = [
    "FilmLaw",
    "FilmRegressor",
    "FittedLaw",
    "Priors",
    "frames_of",
    "library_versions",
    "load_fit",
    "save_fit",
]
