"""What an archive can teach: ladders, exercises from real panels, and lessons with their evidence.

Nothing here is a rule of thumb. Every claim is computed from the panels and the law fitted to them,
with its uncertainty, and a claim that this archive cannot support says so instead. Drills of the
ratio and the plan of a first day need no law.
"""

from __future__ import annotations

from matchlib.lessons.claims import LESSONS, lesson
from matchlib.lessons.drill import make_drill
from matchlib.lessons.evidence import Lesson
from matchlib.lessons.exercise import KINDS, Exercise, Marked, make_exercise, mark
from matchlib.lessons.first_day import first_day, first_four
from matchlib.lessons.ladder import Rung, coat_ladder

__all__ = [
    "KINDS",
    "LESSONS",
    "Exercise",
    "Lesson",
    "Marked",
    "Rung",
    "coat_ladder",
    "first_day",
    "first_four",
    "lesson",
    "make_drill",
    "make_exercise",
    "mark",
]
