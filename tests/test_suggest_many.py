"""Many targets at once give what one by one gives, on this machine and on a cluster."""

from __future__ import annotations

import joblib
import pytest

from matchlib.suggest import Limits, Target, suggest
from matchlib.suggest.many import suggest_many
from tests.suggest_shop import archive_of, model_of

TARGETS = [Target.lab(*lab) for lab in ((35.0, 40.0, 20.0), (50.0, 5.0, 60.0), (20.0, 20.0, -20.0))]
LIMITS = Limits(blends=False, step_ups=False, ground_blends=False)


@pytest.fixture(scope="module")
def one_by_one():
    return [suggest(model_of(), t, LIMITS, top=2, archive=archive_of()).items for t in TARGETS]


def found(**options):
    many = suggest_many(model_of(), TARGETS, LIMITS, top=2, archive=archive_of(), **options)
    return [s.items for s in many]


def test_many_are_as_one_by_one(one_by_one):
    assert found() == one_by_one


def test_a_dask_cluster_of_two_workers_serves_without_other_code(one_by_one):
    from dask.distributed import Client, LocalCluster

    with (
        LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None) as cluster,
        Client(cluster) as client,
        joblib.parallel_config("dask"),
    ):
        client.wait_for_workers(2)
        assert found() == one_by_one
        worked = client.run(lambda dask_worker: len(dask_worker.state.log) > 0)
        assert any(worked.values())
