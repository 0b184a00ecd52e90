"""Hypothesis strategies for panels as an archive may hold them."""

from __future__ import annotations

import dataclasses
import datetime as dt
from fractions import Fraction

import numpy as np
from hypothesis import strategies as st

from matchlib.domain import (
    CoatSchedule,
    CoatStep,
    Colour,
    Ground,
    GunSetup,
    MixRatio,
    Panel,
    Reading,
    Recipe,
    Viewing,
)
from matchlib.readings._words import known_name

PLACEHOLDERS = {"nan", "none", "null", "n/a", "na", "-", "--", "?", "#n/a", "tbd"}

_name = (
    st.text(
        st.characters(exclude_categories=("C", "Z"), exclude_characters="+@"),
        min_size=1,
        max_size=12,
    )
    .filter(lambda t: t.strip() and t.casefold() not in PLACEHOLDERS)
    .filter(lambda t: t[0] != "'")
)
_parts = st.fractions(min_value=Fraction(1, 9), max_value=40, max_denominator=9)


def _blends(kind):
    return st.lists(
        st.tuples(_name, _parts), min_size=1, max_size=3, unique_by=lambda p: p[0].casefold()
    ).map(lambda parts: kind(tuple(parts)))


def _product(values):
    root = np.reshape(values, (3, 3))
    return tuple(map(tuple, (root @ root.T + 0.01 * np.eye(3)).tolist()))


_ratio = st.builds(
    MixRatio,
    st.fractions(0, 40, max_denominator=8),
    st.fractions(Fraction(1, 8), 5, max_denominator=8),
)
_schedule = st.lists(st.builds(CoatStep, st.integers(1, 6), _ratio), min_size=1, max_size=4).map(
    lambda steps: CoatSchedule(tuple(steps))
)
_clear = st.sampled_from([None, "yes", "satin clear", "=cmd"])
recipes = st.one_of(
    st.builds(Recipe, _blends(Ground), clear=_clear),
    st.builds(Recipe, _blends(Ground), _blends(Colour), _schedule, _clear),
)
_geometry = st.sampled_from(["45:0", "di:8", "de:8", "45as15", "45as-15", "45as110"])
viewings = st.builds(
    Viewing, st.sampled_from(["D65", "D50", "A", "LED-B3"]), st.sampled_from(["2", "10"]), _geometry
)
_sd = st.none() | st.floats(0.01, 5)
_covariance = st.lists(st.floats(0.1, 5), min_size=9, max_size=9).map(_product)
_lab = st.tuples(st.floats(0, 100), st.floats(-150, 150), st.floats(-150, 150))
_grid = st.sampled_from(
    [tuple(float(w) for w in range(400, 701, s)) for s in (10, 20)]
    + [tuple(float(w) for w in range(360, 781, 10)), (*(400.5 + 12.25 * i for i in range(25)),)]
)


_note = st.text(
    st.characters(exclude_categories=("Cc", "Cs", "Cn"), exclude_characters="\u2028\u2029\x85")
    | st.sampled_from("\n\t=+-@'\",;#"),
    max_size=20,
)


@st.composite
def readings(draw):
    viewing, source = draw(viewings), draw(st.sampled_from(["spectrophotometer", "photo"]))
    if source == "photo":
        viewing = dataclasses.replace(viewing, geometry="photo")
    more = {
        "date": draw(st.none() | st.dates(dt.date(1950, 1, 1), dt.date(2100, 1, 1))),
        "instrument": draw(_note),
        "state": draw(st.sampled_from(["", "before clear"])),
    }
    if draw(st.booleans()):
        if draw(st.booleans()):
            more["covariance"] = draw(_covariance)
        return Reading(viewing, source, draw(_lab), sd=draw(_sd), **more)
    nm = draw(_grid)
    level = draw(st.floats(0, 1.2))
    values = tuple(level * (0.5 + 0.5 * ((i * 37) % 11) / 11) for i in range(len(nm)))
    return Reading(viewing, source, None, nm, values, draw(_sd), **more)


_extra_name = st.text(
    st.characters(codec="ascii", categories=("L", "P", "S")), min_size=1, max_size=8
).filter(lambda n: known_name(n) is None and n[0] != "'" and "#" not in n)


setups = st.builds(
    GunSetup,
    _note,
    st.none() | st.floats(0.1, 5),
    st.none() | st.floats(0.1, 10),
    st.none() | st.floats(5, 800),
    st.none() | st.floats(20, 800),
    st.none() | st.floats(0, 95),
)
_lot = st.text("abc 123-/", min_size=1, max_size=6).filter(lambda t: t.strip())
lots = st.dictionaries(
    st.sampled_from(["carrier", "honey", "=cmd"]),
    _lot.map(lambda t: " ".join(t.split())),
    max_size=2,
).map(lambda d: tuple(d.items()))


@st.composite
def panels(draw, code):
    return Panel.of(
        code,
        draw(recipes),
        tuple(draw(st.lists(readings(), max_size=3))),
        date=draw(st.none() | st.dates(dt.date(1950, 1, 1), dt.date(2100, 1, 1))),
        sprayer=draw(_note),
        lot=draw(_note),
        note=draw(_note),
        customer=draw(_note),
        temperature=draw(st.none() | st.floats(-20, 70)),
        humidity=draw(st.none() | st.floats(0, 100)),
        setup=draw(setups),
        lots=draw(lots),
        drawer=draw(_note),
        extra=tuple(draw(st.dictionaries(_extra_name, _note, max_size=2)).items()),
    )


@st.composite
def archives(draw, max_size=4):
    codes = draw(st.lists(_name, min_size=1, max_size=max_size, unique_by=str.casefold))
    return tuple(draw(panels(code)) for code in codes if not code.casefold().startswith("tile:"))
