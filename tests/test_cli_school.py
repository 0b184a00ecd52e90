"""The commands that teach, from an archive that has grounds and nothing else."""

from __future__ import annotations

from matchlib.archive import Archive
from matchlib.demo import demo_panels
from tests.cli_shop import json_of, refused, run


def test_a_first_day_where_next_cannot_help(tmp_path) -> None:
    place = tmp_path / "bare.db"
    with Archive.open(place, create=True) as archive:
        archive.add([p for p in demo_panels() if p.recipe.bare], who="test")
    assert "workbook first-day" in refused("next", "--archive", place)
    output = run("first-day", "--archive", place, "--colour", "cherry").stdout
    assert output.startswith("1. ")
    assert "cherry over" in output
    assert "(done: T0" in output
    assert "air-fed breathing apparatus for what has hardener in it" in " ".join(output.split())
    read = run("how-to-read", "--archive", place).stdout
    assert "White tile" in read
    assert "read more than once" in read


def test_words_and_troubles_are_at_hand() -> None:
    (found,) = json_of("words", "--word", "candy apple")
    assert "over gold" in found["meaning"]
    assert "no such word" in run("words", "--word", "xylophone").stdout
    assert "flop:" in run("words").stdout
    assert {t["name"] for t in json_of("troubles")} >= {"Tiger stripes", "Mottling", "Dry spray"}
    output = run("troubles").stdout
    assert "1. Overlap: 75%" in output
    assert "data sheets stand above" in output
    assert "Extract the dust" in output, "sanding is told of"
