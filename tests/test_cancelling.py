"""What serves while more is computed."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from matchlib.domain import Reading
from matchlib.regression import FilmRegressor
from matchlib.target import Target
from tests.cli_shop import copied, small_shop
from workbook.session import Session


def test_a_fit_from_before_the_tried_panels_came_in_serves(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    fits: list[int] = []
    fit = FilmRegressor.fit

    def counted(self: FilmRegressor, X: Any, *args: Any, **more: Any) -> FilmRegressor:
        fits.append(len(X))
        return fit(self, X, *args, **more)

    monkeypatch.setattr(FilmRegressor, "fit", counted)
    place = copied(tmp_path, small_shop() / "panels.db")
    target = Target.of_readings(Reading(lab=(40.0, 32.0, 25.0)))
    with Session.open(place) as session:
        old = next(p for p in session.archive.panels() if not p.recipe.bare)
        session.fit()
        assert len(fits) == 1
        tried = type(old).of("TRIED 1", old.recipe, (Reading(lab=(45.0, 27.0, 21.0)),))
        session.archive.add([tried], file="bench", who="test")
        first = session.correct(target, session.limits(), codes=["TRIED 1"])
        assert len(fits) == 1, "what was fitted before it came in knows nothing of it"
        session.fit()
        assert len(fits) == 2, "the archive has a panel more"
        again = session.correct(target, session.limits(), codes=[" TRIED  1"])
        assert len(fits) == 3
        assert fits[2] == fits[0]
        session.correct(target, session.limits(), codes=["TRIED 1"])
        session.next_panels(target, session.limits(), codes=["TRIED 1"])
        assert len(fits) == 3, "and the fit without it is kept"
        session.archive.amend(old.code, readings=(Reading(lab=(53.0, 17.0, 15.0)),))
        session.correct(target, session.limits(), codes=["TRIED 1"])
        assert len(fits) == 4, "another archive's fit never answers"
    assert first.words == again.words
    with Session.open(place) as session:
        session.correct(target, session.limits(), codes=["TRIED 1"])
        assert len(fits) == 4
