"""What an archive can teach: ladders, exercises from real panels, and lessons with their evidence.

Nothing here is a rule of thumb. Every claim is computed from the panels and the law fitted to them,
with its uncertainty, and a claim that this archive cannot support says so instead.
"""

from __future__ import annotations

from matchlib.lessons.claims import LESSONS, Lesson, lesson
from matchlib.lessons.exercise import KINDS, Exercise, Marked, make_exercise, mark
from matchlib.lessons.ladder import Ladder, Rung, coat_ladder

__all__ = [
    "KINDS",
    "LESSONS",
    "Exercise",
    "Ladder",
    "Lesson",
    "Marked",
    "Rung",
    "coat_ladder",
    "lesson",
    "make_exercise",
    "mark",
]
