"""A fit kept in a file: arrays and plain words, nothing that could run.

The file is numpy's ``.npz`` read with pickles refused, its words in JSON; damage is noticed by the
checksums of the zip that it is. It names the archive content it was fitted to and the versions of
the libraries that made it; whoever loads it compares and decides.
"""

from __future__ import annotations

import os
import platform
from dataclasses import fields
from importlib import metadata
from typing import Any

import numpy as np
from numpy.typing import NDArray

from matchlib.atomic import written_whole
from matchlib.domain import Conditions
from matchlib.errors import FileError
from matchlib.plain import dump, from_plain, load, to_plain
from matchlib.regression.law import FilmLaw
from matchlib.regression.library import Process
from matchlib.regression.predictor import FilmPredictor
from matchlib.regression.priors import Priors
from matchlib.regression.reach import Experience
from matchlib.regression.sizes import Sizes
from matchlib.regression.solve import FittedLaw
from matchlib.regression.stacking import Stack
from matchlib.regression.vocabulary import Vocabulary

__all__ = ["FIT_FORMAT", "library_versions", "load_fit", "save_fit"]

FIT_FORMAT = 18
"""Number of the file's layout; a fit of another layout is fitted anew."""

_LIMIT = 512 * 1024 * 1024


def library_versions() -> dict[str, str]:
    """Return the versions a fit depends on.

    Returns
    -------
    dict
        Library name to version.

    Examples
    --------
    >>> sorted(library_versions())[:2]
    ['candy-panel-workbook', 'numpy']
    """
    names = ("numpy", "scipy", "scikit-learn", "candy-panel-workbook")
    found = {"python": platform.python_version()}
    for name in names:
        try:
            found[name] = metadata.version(name)
        except metadata.PackageNotFoundError:
            found[name] = "unknown"
    return found


def save_fit(path: str | os.PathLike[str], model: FilmPredictor, content_hash: str) -> None:
    """Write a fitted model, whole or not at all.

    Parameters
    ----------
    path : path-like
        File to write; replaced in one step.
    model : FilmPredictor
        Fitted.
    content_hash : str
        Hash of the archive's content that it was fitted to.

    Raises
    ------
    FileError
        If the file cannot be written.

    Examples
    --------
    >>> from tempfile import TemporaryDirectory
    >>> from matchlib.demo import demo_model
    >>> with TemporaryDirectory() as folder:
    ...     save_fit(f"{folder}/fit.npz", demo_model(), content_hash="as it was")
    ...     kept = load_fit(f"{folder}/fit.npz")
    >>> kept.archive_hash_
    'as it was'
    """
    fit = model.fitted_
    arrays: dict[str, NDArray[Any]] = {
        "z": fit.z,
        "covariance": fit.covariance,
        "trust": fit.trust,
        "panels": np.array(list(model.trust_), np.str_),
        "spectral": model.spectral_,
    }
    parts: dict[str, Any] = {
        "sizes": fit.sizes,
        "stack": model.stack_,
        "experience": model.experience_,
        "library": model.library_,
    }
    for name, part in parts.items():
        if part is not None:
            arrays |= {f"{name} {f.name}": getattr(part, f.name) for f in fields(part)}
    words = {
        "format": FIT_FORMAT,
        "content_hash": content_hash,
        "versions": library_versions(),
        "vocabulary": to_plain(fit.law.words),
        "priors": to_plain(fit.law.priors),
        "conditions": to_plain(model.conditions_),
        "reading_noise": model.reading_noise_,
        "unusual": [[*name, why] for name, why in model.unusual_.items()],
        "photographed": model.photographed_,
    }
    arrays["words"] = np.array(dump(words))
    with written_whole(path) as file:
        np.savez(file, allow_pickle=False, **arrays)


def load_fit(path: str | os.PathLike[str]) -> FilmPredictor:
    """Read a fitted model.

    Parameters
    ----------
    path : path-like
        A file of `save_fit`.

    Returns
    -------
    FilmPredictor
        Fitted, with `archive_hash_` and `versions_` telling what it rests on.

    Raises
    ------
    FileError
        If the file is missing, damaged, or of another layout.

    Examples
    --------
    >>> from tempfile import TemporaryDirectory
    >>> from matchlib import Recipe
    >>> from matchlib.demo import demo_model
    >>> with TemporaryDirectory() as folder:
    ...     save_fit(f"{folder}/fit.npz", demo_model(), content_hash="")
    ...     model = load_fit(f"{folder}/fit.npz")
    >>> model.predict_recipes([Recipe.of("silver", clear="yes")])[0, 0].round()
    np.float64(60.0)
    """
    try:
        if os.path.getsize(path) > _LIMIT:
            raise ValueError("too large")
        with np.load(path, allow_pickle=False) as stored:
            # numpy reads as much as an array's own head says, and no checksum if that is less.
            if spoiled := stored.zip.testzip():
                raise ValueError(f"{spoiled} is spoiled")
            arrays = {k: stored[k] for k in stored.files}
        words = load(str(arrays["words"]))
        if words["format"] != FIT_FORMAT:
            raise ValueError(f"layout {words['format']}, not {FIT_FORMAT}")
        return _rebuilt(arrays, words)
    except Exception as error:  # a spoiled byte may be anything to zip, numpy or JSON
        raise FileError(
            "This is not a fit that can be used.",
            expected=f"a fit file of layout {FIT_FORMAT}",
            got=str(error)[:200],
            remedy="fit the archive again; the file is only a copy of that work.",
            where=str(path),
        ) from None


def _rebuilt(arrays: dict[str, NDArray[Any]], words: dict[str, Any]) -> FilmPredictor:
    law = FilmLaw(from_plain(Vocabulary, words["vocabulary"]), from_plain(Priors, words["priors"]))
    if arrays["z"].shape != (law.size,) or arrays["covariance"].shape != (law.size, law.size):
        raise ValueError("its arrays do not fit its names")

    def part(kind: Any, name: str) -> Any:
        return kind(**{f.name: arrays[f"{name} {f.name}"] for f in fields(kind)})

    model = FilmPredictor()
    sizes = part(Sizes, "sizes")
    model.fitted_ = FittedLaw(law, arrays["z"], arrays["covariance"], sizes, arrays["trust"])
    model.stack_ = part(Stack, "stack")
    model.experience_ = part(Experience, "experience")
    model.library_ = part(Process, "library") if "library known" in arrays else None
    model.conditions_ = from_plain(Conditions, words["conditions"])
    model.trust_ = dict(zip(arrays["panels"].tolist(), arrays["trust"].tolist(), strict=True))
    model.spectral_ = arrays["spectral"]
    model.reading_noise_ = words["reading_noise"]
    model.unusual_ = {(kind, name): why for kind, name, why in words["unusual"]}
    model.photographed_ = words["photographed"]
    model.archive_hash_ = words["content_hash"]
    model.versions_ = words["versions"]
    return model
