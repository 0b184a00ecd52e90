"""Panels of every kind from a seed, and a process without rights, for what tries faults."""

from __future__ import annotations

import ctypes
import datetime as dt
import os
import random
from dataclasses import replace
from pathlib import Path

from matchlib.domain import (
    CoatSchedule,
    CoatStep,
    Colour,
    Ground,
    LoggedCoat,
    MixRatio,
    Panel,
    Reading,
    Recipe,
    Viewing,
)

__all__ = ["become_nobody", "lent", "panel", "panels", "seeded"]

_NOBODY = 65534
# linux/prctl.h and linux/capability.h
_KEEPCAPS, _CAP_AMBIENT, _RAISE = 8, 47, 2
_READ_SEARCH, _CAPABILITY_VERSION = 2, 0x20080522
_GROUNDS = ("silver", "fine silver", "Goldfish", "graphite", "silver 3 + black 1", "white 10 + x 1")
_COLOURS = ("teal", "Violet", "amber", "teal 2 + violet 1", "amber 1.5 + teal 0.25")
_RATIOS = ("6:1", "3:1", "8:1", "2.5:1", "10:3", "1:2", "12.125:1")


def seeded(seed: object) -> random.Random:
    """Return a generator that gives the same draws for the same seed."""
    return random.Random(repr(seed))  # noqa: S311  # test data, no secrets


def become_nobody() -> None:
    """Give up root's rights in this process, where it has them, but that to read (capabilities(7)).

    The interpreter itself may lie where only root can look.
    """
    if os.geteuid() != 0:
        return
    kernel = ctypes.CDLL(None)
    kernel.prctl(_KEEPCAPS, 1, 0, 0, 0)
    os.setgroups([])
    os.setgid(_NOBODY)
    os.setuid(_NOBODY)
    rights = (ctypes.c_uint32 * 6)(*[1 << _READ_SEARCH] * 3)  # effective, permitted, inheritable
    kernel.capset((ctypes.c_uint32 * 2)(_CAPABILITY_VERSION, 0), rights)
    kernel.prctl(
        _CAP_AMBIENT, _RAISE, _READ_SEARCH, 0, 0
    )  # of the processes that it starts as well


def lent(folder: Path) -> None:
    """Give a folder, and what is in it, to whom `become_nobody` makes of this process."""
    if os.geteuid() == 0:
        for place in (folder, *folder.rglob("*")):
            os.chown(place, _NOBODY, _NOBODY, follow_symlinks=False)


def panel(seed: object, code: str, *, repeats: int | None = None, plain: bool = False) -> Panel:
    """Return a panel of every kind that there is, the same for the same seed.

    A plain one has one stage, one colour and readings without a date or state of their own, as
    all had in archives of earlier versions.
    """
    rng = seeded((seed, code))
    bare = rng.random() < 0.1
    steps = tuple(_step(rng) for _ in range(rng.randint(1, 2)))
    if not plain and rng.random() < 0.2:
        steps += (
            CoatStep(1, MixRatio.parse("8:1"), Colour.parse("rose"), rng.choice([None, "mid"])),
        )
    recipe = Recipe(
        Ground.parse(rng.choice(_GROUNDS)),
        None if bare else Colour.parse(rng.choice(_COLOURS)),
        None if bare else CoatSchedule(steps),
        rng.choice([None, "yes", "high-solid clear"]),
    )
    count = rng.randint(1, 3) if repeats is None else repeats
    made = Panel.of(
        code,
        recipe,
        tuple(_reading(rng) for _ in range(count)),
        date=rng.choice([None, dt.date(2021, 1, 1) + dt.timedelta(days=rng.randint(0, 2000))]),
        sprayer=rng.choice(["", "Ines", "Bo"]),
        lot=rng.choice(["", "L-7"]),
        note=rng.choice(["", "a run; sanded", "=1+1", "„Größe“ ✓"]),
        customer=rng.choice(["", "Customer Seven"]),
        temperature=rng.choice([None, 21.3]),
        humidity=rng.choice([None, 0.1 + 0.2]),
        extra=rng.choice([(), (("hose", "8 mm"), ("shelf", "2"))]),
    )
    return made if plain else _life(made, rng)


def panels(seed: object, count: int, *, name: str = "P", plain: bool = False) -> tuple[Panel, ...]:
    """Return several panels, the same for the same seed."""
    return tuple(panel(seed, f"{name}{i}", plain=plain) for i in range(count))


def _life(panel: Panel, rng: random.Random) -> Panel:
    """The panel with what happened to it: states and days of its readings, a stage more, a log."""
    states = ["", "before clear", *(["cleared", "polished", "aged"] * bool(panel.recipe.clear))]
    readings = tuple(
        replace(
            r,
            state=rng.choice(states),
            instrument=rng.choice(["", "the blue one"]),
            date=rng.choice([None, dt.date(2027, 3, 1)]),
        )
        for r in panel.readings
    )
    panel = panel.having(readings=readings, batch=rng.choice(["", "G-12"]))
    schedule = panel.recipe.schedule
    if schedule is None or rng.random() < 0.6:
        return panel
    own = CoatStep(1, MixRatio.parse("10:1"), schedule.steps[-1].colour)
    longer = replace(panel.recipe, schedule=CoatSchedule((*schedule.steps, own)), clear="yes")
    when = dt.datetime(2027, 3, 2, 9, 30)  # a shop's own clock
    entry = LoggedCoat(
        schedule.coats + 1,
        rng.choice([None, when]),
        MixRatio.parse("10:1"),
        "Bo",
        "L-8",
        21.5,
        40.0,
    )
    return panel.built_on(
        longer,
        readings=(_reading(rng),) * rng.randint(0, 2),
        date=dt.date(2027, 3, 2),
        sprayer=rng.choice(["", "Bo"]),
        log=rng.choice([(), (entry,)]),
    )


def _step(rng: random.Random) -> CoatStep:
    return CoatStep(rng.randint(1, 4), MixRatio.parse(rng.choice(_RATIOS)))


def _reading(rng: random.Random) -> Reading:
    sd = rng.choice([None, 0.1 + 0.2])
    if rng.random() < 0.4:
        step = rng.choice([10, 20])
        wavelengths = tuple(float(w) for w in range(400, 701, step))
        values = tuple(rng.random() for _ in wavelengths)
        viewing = Viewing(geometry=rng.choice(["45:0", "de:8"]))
        return Reading(viewing, wavelengths=wavelengths, reflectance=values, sd=sd)
    geometry = rng.choice(["45:0", "di:8", "45as15"])
    viewing = Viewing(rng.choice(["D65", "D50"]), rng.choice(["2", "10"]), geometry)
    lab = (rng.uniform(0, 100), rng.uniform(-90, 90), rng.uniform(-90, 90))
    return Reading(viewing, rng.choice(["spectrophotometer", "photo"]), lab=lab, sd=sd)
