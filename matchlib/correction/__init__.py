"""A sprayed test panel in, what to change out."""

from __future__ import annotations

from matchlib.correction.advice import Advice, correct, film_words, learn
from matchlib.correction.belief import Belief
from matchlib.correction.card import Card
from matchlib.correction.moves import fresh_recipes
from matchlib.correction.rescue import SANDING, on_top
from matchlib.correction.sprayed import Sprayed
from matchlib.correction.today import Today
from matchlib.correction.weighing import aside_words

__all__ = [
    "SANDING",
    "Advice",
    "Belief",
    "Card",
    "Sprayed",
    "Today",
    "aside_words",
    "correct",
    "film_words",
    "fresh_recipes",
    "learn",
    "on_top",
]
