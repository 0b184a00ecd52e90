"""What a merge of two archives did, or would do."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import sqlalchemy as sa

from matchlib.archive import schema
from matchlib.archive.adding import AddResult
from matchlib.plural import counted

if TYPE_CHECKING:
    from matchlib.archive.store import Archive
    from matchlib.readings.questions import Question

__all__ = ["Merged", "left_in"]


@dataclass(frozen=True, slots=True)
class Merged:
    """What a merge did, or would do."""

    # what became of their panels, by the codes that they have here; those left out under their own
    panels: AddResult = field(default_factory=AddResult)
    # their codes that other cards have here, and the codes that theirs have instead
    renamed: tuple[tuple[str, str], ...] = ()
    # kind, their name and the one that it was joined to
    names: tuple[tuple[str, str, str], ...] = ()
    jobs: tuple[tuple[int, int], ...] = ()  # their number of a job and its number here
    jobs_left: tuple[tuple[int, str], ...] = ()  # their number of a job that was not taken, and why
    files: int = 0  # photos and the like that came along
    left: tuple[str, ...] = ()  # what else was not taken, in words
    questions: tuple[Question, ...] = ()  # what was asked
    change: int | None = None  # number of the change, for `undo`; None where nothing was new

    @property
    def open(self) -> tuple[Question, ...]:
        """The questions that must be answered first."""
        return tuple(q for q in self.questions if q.open)

    @property
    def text(self) -> str:
        """What was joined and what was not, in plain words, a line each."""
        lines = [self.panels.words]
        lines += [f"Panel {old} is {new} here." for old, new in self.renamed]
        lines += [
            f"Panel {code}: {counted(n, 'more reading')}." for code, n in self.panels.extended
        ]
        lines += [f"The {kind} {old} was joined to {new}." for kind, old, new in self.names]
        lines += [f"Their job {old} is job {new} here." for old, new in self.jobs]
        if self.files:
            lines.append(f"{self.files} photos and other files came along.")
        lines += [f"Differs, left as it is here: {c}: {what}" for c, what in self.panels.differing]
        lines += [f"Not taken: panel {code}: {why}" for code, why in self.panels.refused]
        lines += [f"Not taken: their job {number}: {why}" for number, why in self.jobs_left]
        lines += [f"Not taken: {what}" for what in self.left]
        return "\n".join(lines)


def left_in(other: Archive) -> tuple[str, ...]:
    """Return what no merge takes of another archive, where it has it."""
    with other.database.read() as theirs:
        found = [
            (theirs.execute(sa.select(sa.func.count()).select_from(table)).scalar_one(), what, rest)
            for what, rest, table in (
                ("change", " of their history", schema.history),
                ("setting", "", schema.settings),
                ("profile", " of a phone or of files", schema.profiles),
                ("finding", " set aside", schema.ignored),
            )
        ]
    found.append((len(other.deleted()), "removed panel", ""))
    return tuple(f"{counted(n, what)}{rest}." for n, what, rest in found if n)
