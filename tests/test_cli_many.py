"""Many samples at once at the command line: here, on more cores, on a Dask cluster."""

from __future__ import annotations

import csv
import io

import pytest
from dask.distributed import Client, LocalCluster

from tests.cli_shop import SMALL, demo_shop, fails, json_of, refused, run

SAMPLES = {"ring": (27.1, 45.9, 28.5), "flag": (66.0, 68.0, 72.0), "door": (31.7, 49.0, 24.0)}
SHELF = ("--no-blends", "--no-step-ups", "--no-ground-blends")


@pytest.fixture(scope="module")
def shop():
    return demo_shop()


@pytest.fixture(scope="module")
def table(tmp_path_factory):
    path = tmp_path_factory.mktemp("samples") / "samples.csv"
    rows = [f"{name},{','.join(map(str, lab))}" for name, lab in SAMPLES.items()]
    path.write_text("\n".join(["panel,L,a,b", *rows]))
    return path


@pytest.fixture(scope="module")
def at(shop, table):
    return ("match", "--targets", table, "--archive", shop.archive, *SHELF)


@pytest.fixture(scope="module")
def here(at):
    return json_of(*at, "--jobs", 1)


def test_each_of_many_is_what_it_is_alone(shop, here):
    assert [row["sample"] for row in here] == list(SAMPLES)
    for row in here:
        lab = SAMPLES[row["sample"]]
        alone = json_of(
            "match", "--lab", *lab, "--archive", shop.archive, *SHELF, "--readings", 0, "--top", 1
        )[0]
        assert (row["target_L"], row["target_a"], row["target_b"]) == lab
        assert {k: row[k] for k in ("schedule", "probability", "why")} == {
            k: alone[k] for k in ("schedule", "probability", "why")
        }


def test_many_are_printed_as_a_table_and_as_csv(at, here):
    text = run(*at, "--top", 2, "--jobs", 1).stdout
    assert "Out of reach within these limits: flag." in text
    assert text.count("\nring") == 1
    assert len(text.splitlines()) == 3 + 1 + 2 + 2 * len(SAMPLES)
    rows = list(csv.DictReader(io.StringIO(run(*at, "--csv", "--jobs", 1).stdout)))
    assert [(r["sample"], r["schedule"]) for r in rows] == [
        (r["sample"], r["schedule"]) for r in here
    ]
    assert [float(r["L"]) for r in rows] == [r["L"] for r in here]
    assert set(rows[0]) == {k for k, v in here[0].items() if not isinstance(v, list)}


def test_a_dask_cluster_of_two_workers_says_the_same(at, here, tmp_path):
    with LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None) as cluster:
        address = cluster.scheduler_address
        assert json_of(*at, "--cluster", address) == here
        # Refits of a check go the same way.
        (tmp_path / "p.csv").write_text(SMALL)
        run("import", tmp_path / "p.csv", "--archive", tmp_path / "a.db")
        fit = ("fit", "--archive", tmp_path / "a.db", "--by", "panel", "--folds", 2)
        there = json_of(*fit, "--cluster", address)
        with Client(cluster) as client:
            done = client.run(lambda dask_worker: dask_worker.state.executed_count)
        assert len(done) == 2
        assert all(done.values())
    assert there["validation"] == json_of(*fit)["validation"]


@pytest.mark.parametrize(
    ("more", "words"),
    [
        (("--lab", 40, 20, 10), "instead of one target"),
        (("--readings", 1), "sprayed blind"),
        (("--csv", "--json"), "not both"),
        (("--jobs", 2, "--cluster", "tcp://127.0.0.1:1"), "its own workers"),
        (("--cluster", "no address at all"), "No Dask cluster answers"),
        (("--cluster", ""), "the address of a Dask scheduler"),
    ],
)
def test_what_does_not_go_together_is_refused_in_words(at, more, words):
    code = 1 if "answers" in words else 2
    output = fails(run(*at, *more), code)
    assert words in " ".join(output.replace("│", " ").split())


def test_samples_without_a_name_are_refused(shop, tmp_path):
    path = tmp_path / "nameless.csv"
    path.write_text("panel,L,a,b\nring,27.1,45.9,28.5\n,66,68,72\n")
    output = refused("match", "--targets", path, "--archive", shop.archive)
    assert "Some samples of this file have no name" in output
    assert "nameless.csv" in output


def test_many_options_without_many_are_refused(shop):
    output = fails(run("match", "--lab", 40, 20, 10, "--csv", "--archive", shop.archive), 2)
    assert "--targets" in output
