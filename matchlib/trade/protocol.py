"""How a card is read, so that two readings of it mean the same; and how many are enough."""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import NormalDist

__all__ = ["PROTOCOL", "ProtocolStep", "readings_needed"]

_LEAST = 3


@dataclass(frozen=True, slots=True)
class ProtocolStep:
    """One thing that readings are made alike in."""

    key: str  # short stable name
    name: str  # the words for it
    text: str  # what to do, and why
    ask: str  # what is written down of it; empty where nothing is
    source: str  # where it comes from


_TRADE = "common practice, no source"

PROTOCOL = (
    ProtocolStep(
        "white",
        "White tile",
        "Clean the tile; calibrate when the instrument asks, and once a session. Then read a card "
        "that is always kept: it shows drift before a customer does.",
        "Tile at ______, kept card ΔE ______",
        "ASTM E1164; kept card: " + _TRADE,
    ),
    ProtocolStep(
        "dry",
        "Dry",
        "Dry through, as the data sheet says, and always as long after spraying: candy goes on "
        "changing while solvent leaves it.",
        "Hours after the last coat ______",
        _TRADE,
    ),
    ProtocolStep(
        "clear",
        "Same clear",
        "Compare cleared with cleared, under the same clear coat; a card without clear reads "
        "lighter and greyer.",
        "Clear and coats of it ______",
        _TRADE,
    ),
    ProtocolStep(
        "temperature",
        "Card at room temperature",
        "Card and instrument at the room's temperature, not out of the oven or the cold van: reds "
        "and oranges shift with warmth.",
        "Card °C ______",
        "thermochromism of reds and oranges: from memory; " + _TRADE,
    ),
    ProtocolStep(
        "places",
        "Three places",
        "At least three places, a hand apart, away from edges and runs; lift the instrument "
        "between them. Keep all of them, not the best.",
        "All three readings",
        "several places of one specimen: ASTM E1345; the number of three: " + _TRADE,
    ),
    ProtocolStep(
        "turn",
        "Same way round",
        "Over flake, mark the direction of spraying on the back and hold the instrument along it "
        "every time: turned by a quarter, the card may read differently.",
        "Instrument along the arrow ______",
        _TRADE,
    ),
    ProtocolStep(
        "light",
        "Lamp and sun",
        "Then look: under the booth's lamp, and outside in the shade and in the sun. A card that "
        "passes by numbers and not in the sun has not passed.",
        "Lamp ______ shade ______ sun ______",
        _TRADE,
    ),
    ProtocolStep(
        "face-flop",
        "Face and flop",
        "Tilt card and sample together, edge to edge, from the shine to well away from it; candy "
        "over flake may match on the face and not on the flop.",
        "Face ______ flop ______",
        _TRADE,
    ),
)
"""In the order of the work."""


def readings_needed(sd: float, *, within: float, confidence: float = 0.95) -> int:
    """Return how many readings make a mean that is good to so much."""
    z = NormalDist().inv_cdf(0.5 + confidence / 2.0)
    return max(_LEAST, math.ceil((z * sd / within) ** 2 - 1e-9))
