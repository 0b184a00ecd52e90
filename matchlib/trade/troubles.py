"""Spraying troubles: what they look like, and what to check first."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

__all__ = ["TROUBLES", "Trouble"]


@dataclass(frozen=True, slots=True)
class Trouble:
    """A trouble. Common practice, no source; the data sheet stands above it."""

    SHOWN: ClassVar = ("name", "looks", "check", "rescue")

    key: str  # short stable name
    name: str  # the trade's
    looks: str  # how it shows
    check: tuple[str, ...]  # what to check, the first thing first
    rescue: str  # what to do with the work as it is


TROUBLES = (
    Trouble(
        "stripes",
        "Tiger stripes",
        "Darker bands along the strokes, plainest from a distance and in the sun.",
        (
            "Overlap: 75% for candy, the same in every coat.",
            "Each coat's strokes set off half a pitch from the last, or crossed.",
            "The fan: one even shape on paper, no heavy ends; clean the air cap.",
            "The mix: where three strong coats make the colour, every stroke shows. Spray more "
            "coats of a weaker mix, or finish with a weaker one.",
        ),
        "Weaker coats, crossed, even it out if there is room for it to get darker; if not, back to "
        "the ground.",
    ),
    Trouble(
        "mottle",
        "Mottling",
        "Cloudy patches, often where the gun slowed down or the film went on too wet.",
        (
            "The ground alone, from all sides: most mottle in candy is in the ground.",
            "Coats too wet, or too soon one after the other: the flake swims.",
            "Distance and speed: closer and slower is wetter.",
            "Reducer too slow for the day.",
        ),
        "On a ground that is still open, a light drop coat. Under candy it stays.",
    ),
    Trouble(
        "dry",
        "Dry spray",
        "Rough, dull and pale; it soaks up the clear, and reads lighter until it has.",
        (
            "Distance: too far off.",
            "Air pressure too high, or fluid too little.",
            "Reducer too fast for a warm booth; mix too thick.",
            "Speed of the hand, above all at the turn of each stroke.",
        ),
        "Do not judge the colour by it, and do not sand it flat: candy sands off unevenly. Lay the "
        "next coats wetter; the clear levels a little of it.",
    ),
    Trouble(
        "spit",
        "Spitting and tip dry",
        "Drops among the mist: dark dots in candy that no coat hides.",
        (
            "Dried paint on tip and needle: wipe them between coats, with the trigger off.",
            "Too little in the cup, or its vent blocked.",
            "Loose fluid tip or worn packing: air gets into the paint.",
            "The mix: not strained, or past its pot life.",
        ),
        "Stop at once. A dot of strong colour in candy stays; the panel goes back to ground.",
    ),
    Trouble(
        "edges",
        "Dark edges and corners",
        "Edges, corners and the ends of strokes darker than the middle.",
        (
            "Edges sprayed first, and then again with every stroke, get two coats for one. Go "
            "round them once, or not at all.",
            "Trigger: on before the edge and off beyond it, never on the work.",
            "A narrower fan for narrow parts.",
        ),
        "Bring the middle up with a weaker mix, stopping short of the edge.",
    ),
    Trouble(
        "drop",
        "Drop coats",
        "A last light coat from further off: it lays flake evenly in a ground, and stipples candy.",
        (
            "On a ground while it is open: yes, if the data sheet has one.",
            "On candy: no. It lands dry, and every dot is a little more colour.",
        ),
        "A stippled candy coat may level under one weak wet coat.",
    ),
    Trouble(
        "recoat",
        "Past the recoat window",
        "The next coat wrinkles, lifts, or comes off with tape.",
        (
            "Recoat window on the data sheets of ground, colour and clear: the shortest counts.",
            "Total film of all coats, and the flash-off between them.",
            "Heat: a warm booth shortens the window.",
        ),
        "Candy cannot be sanded evenly: clear what is there, sand the clear and go on from that, "
        "if the data sheets allow it. Extract the dust, and wear what they name.",
    ),
    Trouble(
        "tack",
        "Tack cloth marks",
        "Streaks or fish eyes in the direction of wiping.",
        (
            "Pressed too hard, or the cloth is old: resin stays behind.",
            "Wiped before the coat had flashed off.",
            "Between coats of candy: no cloth, unless there is dust to be seen.",
        ),
        "Clean as the data sheet says; on candy a wiped streak stays lighter.",
    ),
)
"""In the order in which they are met on candy."""
