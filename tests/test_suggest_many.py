"""Many targets at once give what one by one gives; on a cluster, tests/test_cli_many.py."""

from __future__ import annotations

import pytest

from matchlib.mixing import Limits
from matchlib.suggest import suggest
from matchlib.suggest.many import suggest_many
from matchlib.target import Target
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


def test_two_at_once_are_as_one_by_one(one_by_one):
    # Arrays that travelled to a worker lie otherwise in memory, which moves a sum's last digit.
    for there, here in zip(found(n_jobs=2), one_by_one, strict=True):
        assert [s.recipe for s in there] == [s.recipe for s in here]
        for one, other in zip(there, here, strict=True):
            assert one.lab == pytest.approx(other.lab, rel=1e-9)
            for name in ("expected", "probability", "sd", "known_share", "dof"):
                assert getattr(one, name) == pytest.approx(getattr(other, name), rel=1e-9)
