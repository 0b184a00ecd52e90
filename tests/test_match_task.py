"""Long work of a page: what it comes to, cancelled, begun again, and gone wrong."""

from __future__ import annotations

import asyncio
import threading
from pathlib import Path
from typing import Any

import pytest

from matchlib.errors import DomainError
from tests.cli_shop import copied
from tests.test_match_panel import settled
from workbook.controls import Progress
from workbook.desk import LongWork, Task, saying
from workbook.match import MatchApp
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
        assert match.fitting.again.layout.display == "none"
        match.fitting.bar.cancel()
        gate.set()
        match.fitting.thread.join(60)
        assert not match.fitting.thread.is_alive()
        assert match.bench.model is None
        assert not match.panels
        assert match.fitting.again.layout.display is None
        match.fitting.again.press("go")
        settled(match)
        assert match.fitting.again.layout.display == "none"
        assert match.panels
        assert match.bench.model is not None


def test_a_cancelled_task_changes_nothing() -> None:
    gate, got, failed = threading.Event(), [], []
    task = Task(Progress(), failed.append)
    task.start("waiting", lambda: gate.wait(30), got.append)
    first = task.thread
    assert task.bar.running
    task.bar.cancel()
    assert not task.bar.running
    gate.set()
    first.join()
    assert got == []
    assert "nothing was changed" in task.bar.text
    # A later one counts, and an error is handed over in words.
    task.start("again", lambda: 7, got.append)
    task.thread.join()
    assert got == [7]

    def wrong() -> None:
        raise DomainError("Too much.")

    task.start("wrong", wrong, got.append)
    task.thread.join()
    assert [saying(error) for error in failed] == ["Too much."]
    assert not task.bar.running


def test_what_came_of_it_is_shown_by_the_thread_that_hears_the_presses() -> None:
    shown: list[tuple[int, threading.Thread]] = []

    async def page() -> None:
        work = LongWork("Counting")
        work.bar.observe(lambda _: shown.append((0, threading.current_thread())), "text")
        work.start("one", lambda: 1, lambda n: shown.append((n, threading.current_thread())))
        while not (shown and shown[-1][0]):
            await asyncio.sleep(0.01)
        assert not work.busy

    asyncio.run(page())
    assert {thread for _, thread in shown} == {threading.current_thread()}


def test_what_is_begun_anew_drops_what_was_under_way() -> None:
    begun, gate, got = threading.Event(), threading.Event(), []
    work = LongWork("Counting", again="Count")

    def old() -> str:
        begun.set()
        gate.wait(30)
        work.step(0.5)
        got.append("went on")
        return "old"

    work.start("old", old, got.append)
    first = work.thread
    assert begun.wait(30)
    assert not work.ask("pressed twice", old, got.append)
    work.start("new", lambda: "new", got.append)
    work.join(30)
    gate.set()
    first.join(30)
    assert got == ["new"]
    assert work.bar.text == ""
    assert work.again.layout.display == "none", "nobody stopped it"
