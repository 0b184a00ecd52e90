"""The film regression: readings of panels in, predictions with honest uncertainty out.

`FilmRegressor` rests on scikit-learn, which is slow to load; it is loaded when first asked
for, so that a fit that was kept can be used without it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from matchlib.regression.frames import frames_of
from matchlib.regression.prediction import Prediction
from matchlib.regression.predictor import FilmPredictor
from matchlib.regression.priors import Priors
from matchlib.regression.report import FitReport
from matchlib.regression.saved import library_versions, load_fit, save_fit
from matchlib.regression.unusual import unusual_words

if TYPE_CHECKING:
    from matchlib.regression.estimator import FilmRegressor

__all__ = [
    "FilmPredictor",
    "FilmRegressor",
    "FitReport",
    "Prediction",
    "Priors",
    "frames_of",
    "library_versions",
    "load_fit",
    "save_fit",
    "unusual_words",
]


def __getattr__(name: str) -> Any:
    if name == "FilmRegressor":
        from matchlib.regression.estimator import FilmRegressor

        return FilmRegressor
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
