"""A small simulated shop whose panels were read at face and flop, kept once as a fitted archive."""

from __future__ import annotations

import atexit
import shutil
import tempfile
from functools import cache
from pathlib import Path

import numpy as np

from matchlib.archive import Archive
from matchlib.domain import CoatSchedule, Panel, Reading, Recipe, Viewing
from matchlib.regression import FilmPredictor
from tests.benchmarks.spray import Shop
from workbook.session import Session

__all__ = [
    "FACE",
    "FLOP",
    "aimed_at",
    "angle_archive",
    "angle_model",
    "angle_panels",
    "angle_shop",
    "recipe_at",
]

FACE, FLOP = Viewing(geometry="45as15"), Viewing(geometry="45as110")
_GEOMETRIES = (FACE.geometry, FLOP.geometry)


@cache
def angle_shop() -> Shop:
    return Shop(13, n_grounds=2, n_colours=1)


def recipe_at(schedule: str, ground: int = 0) -> Recipe:
    """A recipe of this shop."""
    shop = angle_shop()
    return Recipe(shop.grounds[ground], shop.colours[0], CoatSchedule.parse(schedule), "yes")


@cache
def angle_panels() -> tuple[Panel, ...]:
    shop, rng = angle_shop(), np.random.default_rng(13)
    schedules = ("2@6:1", "3@6:1", "4@6:1", "3@4:1", "4@3:1", "5@6:1")
    recipes = [*shop.bare(), *(recipe_at(s, g) for g in (0, 1) for s in schedules)]
    return tuple(
        shop.spray(r, rng, geometries=_GEOMETRIES, code=f"M{i}") for i, r in enumerate(recipes)
    )


def aimed_at(schedule: str, ground: int = 0) -> tuple[Reading, Reading]:
    """What the noise-free panel of a recipe reads at face and flop."""
    what, shop = recipe_at(schedule, ground), angle_shop()
    labs = [tuple(float(v) for v in shop.truth_lab(what, g)) for g in _GEOMETRIES]
    face, flop = (
        Reading(view, "spectrophotometer", lab)
        for view, lab in zip((FACE, FLOP), labs, strict=True)
    )
    return face, flop


@cache
def _kept() -> Path:
    room = tempfile.mkdtemp(prefix="angles-")
    atexit.register(shutil.rmtree, room, ignore_errors=True)
    file = Path(room, "panels.db")
    with Archive.open(file, create=True) as archive:
        archive.add(angle_panels())
    with Session.open(file) as session:
        session.fit()
    return file


def angle_archive(room: Path) -> Path:
    """A copy of the fitted archive that may be changed."""
    for file in _kept().parent.glob("panels.db*"):
        shutil.copy(file, room / file.name)
    return room / "panels.db"


@cache
def angle_model() -> FilmPredictor:
    """The kept fit of this archive; not to be changed."""
    with Session.open(_kept(), write=False) as session:
        return session.model
