"""A small slice of the fuzzing that `tests/fuzz/RECORDED.md` records at full length."""

from __future__ import annotations

import contextlib

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from matchlib.errors import MatchlibError
from matchlib.readings import read_file, read_recipes, read_target
from matchlib.readings.photo import load_picture
from tests.fuzz.mutate import READERS, seeds_of
from tests.fuzz.run_fuzz import ANSWERS, run


@pytest.mark.parametrize("reader", READERS)
def test_broken_inputs_raise_only_our_own_errors(reader, tmp_path):
    inputs = {"xlsx": 30, "ods": 60, "cxf": 80, "photo": 60, "raw": 20}.get(reader, 200)
    counts = run(reader, inputs, 2, tmp_path)
    assert counts["escaped"] == 0, [p.read_text() for p in tmp_path.glob("*.log")]
    assert counts["refused"] > counts["taken"]  # they are broken indeed


@pytest.mark.parametrize("reader", READERS)
def test_the_seeds_themselves_are_read(reader, tmp_path):
    read = {"recipes": read_recipes, "target": read_target}.get(reader, read_file)
    more = {"scale": "unit"} if reader == "target" else {}
    more["answers"] = {key: given[0] for key, given in ANSWERS.items()}
    path = tmp_path / ("seed.dng" if reader == "raw" else "seed")
    if reader in ("photo", "raw"):
        read, more = load_picture, {}
    good = 0
    for seed in seeds_of(reader):
        path.write_bytes(seed)
        try:
            read(path, **more)
            good += 1
        except MatchlibError:
            continue
    assert good


@settings(
    max_examples=150,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(
    st.binary(max_size=200)
    | st.text(max_size=200).map(lambda t: t.encode("utf-8", "replace"))
    | st.text(max_size=99).map(lambda t: ("panel,ground,L,a,b\n" + t).encode("utf-8", "replace"))
    | st.text(max_size=99).map(lambda t: ("CGATS.17\n" + t).encode("utf-8", "replace"))
    | st.text(max_size=99).map(lambda t: ("<CxF>" + t).encode("utf-8", "replace"))
)
def test_any_bytes_raise_only_our_own_errors(tmp_path, data):
    path = tmp_path / "any"
    path.write_bytes(data)
    for read in (read_file, read_recipes, read_target):
        with contextlib.suppress(MatchlibError):
            read(path)
