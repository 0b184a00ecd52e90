"""The trade's words as this tool uses them: one sentence and a swatch each."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import ClassVar

__all__ = ["GLOSSARY", "Term", "first_places"]

Lab = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Term:
    """A word."""

    SHOWN: ClassVar = ("word", "also", "meaning")

    word: str  # as it is written here
    meaning: str  # one sentence
    labs: tuple[Lab, ...]  # what it looks like, one to four colours in order; invented
    also: tuple[str, ...] = ()  # other words for the same, and other forms of it


_SILVER, _GOLD, _BLACK = (78.0, -0.5, 1.0), (66.0, 4.0, 26.0), (12.0, 0.0, -0.5)
_APPLE, _CHERRY, _WEAK, _FULL = (
    (30.0, 48.0, 31.0),
    (34.0, 50.0, 16.0),
    (60.0, 26.0, 6.0),
    (22.0, 42.0, 17.0),
)
_WATERY, _DEEP = (52.0, 36.0, 9.0), (26.0, 46.0, 18.0)

GLOSSARY: tuple[Term, ...] = (
    Term("aspecular angle", "How far from the mirror image of the lamp one looks: 15° is near the "
         "shine (face), 110° far from it (flop).", (_WATERY, _DEEP), ("aspecular angles",)),
    Term("batch", "One tin or mixing of a ground; the next batch may read otherwise.",
         (_SILVER, (76.5, -0.2, 1.8)), ("batches",)),
    Term("blend", "Two colours in one pot, or two grounds in one tin, by parts.",
         (_CHERRY, (58.0, 20.0, 60.0), (44.0, 42.0, 40.0)), ("blends",)),
    Term("blend-in", "Colour faded out over the old finish so that a repair has no edge.",
         (_FULL, _CHERRY, _WATERY, _WEAK), ("blending in",)),
    Term("candy", "A transparent colour over a bright ground, which lights it from below.",
         (_SILVER, _CHERRY), ("candy colour", "candies")),
    Term("candy apple", "Candy over gold; red over gold gave it the name.",
         (_GOLD, _APPLE)),
    Term("carrier", "The clear medium that the colour is mixed into; it builds the film.",
         ((92.0, 0.0, 2.0),)),
    Term("clear coat", "The clear lacquer over the colour; under it the card looks wet, and reads "
         "deeper and darker than before.", (_CHERRY, _DEEP), ("clear coats",)),
    Term("coat", "Once over the whole panel, stroke overlapping stroke.", (_WATERY, _CHERRY, _FULL),
         ("coats",)),
    Term("comb gauge", "A toothed card that is stood in the wet film and shows how thick it is.",
         ((70.0, 0.0, 0.0),)),
    Term("drop coat", "A last, light coat from further off with less overlap, to lay flake evenly; "
         "it belongs to grounds, not to candy.", (_SILVER, (80.0, -0.5, 1.0)), ("drop coats",)),
    Term("dry film", "What is left of the wet film when all solvent has gone.", (_DEEP,)),
    Term("dry spray", "Paint that lands half dry and lies rough and dull.", ((46.0, 30.0, 10.0),)),
    Term("face", "The colour seen near the shine.", ((48.0, 48.0, 20.0),)),
    Term("flake", "Platelets of metal or pearl in a ground, which throw the light back.",
         (_SILVER, (86.0, -0.5, 1.0))),
    Term("flash-off", "The wait until solvent has left a coat and the next may go on; the "
         "data sheet says how long.", (_CHERRY,), ("flash off", "flash time")),
    Term("flop", "The colour seen far from the shine, where flake no longer lights it.",
         ((14.0, 24.0, 8.0),)),
    Term("ground coat", "The opaque coat under the colour, often silver or gold; most of the "
         "brightness comes from it.", (_SILVER, _GOLD, _BLACK), ("ground", "grounds", "base coat")),
    Term("let-down", "A set of cards of one colour from weak to full, coat by coat.",
         (_WEAK, _WATERY, _CHERRY, _FULL), ("let-down set",)),
    Term("to let down", "To make a pot weaker with more carrier.", (_FULL, _WATERY), ("let down",)),
    Term("lot", "One production run of a colour, by the number on the bottle.",
         (_CHERRY, (35.5, 49.0, 17.0)), ("lots",)),
    Term("mask", "To cover what must not be sprayed; on a half-masked card the ground can be read "
         "beside the colour.", (_SILVER, _CHERRY)),
    Term("metamerism", "When two colours match in one light and not in another.",
         (_CHERRY, (34.5, 49.0, 17.0))),
    Term("mix ratio", "Carrier to colour by volume, carrier first: at 6:1 one seventh of the pot "
         "is colour.", (_WEAK, _CHERRY), ("ratio", "ratios")),
    Term("mottle", "Cloudy patches, where flake or colour lies unevenly.",
         ((44.0, 42.0, 15.0), (38.0, 46.0, 17.0), (45.0, 41.0, 15.0)), ("mottling",)),
    Term("overlap", "How much of the last stroke each stroke covers; for candy 75% is usual.",
         (_WATERY, _CHERRY)),
    Term("overspray", "Paint that misses the work.", (_WEAK,)),
    Term("pot life", "How long a mix with hardener may be sprayed, from the first drop of it.",
         (_CHERRY,)),
    Term("recoat window", "The time in which the next coat still bites without sanding; the data "
         "sheet says how long.", (_CHERRY,)),
    Term("reducer", "Solvent added to thin a mix; it evaporates and leaves the colour in the film.",
         ((95.0, 0.0, 0.5),), ("thinner",)),
    Term("schedule", "The coats in the order sprayed: 2@6:1 2@3:1 is two coats at 6:1, then two at "
         "3:1.", (_WEAK, _WATERY, _DEEP)),
    Term("spray-out", "A card sprayed to see a colour before the work is.", (_CHERRY,),
         ("spray-outs", "test panel", "test card")),
    Term("step-up", "To go on with a stronger mix after some coats, made from what is left of the "
         "pot.", (_WATERY, _DEEP), ("step up", "step-ups")),
    Term("strength", "How much colour is on the panel in the end: its share of the mix times the "
         "coats.", (_WEAK, _CHERRY, _FULL)),
    Term("tack cloth", "A sticky cloth that takes dust off before a coat; used lightly, it leaves "
         "nothing behind.", (_SILVER,)),
    Term("tiger stripes", "Stripes along the strokes: more film where strokes overlap, less "
         "between.", (_CHERRY, _DEEP, _CHERRY, _DEEP), ("tiger stripe", "stripes")),
    Term("tip dry", "Paint drying on the fluid tip, which then spits.", (_FULL,)),
    Term("value", "How light or dark a colour is, hue aside; the ground sets most of it.",
         ((75.0, 0.0, 0.0), (50.0, 0.0, 0.0), (25.0, 0.0, 0.0))),
    Term("wet film", "The film as the gun lays it, before solvent leaves.", (_DEEP,)),
)  # fmt: skip
"""In alphabetical order but for pairs that explain one another. Common practice, no source, but for
aspecular angle (ASTM E2194), wet and dry film (ASTM D1212, ISO 2808)."""


_TERMS = {w.casefold(): term for term in GLOSSARY for w in (term.word, *term.also)}
_ANY = "|".join(re.escape(w) for w in sorted(_TERMS, key=len, reverse=True))
_PATTERN = re.compile(rf"(?<![\w-])({_ANY})(?![\w-])", re.IGNORECASE)


def first_places(text: str) -> list[tuple[int, int, Term]]:
    """Return where each word of the glossary first stands in a text.

    Parameters
    ----------
    text : str
        Plain text.

    Returns
    -------
    list of (int, int, Term)
        Start, end and word, in the order of the text, none overlapping; each word once, and the
        longest where several begin alike.

    Examples
    --------
    >>> [term.word for _, _, term in first_places("Read the flop before the clear coat.")]
    ['flop', 'clear coat']
    """
    found: dict[str, tuple[int, int, Term]] = {}
    for match in _PATTERN.finditer(text):
        term = _TERMS[match[1].casefold()]
        found.setdefault(term.word, (match.start(), match.end(), term))
    return sorted(found.values(), key=lambda place: place[0])
