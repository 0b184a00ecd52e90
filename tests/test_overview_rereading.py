"""How far readings of one card lie apart, against draws of which it is known."""

from __future__ import annotations

import numpy as np
import pytest

from matchlib.colorimetry import delta_e00
from matchlib.domain import Ground, Panel, Reading, Recipe, Viewing
from matchlib.overview import rereading

GREY = (50.0, 0.0, 0.0)


def cards(rng: np.random.Generator, sd: float, count: int, reads: int) -> list[Panel]:
    bare = Recipe(Ground.parse("silver"))
    return [
        Panel.of(
            f"P{i}",
            bare,
            [Reading(lab=(50 + sd * rng.normal(), 0.0, 0.0)) for _ in range(reads)],
        )
        for i in range(count)
    ]


def test_the_spread_of_draws_is_found() -> None:
    # Errors of lightness alone: of three axes one, so the pooled spread is that over root three.
    # Near L* 50 ΔE00 is ΔL* (S_L is 1 there, CIE 142).
    found = rereading(cards(np.random.default_rng(1), 0.3, 300, 3))
    assert float(delta_e00((50, 0, 0), (51, 0, 0))) == pytest.approx(1, abs=0.01)
    assert found.sd == pytest.approx(0.3 / 3**0.5, rel=0.05)
    assert (found.panels, found.readings) == (300, 900)
    assert "300 cards" in found.words


def test_only_readings_taken_alike_are_compared() -> None:
    bare = Recipe(Ground.parse("silver"))
    other = [Reading(lab=GREY), Reading(viewing=Viewing("A"), lab=(60.0, 0.0, 0.0))]
    assert rereading([Panel.of("P1", bare, other)]) is None
    assert rereading([]) is None
    twice = Panel.of("P2", bare, [Reading(lab=GREY), Reading(lab=GREY)])
    assert rereading([twice]).sd == 0


def test_photographs_say_nothing_of_the_instrument() -> None:
    bare = Recipe(Ground.parse("silver"))
    seen = [Reading(Viewing(geometry="photo"), "photo", (v, 0.0, 0.0)) for v in (44.0, 50.0, 57.0)]
    assert rereading([Panel.of("P1", bare, seen)]) is None
    twice = Panel.of("P2", bare, [Reading(lab=GREY), Reading(lab=GREY)])
    assert rereading([Panel.of("P1", bare, seen), twice]) == rereading([twice])
