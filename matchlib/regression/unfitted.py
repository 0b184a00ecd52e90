"""The error of a regression that was never fitted, as scikit-learn knows it too."""

from __future__ import annotations

from sklearn.exceptions import NotFittedError

from matchlib.errors import FitError

__all__ = ["UnfittedError"]


class UnfittedError(FitError, NotFittedError):  # type: ignore[misc]  # sklearn has no types
    """A regression that was asked before it was fitted."""

    def __init__(self) -> None:
        super().__init__(
            "This regression has not been fitted.",
            expected="a fit to readings first",
            got="a prediction before it",
            remedy="call fit, or load a fit that was kept.",
        )
