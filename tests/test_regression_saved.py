"""A fit that is kept comes back the same, or is refused in words."""

from __future__ import annotations

import json
import pickle
import zipfile

import numpy as np
import pandas as pd
import pytest

from matchlib.errors import FileError, FitError
from matchlib.regression import (
    FilmPredictor,
    FilmRegressor,
    library_versions,
    load_fit,
    save_fit,
)
from tests.benchmarks.real_data import inks
from tests.suggest_shop import archive_of, model_of


@pytest.fixture
def kept(tmp_path):
    path = tmp_path / "a.fit.npz"
    save_fit(path, model_of(), "hash of the archive")
    return path


def test_it_predicts_as_before(kept):
    again = load_fit(kept)
    recipes = [p.recipe for p in archive_of()]
    ours, theirs = again.predict_each(recipes), model_of().predict_each(recipes)
    for name, value in vars(theirs).items():
        np.testing.assert_array_equal(getattr(ours, name), value)
    np.testing.assert_array_equal(again.stack_.dof, model_of().stack_.dof)
    assert again.conditions_ == model_of().conditions_
    assert again.archive_hash_ == "hash of the archive"
    assert again.versions_ == library_versions()
    assert again.trust_ == model_of().trust_
    assert again.unusual_ == model_of().unusual_
    np.testing.assert_array_equal(again.spectral_, model_of().spectral_)


def test_a_fit_with_a_share_of_the_library_comes_back_too(tmp_path):
    readings, lab = inks()
    some = readings["colour"].isin(["", "magenta", "cyan"]).to_numpy()
    model = FilmRegressor().fit(readings[some].reset_index(drop=True), lab[some])
    assert model.library_ is not None
    save_fit(tmp_path / "b.fit.npz", model, "another")
    again = load_fit(tmp_path / "b.fit.npz")
    ours, theirs = again.predict_readings(readings[some]), model.predict_readings(readings[some])
    for name, value in vars(theirs).items():
        np.testing.assert_allclose(getattr(ours, name), value, rtol=1e-12)


def test_nothing_is_left_beside_it(kept):
    assert [p.name for p in kept.parent.iterdir()] == [kept.name]


@pytest.mark.parametrize("at", [0.1, 0.5, 0.9])
def test_damage_is_noticed(kept, at):
    data = bytearray(kept.read_bytes())
    data[int(at * len(data))] ^= 0xFF
    kept.write_bytes(data)
    with pytest.raises(FileError, match="fit the archive again"):
        load_fit(kept)


def test_no_spoiled_bit_is_used_or_ends_in_another_error(tmp_path):
    X = pd.DataFrame({"ground": ["silver"] * 2, "colour": [None, "cherry"], "schedule": "2@6:1"})
    X.loc[0, "schedule"] = None
    lab = [(58.4, -0.3, -0.2), (41.9, 29.9, 4.8)]
    path = tmp_path / "a.fit.npz"
    save_fit(path, FilmRegressor(library=False, rounds=1).fit(X, lab), "hash of the archive")
    with zipfile.ZipFile(path) as held:
        names = held.namelist()
        places = [(i.header_offset, i.header_offset + 300) for i in held.infolist()]
        end = held.start_dir
    whole = {name: np.load(path)[name.removesuffix(".npy")].tobytes() for name in names}
    data, found = path.read_bytes(), set()
    # Heads of the zip's parts, those of the arrays in them, and the directory at the end.
    spots = {at for some in (*places, (end, len(data))) for at in range(*some)}
    for at in sorted(spots)[::37]:
        for bit in range(8):
            spoiled = bytearray(data)
            spoiled[at] ^= 1 << bit
            path.write_bytes(spoiled)
            try:
                load_fit(path)
            except FileError:
                found.add("refused")
                continue
            found.add("harmless")  # such as the time of writing
            with np.load(path) as stored:
                assert {f"{name}.npy": stored[name].tobytes() for name in stored.files} == whole
    assert found == {"refused", "harmless"}


def test_a_pickle_is_not_loaded(tmp_path):
    path = tmp_path / "trap.fit.npz"
    ran = []

    class Trap:
        def __reduce__(self):
            return (ran.append, ("ran",))

    np.savez(path, allow_pickle=True, words=np.array([Trap()], object))
    with pytest.raises(FileError):
        load_fit(path)
    path.write_bytes(pickle.dumps({"words": 1}))
    with pytest.raises(FileError):
        load_fit(path)
    assert ran == []


def test_another_layout_is_fitted_anew(kept, monkeypatch):
    monkeypatch.setattr("matchlib.regression.saved.FIT_FORMAT", 99)
    with pytest.raises(FileError, match="layout"):
        load_fit(kept)


def test_a_missing_file_and_a_folder_that_is_none(tmp_path):
    with pytest.raises(FileError):
        load_fit(tmp_path / "none.npz")
    with pytest.raises(FileError, match="cannot be written"):
        save_fit(tmp_path / "no folder" / "a.npz", model_of(), "x")


def test_what_was_never_fitted_says_so():
    with pytest.raises(FitError, match="not been fitted"):
        FilmPredictor().predict_recipes([archive_of()[0].recipe])


def test_its_words_are_plain_json(kept):
    with np.load(kept, allow_pickle=False) as stored:
        words = json.loads(str(stored["words"]))
    assert words["content_hash"] == "hash of the archive"
