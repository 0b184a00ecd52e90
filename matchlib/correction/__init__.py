"""A sprayed test panel in, what to change out."""

from __future__ import annotations

from matchlib.correction.advice import Advice, correct, film_words, learn
from matchlib.correction.belief import Belief
from matchlib.correction.card import Ahead, Card
from matchlib.correction.moves import Move, continuations, fresh_recipes, moves
from matchlib.correction.rescue import SANDING, Rescue, on_top, rescue
from matchlib.correction.scoring import Scored, best_of, scored
from matchlib.correction.sprayed import Sprayed
from matchlib.correction.today import Today
from matchlib.correction.weighing import aside_words

__all__ = [
    "SANDING",
    "Advice",
    "Ahead",
    "Belief",
    "Card",
    "Move",
    "Rescue",
    "Scored",
    "Sprayed",
    "Today",
    "aside_words",
    "best_of",
    "continuations",
    "correct",
    "film_words",
    "fresh_recipes",
    "learn",
    "moves",
    "on_top",
    "rescue",
    "scored",
]
