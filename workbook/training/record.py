"""What each trainee has done, kept with the archive."""

from __future__ import annotations

import datetime as dt
from statistics import median
from typing import TYPE_CHECKING, Any

import ipywidgets as widgets  # type: ignore[import-untyped]  # it ships no types

from matchlib.lessons import KINDS
from workbook.controls import HtmlView
from workbook.desk import Desk, Said
from workbook.figures import number, table

if TYPE_CHECKING:
    from matchlib.archive import Archive
    from workbook.training.exercises import ExercisePanel

__all__ = ["RecordPanel", "keep", "load"]

_MOST = 500
_SHOWN = 10


def _key(trainee: str) -> str:
    return "training: " + " ".join(trainee.split()).casefold()[:150]


def load(archive: Archive, trainee: str) -> list[dict[str, Any]]:
    """Return a trainee's attempts.

    Parameters
    ----------
    archive : Archive
        Where they are kept.
    trainee : str
        Name, capitals and blanks aside.

    Returns
    -------
    list of dict
        Oldest first: ``at``, ``kind``, ``panel``, ``passed``, ``miss``, ``best`` [ΔE00].
    """
    if not trainee.strip():
        return []
    held = archive.setting(_key(trainee), [])
    return [a for a in held if isinstance(a, dict)] if isinstance(held, list) else []


def keep(archive: Archive, trainee: str, **attempt: Any) -> None:
    """Put an attempt on record.

    Parameters
    ----------
    archive : Archive
        Where it is kept.
    trainee : str
        Name.
    **attempt : object
        ``kind``, ``panel``, ``passed``, ``miss``, ``best``.
    """
    at = dt.datetime.now(dt.UTC).isoformat(timespec="seconds")
    held = [*load(archive, trainee), {"at": at, **attempt}]
    archive.set_setting(_key(trainee), held[-_MOST:])


class RecordPanel:
    """The record of the trainee named in the exercises.

    Parameters
    ----------
    desk : Desk
        The archive.
    exercises : ExercisePanel
        Where the name is typed.
    """

    def __init__(self, desk: Desk, exercises: ExercisePanel) -> None:
        self.desk = desk
        self.exercises = exercises
        self.shown = HtmlView(label="Record")
        self.said = Said("Record: message")
        exercises.trainee.observe(self.redraw, "value")
        exercises.on_kept(self.redraw)
        self.redraw()

    @property
    def view(self) -> widgets.Widget:
        """The panel."""
        return widgets.VBox([self.said, self.shown])

    def redraw(self, _: Any = None) -> None:
        """Read the record again."""
        with self.said.guard():
            name = self.exercises.trainee.value.strip()
            if not name:
                self.shown.html = "<p>Type the trainee's name above to see the record.</p>"
                return
            held = load(self.desk.session.archive, name)
            rows = []
            for kind, question in KINDS.items():
                some = [a for a in held if a["kind"] == kind]
                if some:
                    right = sum(a["passed"] for a in some)
                    all_, last = (median(a["miss"] for a in x) for x in (some, some[-_SHOWN:]))
                    rows.append([question, len(some), right, number(all_, 1), number(last, 1)])
            heads = ["question", "asked", "right", "median ΔE00 off", f"of the last {_SHOWN}"]
            whole = table(heads, rows, caption=f"Record of {name}", right=heads[1:])
            lately = [
                [
                    f"{dt.datetime.fromisoformat(a['at']):%Y-%m-%d %H:%M} UTC",
                    KINDS.get(a["kind"], a["kind"]),
                    a["panel"],
                    "right" if a["passed"] else "not right",
                    number(a["miss"], 1),
                ]
                for a in held[::-1][:_SHOWN]
            ]
            heads = ["when", "question", "panel", "answer", "ΔE00 off"]
            list_ = table(heads, lately, caption="The latest", right=heads[4:])
            self.shown.html = (
                f"<p>{len(held)} answer{'s' * (len(held) != 1)} on record.</p>{whole}{list_}"
            )
