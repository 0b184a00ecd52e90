"""Long work of the match page: what it comes to, cancelled, begun again, and gone wrong."""

from __future__ import annotations

import threading
from pathlib import Path
from typing import Any

import pytest

from matchlib.errors import DomainError
from tests.cli_shop import copied
from tests.test_match_panel import settled
from workbook.controls import Progress
from workbook.match import MatchApp
from workbook.match.parts import Task
from workbook.session import Session


def test_the_first_fit_can_be_cancelled_and_begun_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with Session.open(copied(tmp_path)) as session:
        gate, fit = threading.Event(), session.fit

        def slow(**how: Any) -> Any:
            gate.wait(30)
            return fit(refit=True, **how)

        monkeypatch.setattr(session, "fit", slow)
        match = MatchApp(session)
        assert match.again.layout.display == "none"
        match.task._heard(None, {"event": "cancel"}, [])
        gate.set()
        match.task.thread.join(60)
        assert not match.task.thread.is_alive()
        assert match.bench.model is None
        assert not match.panels
        assert match.again.layout.display is None
        match.again.press("learn")
        settled(match)
        assert match.again.layout.display == "none"
        assert match.panels
        assert match.bench.model is not None


def test_a_cancelled_task_changes_nothing() -> None:
    gate, got, failed = threading.Event(), [], []
    task = Task(Progress(), failed.append)
    task.start("waiting", lambda: gate.wait(30), got.append)
    first = task.thread
    assert task.progress.running
    task._heard(None, {"event": "cancel"}, [])
    assert not task.progress.running
    gate.set()
    first.join()
    assert got == []
    assert "nothing was changed" in task.progress.text
    # A later one counts, and an error is handed over in words.
    task.start("again", lambda: 7, got.append)
    task.thread.join()
    assert got == [7]

    def wrong() -> None:
        raise DomainError("Too much.")

    task.start("wrong", wrong, got.append)
    task.thread.join()
    assert failed == ["Too much."]
    assert not task.progress.running
