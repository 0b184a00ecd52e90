"""The parts in the cup, drawn and said: carrier below, colour on top, each in words.

The cup is straight-sided, so that height is volume. Each layer has its own hatching and its own
words, so that neither colour nor sight is needed to tell carrier from colour; what a screen reader
speaks is made from the same parts as the drawing.
"""

from __future__ import annotations

import hashlib
import html
import math
from dataclasses import dataclass
from fractions import Fraction

from matchlib.domain import Colour, MixRatio, Recipe
from matchlib.domain.parts import format_parts

__all__ = [
    "HATCHES",
    "CupLayer",
    "cup_layers",
    "cup_speech",
    "cup_svg",
    "cups_of",
    "label_heights",
]

#: Hatching by layer: carrier is dotted, colours are ruled each in their own way.
HATCHES = ("dots", "rising", "cross", "upright", "falling", "level")
_MOST_TICKS = 24


@dataclass(frozen=True, slots=True)
class CupLayer:
    """One layer of the cup.

    `what`: ``carrier``, ``colour`` or ``colour (name)``. `parts`: parts by volume. `low`, `high`:
    where it lies in the filled height [-], 0 to 1. `hatch`: one of `HATCHES`.
    """

    what: str
    parts: Fraction
    low: float
    high: float
    hatch: str

    @property
    def words(self) -> str:
        """Parts and what they are of, such as ``6 parts carrier``."""
        count = format_parts(self.parts)
        return f"{count} part{'s' * (count != '1')} {self.what}"


def cups_of(recipe: Recipe) -> list[tuple[MixRatio, Colour]]:
    """Return what is in a recipe's cups, each once, in the order sprayed: ratio and colour."""
    return list(dict.fromkeys((s.ratio, c) for c, run in recipe.layers for s in run.steps))


def cup_layers(ratio: MixRatio, colour: Colour | None = None) -> tuple[CupLayer, ...]:
    """Return what is in the cup from the bottom up, carrier first.

    `colour`: the colour's name or blend; a blend makes whole parts of all. Returned: carrier, if
    there is any, then each colour in the order written.
    """
    parts: list[tuple[str, Fraction]] = [("carrier", ratio.carrier)]
    if colour is None:
        parts.append(("colour", ratio.colour))
    elif colour.neat:
        parts.append((f"colour ({colour.names[0]})", ratio.colour))
    else:
        whole = sum((p for _, p in colour.parts), start=Fraction(0))
        shares = [ratio.colour * p / whole for _, p in colour.parts]
        # Whole parts for all: 6:1 of a 2 + 1 blend is 18, 2 and 1.
        up = math.lcm(*(s.denominator for s in (ratio.carrier, *shares)))
        down = math.gcd(*(int(s * up) for s in (ratio.carrier, *shares)))
        parts = [("carrier", ratio.carrier * up / down)]
        parts += [
            (f"colour ({n})", s * up / down) for n, s in zip(colour.names, shares, strict=True)
        ]
    parts = [(what, p) for what, p in parts if p > 0]
    total = sum((p for _, p in parts), start=Fraction(0))
    layers, low = [], Fraction(0)
    for place, (what, share) in enumerate(parts):
        hatch = HATCHES[0] if what == "carrier" else HATCHES[1 + (place - 1) % (len(HATCHES) - 1)]
        layers.append(
            CupLayer(what, share, float(low / total), float((low + share) / total), hatch)
        )
        low += share
    return tuple(layers)


def cup_speech(ratio: MixRatio, colour: Colour | None = None) -> str:
    """Say the drawing: what a screen reader speaks.

    Returned: sentences; carrier is always named before colour.
    """
    layers = cup_layers(ratio, colour)
    text = "A measuring cup. From the bottom up: " + ", then ".join(x.words for x in layers) + ". "
    text += f"That is {ratio.words}, written {ratio}; colour is {ratio.fraction:.1%} of the cup."
    if ratio.carrier == 0:
        text += " There is no carrier: check that this is meant."
    elif ratio.looks_reversed:
        text += " There is more colour than carrier: check that it is not the wrong way round."
    return text


def label_heights(layers: tuple[CupLayer, ...], *, height: float, gap: float) -> list[float]:
    """Spread the labels of the layers so that none overlaps.

    `height`: height of the filled cup, at least ``gap * (len(layers) - 1)``.
    """
    places: list[float] = []
    for layer in layers:
        middle = (layer.low + layer.high) / 2 * height
        places.append(max(middle, places[-1] + gap if places else 0.0))
    ceiling = height
    for index in range(len(places) - 1, -1, -1):
        places[index] = min(places[index], ceiling)
        ceiling = places[index] - gap
    return places


def _wrap(text: str) -> list[str]:
    lines, most = [""], 15
    for word in text.split():
        pieces = [word[i : i + most] for i in range(0, len(word), most)]
        for piece in pieces:
            joined = f"{lines[-1]} {piece}".strip()
            if len(joined) <= most or not lines[-1]:
                lines[-1] = joined
            else:
                lines.append(piece)
    return lines


def _pattern(name: str, ident: str) -> str:
    stroke = 'stroke="#000" stroke-width="1" stroke-opacity="0.75" fill="none"'
    marks = {
        "dots": '<circle cx="3" cy="3" r="0.9" fill="#000" fill-opacity="0.55"/>',
        "rising": f'<path d="M-1 9 L9 -1" {stroke}/>',
        "falling": f'<path d="M-1 -1 L9 9" {stroke}/>',
        "cross": f'<path d="M-1 9 L9 -1 M-1 -1 L9 9" {stroke}/>',
        "upright": f'<path d="M4 0 V8" {stroke}/>',
        "level": f'<path d="M0 4 H8" {stroke}/>',
    }[name]
    return (
        f'<pattern id="{ident}-{name}" width="8" height="8" patternUnits="userSpaceOnUse">'
        f"{marks}</pattern>"
    )


def cup_svg(ratio: MixRatio, colour: Colour | None = None) -> str:
    """Draw the cup as SVG with its words inside and a spoken description.

    The hatching and the words tell the layers apart. Returned: one ``svg`` element, all names
    escaped, which asks for nothing from outside.
    """
    layers = cup_layers(ratio, colour)
    speech = cup_speech(ratio, colour)
    ident = "cup" + hashlib.sha256(speech.encode()).hexdigest()[:10]
    wrapped = [_wrap(layer.words) for layer in layers]
    gap = 16.0 * max(len(lines) for lines in wrapped) + 8.0
    filled = max(150.0, gap * len(layers))
    top, left, wide = 26.0, 6.0, 70.0
    bottom = top + filled
    places = label_heights(layers, height=filled - gap / 2, gap=gap)
    out = []
    for layer in layers:
        y, tall = bottom - layer.high * filled, (layer.high - layer.low) * filled
        paint = "#f4f4f4" if layer.what == "carrier" else "#b0b0b0"
        box = f'x="{left}" y="{y:.2f}" width="{wide}" height="{tall:.2f}"'
        out.append(f'<rect {box} fill="{paint}"/>')
        out.append(
            f'<rect {box} fill="url(#{ident}-{layer.hatch})" stroke="#000" stroke-width="1"/>'
        )
    total = sum((x.parts for x in layers), start=Fraction(0))
    if total <= _MOST_TICKS:
        for tick in range(1, int(total) + 1):
            y = bottom - float(tick / total) * filled
            out.append(f'<path d="M{left} {y:.2f} h14" stroke="#000" stroke-width="1.5"/>')
    rim = f"M{left} {top - 14} V{bottom} H{left + wide} V{top - 14}"
    out.append(f'<path d="{rim}" fill="none" stroke="currentColor" stroke-width="2.5"/>')
    for layer, lines, place in zip(layers, wrapped, places, strict=True):
        middle = bottom - (layer.low + layer.high) / 2 * filled
        y = bottom - place - 4.0
        out.append(
            f'<path d="M{left + wide - 6} {middle:.2f} L{left + wide + 12} {y:.2f} h6" '
            'fill="none" stroke="currentColor" stroke-width="1.2"/>'
        )
        weight = "" if layer.what == "carrier" else ' font-weight="bold"'
        start = y + 4.5 - 8.0 * (len(lines) - 1)
        spans = "".join(
            f'<tspan x="{left + wide + 22}" y="{start + 16 * i:.2f}">{html.escape(line)}</tspan>'
            for i, line in enumerate(lines)
        )
        out.append(f'<text fill="currentColor" font-size="14"{weight}>{spans}</text>')
    tall = bottom + 10.0
    patterns = "".join(_pattern(h, ident) for h in sorted({x.hatch for x in layers}))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" width="212" '
        f'viewBox="0 0 212 {tall:.0f}" aria-labelledby="{ident}-t {ident}-d" '
        'font-family="sans-serif">'
        f'<title id="{ident}-t">{html.escape(ratio.words)}</title>'
        f'<desc id="{ident}-d">{html.escape(speech)}</desc>'
        f"<defs>{patterns}</defs>{''.join(out)}</svg>"
    )
