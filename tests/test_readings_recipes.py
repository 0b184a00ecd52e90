"""Recipes without readings, and targets without recipes, from a table."""

from __future__ import annotations

import datetime as dt

import pytest

from matchlib.domain import CoatSchedule, Conditions, Viewing
from matchlib.errors import FileError, ImportRefused, MatchlibError, TargetError
from matchlib.readings import (
    read_recipes,
    read_target,
)


def test_recipes_without_readings_in_file_order(table):
    rows = read_recipes(
        table("Colour,ground,ratio,coats,panel\nred,gold,6:1,4,B\n,silver,,,\nteal,gold,3:1,2,A\n")
    )
    assert [(r.row, r.panel) for r in rows] == [(2, "B"), (3, None), (4, "A")]
    assert rows[0].recipe.schedule == CoatSchedule.parse("4@6:1")
    assert rows[1].recipe.bare
    assert rows[0].viewing == Viewing()


def test_a_day_that_no_recipe_needs_is_not_asked_about(table):
    path = table("panel,ground,colour,schedule,date\nA,silver,red,4@6:1,3/4/2025\n")
    assert [r.panel for r in read_recipes(path)] == ["A"]


def test_one_wrong_recipe_refuses_the_table(table):
    with pytest.raises(ImportRefused, match="do not suit") as caught:
        read_recipes(
            table("ground,colour,schedule,ratio\ngold,red,4@6:1,3:1\ngold,red,4@6:1,6:1\n")
        )
    assert [r.row for r in caught.value.report.refused] == [2]
    assert "--keep-good" not in str(caught.value)


def test_a_target_needs_no_recipe(table):
    assert [r.lab for r in read_target(table("L,a,b\n40,1,2\n41,1,2\n"))] == [
        (40, 1, 2),
        (41, 1, 2),
    ]


def test_a_target_file_of_several_things_asks_which(table):
    path = table("panel,L,a,b\nA,40,1,2\nB,41,1,2\n")
    with pytest.raises(TargetError, match="several things"):
        read_target(path)
    assert read_target(path, panel="B")[0].lab == (41, 1, 2)
    with pytest.raises(TargetError, match="no reading of 'C'"):
        read_target(path, panel="C")
    with pytest.raises(TargetError, match="no reading"):
        read_target(table("panel,L,a,b\nA,,,\n"))


def test_a_wrong_target_is_said_with_file_and_row(table):
    with pytest.raises(MatchlibError, match=r"t\.csv, row 2: .*Lab"):
        read_target(table("L,a,b\n400,1,2\n"))
    with pytest.raises(FileError, match=r"t\.csv, row 2: .*blank"):
        read_target(table("L,a,b\n40,,2\n"))


def test_a_recipe_says_who_sprays_it_from_what_and_when(table):
    rows = read_recipes(
        table(
            "ground,colour,schedule,sprayer,lot,batch,instrument,date\n"
            "silver,red 1 + blue 1,4@6:1,Ada,r1 + b2,S7,bench,31 August 2024\n"
            "silver,,,,,,,\n"
        )
    )
    assert rows[0].conditions == Conditions(
        "Ada", (("blue", "b2"), ("red", "r1")), (("silver", "S7"),), "bench", dt.date(2024, 8, 31)
    )
    assert rows[1].conditions == Conditions()
