"""Errors say what is the matter, what was expected, what came and what to do."""

from __future__ import annotations

import pickle

import pytest

from matchlib import errors
from matchlib.errors import DomainError, ImportRefused, MatchlibError

CLASSES = [getattr(errors, name) for name in errors.__all__]


def test_an_error_reads_as_sentences() -> None:
    error = MatchlibError(
        "This is not a mix ratio.",
        expected="carrier : colour",
        got="'6'",
        remedy="write 6:1",
        where="panels.csv, row 7",
    )
    assert str(error) == (
        "panels.csv, row 7: This is not a mix ratio. Expected carrier : colour. Got '6'. "
        "What to do: write 6:1."
    )
    error.got = "row 3: no ground\n    row 4: no ratio"
    lines = str(error).splitlines()
    assert lines[1:] == ["row 3: no ground", "    row 4: no ratio", "What to do: write 6:1."]


def test_what_is_not_known_is_left_out() -> None:
    assert str(MatchlibError("Nothing came.")) == "Nothing came."
    for end in ("now.", "now?", "now!"):
        assert str(MatchlibError("No.", remedy=end)).endswith(f" {end}")


@pytest.mark.parametrize("cls", CLASSES)
def test_every_error_is_one_root_and_a_value_error(cls: type[MatchlibError]) -> None:
    assert issubclass(cls, MatchlibError)
    assert issubclass(cls, ValueError)


@pytest.mark.parametrize("cls", CLASSES)
def test_an_error_comes_back_whole_from_another_process(cls: type[MatchlibError]) -> None:
    error = cls("No.", expected="a", got="b", remedy="c", where="d")
    again = pickle.loads(pickle.dumps(error))  # noqa: S301  our own bytes
    assert type(again) is cls
    assert str(again) == str(error)
    assert again.args == error.args
    assert vars(again) == vars(error)


def test_a_report_travels_with_its_error() -> None:
    error = ImportRefused("Three rows were refused.")
    error.report = {"refused": 3}
    assert pickle.loads(pickle.dumps(error)).report == {"refused": 3}  # noqa: S301
    assert error.at("a.csv").report == {"refused": 3}  # type: ignore[attr-defined]


def test_places_are_put_before_places_and_the_first_error_stays_as_it_was() -> None:
    error = DomainError("No.", got="x", where="column L")
    placed = error.at("row 7").at("panels.csv")
    assert type(placed) is DomainError
    assert placed.where == "panels.csv, row 7, column L"
    assert placed.got == "x"
    assert error.where == "column L"
    assert str(placed).startswith("panels.csv, row 7, column L: No.")
