"""The model of an archive: fitted once, kept in a file, fitted anew when the archive changed.

The file lies beside the archive; for an archive on a server, or in a folder that cannot be
written, it lies in the user's cache folder. It counts only if it was made from exactly this
content by exactly these library versions, so an old one can never answer for a new archive.
"""

from __future__ import annotations

import contextlib
import hashlib
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING

from matchlib.atomic import sweep
from matchlib.errors import MatchlibError

if TYPE_CHECKING:
    from matchlib.archive import Archive
    from matchlib.progress import Callback
    from matchlib.regression import FilmPredictor

__all__ = ["FitOutcome", "model_of"]

_WORDS = {
    "kept": "The model fitted before still holds.",
    "new": "The model was fitted.",
    "changed": "The archive has changed since the last fit, so the model was fitted anew.",
    "versions": "The libraries have changed since the last fit, so the model was fitted anew.",
    "asked": "The model was fitted anew.",
    "damaged": "The kept fit could not be used, so the model was fitted anew.",
}


_WHOLE, _TRIED = ".fit.npz", ".tried.fit.npz"
"""Endings of the files: the archive's own fit, and the last one without some panels."""


@dataclass(frozen=True, slots=True)
class FitOutcome:
    """A fitted model and how it came about.

    `how`: ``kept``, ``new``, ``changed``, ``versions``, ``asked`` or ``damaged``. `file`: where it
    is kept; None if nowhere could be written.
    """

    model: FilmPredictor
    how: str
    file: Path | None

    @property
    def fitted(self) -> bool:
        """Whether it was fitted just now."""
        return self.how != "kept"

    @property
    def text(self) -> str:
        """How it came about, in one sentence."""
        return _WORDS[self.how]


def model_of(
    archive: Archive,
    *,
    refit: bool = False,
    without: Collection[str] = (),
    callback: Callback | None = None,
) -> FitOutcome:
    """Load the archive's model, or fit and keep it."""
    from matchlib.regression import load_fit

    if archive.database.path is not None:
        sweep(archive.database.path.parent)
    content = archive.content_hash(without=without)
    how = "asked" if refit else "new"
    ending = _TRIED if without else _WHOLE
    places = chain(_places(archive, ending), _places(archive, _WHOLE) if without else ())
    for place in () if refit else places:
        if not place.is_file():
            continue
        try:
            model = load_fit(place)
        except MatchlibError:
            how = "damaged"
            continue
        why = _stale(model, content)
        if why is None:
            return FitOutcome(model, "kept", place)
        how = why
        if not without:
            break
    # Only fitting needs what the regressor loads, and that is slow.
    from matchlib.regression import FilmRegressor, frames_of

    panels = [p for p in archive.panels() if p.code not in without]
    model = FilmRegressor().fit(*frames_of(panels), callback=callback)
    return FitOutcome(model, how, _keep(model, _places(archive, ending), content))


def _stale(model: FilmPredictor, content: str) -> str | None:
    from matchlib.regression import library_versions

    if model.archive_hash_ != content:
        return "changed"
    return None if model.versions_ == library_versions() else "versions"


def _keep(model: FilmPredictor, places: Iterable[Path], content: str) -> Path | None:
    from matchlib.regression import save_fit

    for place in places:
        # A fit that cannot be kept is still a fit; the next run only takes longer.
        with contextlib.suppress(MatchlibError, OSError):
            place.parent.mkdir(parents=True, exist_ok=True)
            save_fit(place, model, content)
            return place
    return None


def _places(archive: Archive, ending: str) -> Iterator[Path]:
    path = archive.database.path
    if path is not None:
        yield path.with_name(f"{path.name}{ending}")
    import platformdirs

    name = hashlib.sha256(
        (archive.label if path is None else str(path.resolve())).encode()
    ).hexdigest()[:32]
    yield Path(platformdirs.user_cache_dir("candy-panel-workbook")) / f"{name}{ending}"
