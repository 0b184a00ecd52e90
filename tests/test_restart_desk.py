"""What is typed and done in the archive's and the trainee's notebooks, there after a restart."""

from __future__ import annotations

import asyncio
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from matchlib.archive import Archive
from matchlib.audit import Finding
from matchlib.demo import demo_panels
from matchlib.domain import Recipe
from tests.cli_shop import copied
from workbook.controls import TextField
from workbook.desk import Desk, Typed
from workbook.session import Forms, Session, recipe_of

ONE, TWO = "0123456789abcdef", "fedcba9876543210"


@contextmanager
def desk(archive: Path, monkeypatch: pytest.MonkeyPatch, mark: str = "") -> Iterator[Desk]:
    with Session.open(archive) as session:
        made = Desk(session)
        monkeypatch.setattr(made, "fit", lambda: None)  # what a fit does is tested elsewhere
        if mark:
            made.seat.value = mark
        yield made


@pytest.fixture
def archive(tmp_path: Path) -> Path:
    return copied(tmp_path)


@pytest.fixture
def few(tmp_path: Path) -> Path:
    with Archive.open(tmp_path / "few.db", create=True) as made:
        made.add(demo_panels()[:25], who="test")
    return tmp_path / "few.db"


CHERRY = recipe_of(ground="silver", colour="cherry", schedule="3@6:1", clear="yes")


def finding(code: str, kind: str, proposed: Recipe | None = None) -> Finding:
    return Finding(
        kind=kind,
        codes=(code,),
        probability=0.9,
        words=f"{code} looks wrong.",
        fix="change it",
        proposed=proposed,
    )


# Keeping while typing


def test_a_burst_of_keys_is_one_writing(few: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with Session.open(few) as session:
        forms, written = Forms(session.archive, ONE), []
        keep = forms.keep_typed
        monkeypatch.setattr(
            forms, "keep_typed", lambda form, fields: (written.append(fields), keep(form, fields))
        )

        async def typing() -> None:
            note = TextField(label="Note")
            typed = Typed("note", {"note": note})
            typed.sit(forms)
            for k in range(1, 6):
                note.value = "words"[:k]
            assert written == []
            while not written:
                await asyncio.sleep(0.02)
            note.value = "words, more"
            typed.sit(Forms(session.archive, TWO))  # what waits is not another bench's
            assert note.value == ""

        asyncio.run(typing())
        assert [w["note"] for w in written] == ["words", "words, more"]
        assert forms.typed("note") == {"note": "words, more"}
        assert Forms(session.archive, TWO).typed("note") == {}


def test_who_types_on_and_on_is_not_waited_for(few: Path) -> None:
    with Session.open(few) as session:
        forms = Forms(session.archive, ONE)

        async def typing() -> str:
            note = TextField(label="Note")
            Typed("note", {"note": note}).sit(forms)
            for _ in range(500):
                note.value += "x"
                await asyncio.sleep(0.02)  # no longer than between two keys
                if kept := forms.typed("note"):
                    return str(kept["note"])
            return "nothing is kept until the keys rest"

        assert set(asyncio.run(typing())) == {"x"}


def test_an_archive_that_cannot_be_written_can_be_typed_over(few: Path) -> None:
    with Archive.open(few, read_only=True) as closed:
        forms = Forms(closed, ONE)
        forms.keep_typed("form", {"note": "x"})
        forms.did("form", number=1)
        forms.took_back("form")
        assert forms.typed("form") == {}
        assert forms.done("form") == []
