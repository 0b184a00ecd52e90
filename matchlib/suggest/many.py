"""Many targets at once: a fleet, a season's samples, the same order in twenty colours.

The work is handed to joblib, so that it runs on this machine's cores, or, inside
``joblib.parallel_config("dask")``, on a Dask cluster, with no other code.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from joblib import Parallel, delayed

from matchlib.domain import Panel, Recipe
from matchlib.mixing import Limits
from matchlib.regression import FilmPredictor
from matchlib.suggest.result import Suggestions
from matchlib.suggest.search import suggest
from matchlib.suggest.words import believed
from matchlib.target import Target

__all__ = ["suggest_many"]


def suggest_many(
    model: FilmPredictor,
    targets: Sequence[Target],
    limits: Limits | None = None,
    *,
    top: int = 5,
    archive: Iterable[Recipe | Panel] = (),
    n_jobs: int | None = None,
) -> list[Suggestions]:
    """Suggest recipes for each of many targets."""
    # Recipes alone travel to the workers: they need no readings.
    past = believed(model, archive)
    work = delayed(suggest)
    found: list[Suggestions] = Parallel(n_jobs=n_jobs)(
        work(model, target, limits, top=top, archive=past) for target in targets
    )
    return found
