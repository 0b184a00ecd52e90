"""The cards of a library in order, beside a colour, beside their twins; and the first of a shop."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from matchlib.colorimetry import delta_e00
from matchlib.demo import demo_panels
from matchlib.domain import Colour, Ground, Panel, Reading, Recipe, Viewing
from matchlib.lessons import first_four
from matchlib.overview import (
    ORDERS,
    arranged,
    card_lab,
    coverage,
    nearest,
    panel_lab,
    sprayed_twice,
)


def card(code: str, *labs: tuple[float, float, float], ground: str = "silver", **more: object):
    readings = [Reading(Viewing(), "spectrophotometer", lab) for lab in labs]
    return Panel.of(code, Recipe(Ground.parse(ground)), readings, **more)  # type: ignore[arg-type]


def test_every_order_holds_every_card_once() -> None:
    panels = (*demo_panels(), card("never read"))
    for by in ORDERS:
        found = arranged(panels, by)
        assert sorted(p.code for p, _ in found) == sorted(p.code for p in panels)
    assert arranged(panels, "hue")[-1][0].code == "never read"


def test_orders_by_value() -> None:
    red, green, blue = (50, 60, 5), (50, -40, 40), (40, 0, -50)
    panels = [
        card("grey", (50, 1, 1), date=dt.date(2024, 5, 1)),
        card("blue", blue, customer="Zora", date=dt.date(2024, 3, 1)),
        card("green", green, customer="anna"),
        card("red", red, date=dt.date(2024, 4, 1)),
        card("dark", (5, 0.5, 0)),
    ]
    by_order = {by: [p.code for p, _ in arranged(panels, by)] for by in ORDERS}
    assert by_order["hue"] == ["red", "green", "blue", "grey", "dark"]
    assert by_order["lightness"][-1] == "dark"
    assert by_order["date"] == ["grey", "red", "blue", "green", "dark"]
    assert by_order["customer"][:2] == ["green", "blue"]


def test_a_card_is_known_by_its_instrument_face_on_and_as_it_is_now() -> None:
    def at(geometry: str, source: str, light: float) -> Reading:
        return Reading(Viewing(geometry=geometry), source, (light, 0.0, 0.0))

    first = Panel.of("P", Recipe(Ground.parse("silver")), [at("45as15", "spectrophotometer", 90.0)])
    assert card_lab(first) == (90.0, 0.0, 0.0)
    both = first.having(
        readings=(
            *first.readings,
            at("photo", "photo", 10.0),
            at("45:0", "spectrophotometer", 50.0),
            at("45:0", "spectrophotometer", 52.0),
        )
    )
    assert card_lab(both) == (51.0, 0.0, 0.0)
    cleared = both.built_on(Recipe(Ground.parse("silver"), clear="yes"))
    assert card_lab(cleared) == (51.0, 0.0, 0.0), "as long as the new stage was not read"
    read = cleared.having(readings=(at("photo", "photo", 47.0),))
    assert card_lab(read) == (47.0, 0.0, 0.0)


def test_a_card_is_known_by_one_viewing_and_beside_cards_read_alike() -> None:
    def read(lab: float, geometry: str, light: str = "D65") -> Reading:
        return Reading(Viewing(light, geometry=geometry), lab=(lab, 0.0, 0.0))

    face, flop, flat = read(60.0, "45as15"), read(20.0, "45as110"), read(50.0, "45:0")
    silver = Recipe(Ground.parse("silver"))
    assert card_lab(Panel.of("A", silver, [face, flop])) == (60.0, 0.0, 0.0)
    assert card_lab(Panel.of("A", silver, [flat, read(58.0, "di:8")])) == (50.0, 0.0, 0.0)
    spectrum = {
        "wavelengths": tuple(range(400, 701, 10)),
        "reflectance": tuple(np.linspace(0, 1, 31)),
    }
    one, two = (Reading(Viewing(light), **spectrum) for light in ("A", "D65"))
    assert card_lab(Panel.of("S", silver, [one])) == card_lab(Panel.of("S", silver, [two]))
    twins = [Panel.of("A", silver, [face, flat]), Panel.of("B", silver, [face])]
    assert sprayed_twice(twins) == ()
    ((_, cards, apart),) = sprayed_twice([*twins, Panel.of("C", silver, [read(51.0, "45:0")])])
    assert ([p.code for p, _ in cards], round(apart, 1)) == (["A", "C"], 1.0)


@settings(max_examples=20)
@given(st.tuples(st.floats(0, 100), st.floats(-80, 80), st.floats(-80, 80)))
def test_the_nearest_is_no_further_than_any_other(lab: tuple[float, float, float]) -> None:
    panels = demo_panels()[:12]
    found = nearest(panels, lab)
    away = [d for *_, d in found]
    assert away == sorted(away)
    every = [float(delta_e00(np.array(lab), np.array(card_lab(p)))) for p in panels]
    assert away[0] == pytest.approx(min(every))


def test_twins_stand_beside_one_another_the_furthest_apart_first() -> None:
    found = sprayed_twice(demo_panels())
    assert len(found) > 2
    for recipe, cards, apart in found:
        assert {p.recipe for p, _ in cards} == {recipe}
        labs = [np.array(lab) for _, lab in cards]
        assert apart == pytest.approx(max(float(delta_e00(a, b)) for a in labs for b in labs))
    assert [f[2] for f in found] == sorted((f[2] for f in found), reverse=True)


def test_the_first_four_stand_on_the_lightest_the_darkest_and_one_between() -> None:
    colour = Colour.parse("cherry")
    bare = [
        card("W", (90, 0, 0), ground="white"),
        card("S", (60, 0, 0), ground="silver"),
        card("B", (10, 0, 0), ground="black"),
    ]
    cards = first_four(bare, colour)
    grounds = [str(c.recipe.ground) for c in cards]
    assert grounds == ["white", "white", "silver", "black"]
    assert [str(c.recipe.schedule) for c in cards] == ["2@6:1", "4@3:1", "3@6:1", "3@4:1"]
    assert all(not c.done for c in cards)
    done = Panel.of("C1", cards[0].recipe)
    assert first_four([*bare, done], colour)[0].done == ("C1",)
    alone = first_four(bare[:1], colour)
    assert len({c.recipe for c in alone}) == 4
    assert not any("another" in c.teaches or "darkest" in c.teaches for c in alone)
    assert "another" in cards[2].teaches
    assert "darkest" in cards[3].teaches
    assert first_four([], colour) == ()


def test_a_card_is_known_by_what_it_reads_under_its_clear_coat() -> None:
    early = Reading(lab=(40.0, 30.0, 10.0), state="before clear")
    done = Reading(lab=(36.0, 33.0, 12.0))
    recipe = Recipe.of("silver", "cherry", "3@6:1", "yes")
    both, uncleared = Panel.of("C1", recipe, (early, done)), Panel.of("C2", recipe, (early,))
    for panel, lab, on_it in (
        (both, done.lab, recipe),
        (uncleared, early.lab, Recipe.of("silver", "cherry", "3@6:1")),
    ):
        assert card_lab(panel) == panel_lab(panel, Viewing()) == lab
        assert panel.read_as == on_it
    # A card before its clear coat is no twin of one under it.
    assert sprayed_twice([both, uncleared]) == ()


def test_a_band_of_strength_holds_its_own_end() -> None:
    panels = [Panel.of(f"C{n}", Recipe.of("silver", "cherry", f"{n}@9:1")) for n in (3, 5, 7, 10)]
    assert coverage(panels).by_strength().tolist() == [[0, 1, 1, 1, 1, 0]]
