"""Archives that lack something: each has a clear word and an honest width."""

from __future__ import annotations

import csv
import datetime as dt
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from matchlib.domain import CoatSchedule, Colour, Recipe
from tests.benchmarks.spray import Shop
from tests.cli_shop import run

SHOP = Shop(2, n_grounds=3, n_colours=2)
LIGHT = ("--illuminant", "D65", "--observer", "10", "--geometry", "45:0")


def recipe(ground: int, colour: int | None = None, schedule: str = "3@4:1") -> Recipe:
    if colour is None:
        return Recipe(SHOP.grounds[ground], clear="yes")
    pot = Colour.parse(str(SHOP.colours[colour]))
    return Recipe(SHOP.grounds[ground], pot, CoatSchedule.parse(schedule), "yes")


USUAL = [recipe(g) for g in range(3)] + [
    recipe(g, c, s) for g in range(3) for c in range(2) for s in ("2@6:1", "3@4:1", "4@3:1")
]


@dataclass
class Asked:
    """What the command line answered about an archive."""

    rows: list[dict[str, Any]]
    said: str

    def width(self, row: int = 0) -> float:
        return float(np.linalg.norm([self.rows[row][f"sd_{axis}"] for axis in "Lab"]))


def _row(number: int, made: Recipe, rng: np.random.Generator) -> dict[str, object]:
    lab = SHOP.spray(made, rng).readings[0].lab
    assert lab is not None
    back = {"panel": f"P{number}", "ground": made.ground, "colour": made.colour or ""}
    back |= {"schedule": made.schedule or "", "clear": "yes"}
    return back | dict(zip("Lab", np.round(lab, 2), strict=True))


@pytest.fixture(scope="module")
def ask(tmp_path_factory):
    folders: dict[str, Path] = {}

    def asked(
        sprayed: list[Recipe], wanted: list[Recipe], *options: str, code: int = 0, **more: Any
    ) -> Asked:
        rng = np.random.default_rng(7)
        rows = [
            _row(i, r, rng) | {name: tell(i, r) for name, tell in more.items()}
            for i, r in enumerate(sprayed)
        ]
        folder = folders.setdefault(str(rows), tmp_path_factory.mktemp("shop"))
        if not list(folder.iterdir()):
            with (folder / "p.csv").open("w", newline="", encoding="utf-8") as file:
                writer = csv.DictWriter(file, rows[0])
                writer.writeheader()
                writer.writerows(rows)
            assert run("import", "p.csv", *LIGHT, cwd=folder).exit_code == 0
        with (folder / "r.csv").open("w", newline="", encoding="utf-8") as file:
            file.write("ground,colour,schedule,clear\n")
            for r in wanted:
                file.write(f"{r.ground},{r.colour or ''},{r.schedule or ''},yes\n")
        at = ("predict", "--recipes", "r.csv", *options)
        done = run(*at, "--json", cwd=folder)
        assert done.exit_code == code, done.output
        return Asked([] if code else json.loads(done.stdout), done.stderr)

    return asked


def _holds(asked: Asked, wanted: list[Recipe]) -> None:
    """The true colour is where the widths allow, which are not endless either."""
    for row, made in zip(asked.rows, wanted, strict=True):
        for axis, true in zip("Lab", SHOP.truth_lab(made), strict=True):
            assert abs(row[axis] - true) < 4.0 * row[f"sd_{axis}"], (made, axis)
            assert row[f"sd_{axis}"] < 30.0


def test_a_ground_that_was_never_read_bare(ask) -> None:
    wanted = [recipe(0), recipe(0, 0)]
    usual = ask(USUAL, wanted)
    lacking = ask([r for r in USUAL if r != recipe(0)], wanted)
    assert f"{SHOP.grounds[0]} was never read bare" in lacking.said
    assert "never read bare" not in usual.said
    assert lacking.width() > 1.3 * usual.width()
    _holds(lacking, wanted)


def test_a_colour_on_one_ground_only(ask) -> None:
    wanted = [recipe(1, 0), recipe(2, 0)]
    few = [r for r in USUAL if r.bare or r.ground == SHOP.grounds[2]]
    lacking = ask(few, wanted)
    assert f"{SHOP.colours[0]} was sprayed over {SHOP.grounds[2]} alone" in lacking.said
    assert lacking.width(0) > ask(USUAL, wanted).width(0)
    _holds(lacking, wanted)


def test_all_panels_one_recipe(ask) -> None:
    failed = ask([recipe(0, 0)] * 6, [recipe(0, 0)], code=1)
    assert "There is nothing to learn a colour from" in failed.said
    assert "6 readings of 1 recipe" in failed.said
    assert "add the bare ground" in failed.said


@pytest.mark.parametrize("first", [recipe(0), recipe(0, 0, "2@6:1")], ids=["bare", "colour"])
def test_two_panels(ask, first: Recipe) -> None:
    wanted = [recipe(0, 0), recipe(0, 0, "6@3:1"), recipe(0)]
    found = ask([first, recipe(0, 0)], wanted)
    assert found.width(1) > 1.5 * ask(USUAL, wanted).width(1)
    assert found.rows[1]["probability"] < 0.5
    assert ("was read at one strength alone" in found.said) == first.bare
    _holds(found, wanted)


def test_a_lot_never_seen_beside_one_alone(ask) -> None:
    def lot(_: int, made: Recipe) -> str:
        return "" if made.bare or made.colour != recipe(0, 0).colour else "L1"

    colour, wanted = str(SHOP.colours[0]), [recipe(0, 0)]
    same = ask(USUAL, wanted, "--lot", f"{colour}=L1", lot=lot)
    other = ask(USUAL, wanted, "--lot", f"{colour}=L2", lot=lot)
    assert f"Lot L2 of {colour} is on no panel" in other.said
    assert same.said.count("Lot") == 0
    assert other.width() > 1.1 * same.width()
    assert same.width() < 1.1 * ask(USUAL, wanted).width()
    _holds(other, wanted)


@pytest.mark.parametrize(
    ("date", "words"),
    [
        (None, "No panel of the archive has a date"),
        (lambda *_: "2025-03-01", "too few, or too near each other, to tell how film drifts"),
        (
            lambda i, _: dt.date(2025, 3, 1) + dt.timedelta(days=9 * i),
            "days after the archive's last panel: the widths allow for drift",
        ),
    ],
    ids=["missing", "all the same", "many"],
)
def test_dates_missing_or_all_the_same(ask, date, words: str) -> None:
    wanted, more = [recipe(0, 0)], {} if date is None else {"date": date}
    usual = ask(USUAL, wanted, **more)
    later = ask(USUAL, wanted, "--date", "2027-01-01", **more)
    assert words in " ".join(later.said.split())
    assert later.width() >= usual.width()
    _holds(later, wanted)


def test_the_name_of_an_instrument_on_half_the_rows(ask) -> None:
    wanted = [recipe(0, 0)]
    names = {"instrument": lambda i, _: "meter A" if i % 2 else ""}
    plain = ask(USUAL, wanted)
    known = ask(USUAL, wanted, "--instrument", "METER a", **names)
    other = ask(USUAL, wanted, "--instrument", "meter B", **names)
    assert "Instrument" not in known.said
    assert "name no instrument" in known.said
    assert "name no instrument" not in plain.said
    assert "Instrument meter B is on no panel of the archive" in other.said
    assert known.width() > 0.85 * plain.width()
    assert other.width() > known.width()
    for each in (known, other):
        _holds(each, wanted)
