"""The trade's words, troubles and reading protocol as HTML, and its words linked on a page."""

from __future__ import annotations

import re

from matchlib.trade import GLOSSARY, PROTOCOL, TROUBLES, first_places
from workbook.figures.svg import Raw, esc
from workbook.figures.swatches import areas, numbers

__all__ = ["glossary_list", "linked", "protocol_list", "trouble_list"]


def _anchor(word: str) -> str:
    return "word-" + re.sub(r"[^a-z]+", "-", word.casefold()).strip("-")


_WORDS = "train_on_grounds.ipynb?part=words&amp;word="
_PROSE = {"p", "li", "figcaption"}
_PLAIN = {"a", "b", "button", "label", "strong", "summary", "svg", "table"}
"""Where no word is linked: what is pressed, names, drawings and figures."""
_SHOUTED = re.compile(r'role="alert"|wb-big')


def linked(html: str) -> Raw:
    """Return a page's HTML with each word of the glossary linked where it first stands in prose.

    `html`: as drawn. A word that stands before a fold is not linked again within it; folds beside
    each other have their own first words. The meaning is the link's title.
    """
    out, prose, plain = [], 0, 0
    folds: list[tuple[set[str], int]] = [(set(), 0)]
    for token in re.split(r"(<[^>]+>)", html):
        tag = re.match(r"<(/?)([a-z0-9]+)", token)
        if tag is None:
            out.append(_with_links(token, folds[-1][0]) if prose and not plain else token)
            continue
        step, name = (-1 if tag[1] else 1), tag[2]
        if name == "details" and step > 0:
            entry = 'id="word-' in token  # of the glossary itself
            folds.append((set(folds[-1][0]), int(entry)))
            plain += entry
        elif name == "details" and len(folds) > 1:
            plain -= folds.pop()[1]
        elif name in _PLAIN:
            plain += step
        elif name in _PROSE:
            prose = int(step > 0 and not _SHOUTED.search(token))
        out.append(token)
    return Raw("".join(out))


def _with_links(text: str, seen: set[str]) -> str:
    """Link the words of a text, already escaped, that are not in `seen`; they are added to it."""
    out, at = [], 0
    for start, end, term in first_places(text):
        if term.word in seen:
            continue
        seen.add(term.word)
        opened = (
            f'<a class="wb-word" href="{_WORDS}{_anchor(term.word)}" title="{esc(term.meaning)}">'
        )
        out += [text[at:start], opened, text[start:end], "</a>"]
        at = end
    return "".join(out) + text[at:]


def glossary_list() -> Raw:
    """Return every word with its sentence and swatch.

    Returned: HTML; the words are what `linked` leads to.
    """
    items = []
    for term in GLOSSARY:
        words, wide = ", ".join(map(numbers, term.labs)), 20 * len(term.labs) + 6
        chips = areas(term.labs, words=words, width=wide, height=30, edge=3) if term.labs else ""
        also = f' <span class="wb-muted">({esc(", ".join(term.also))})</span>' if term.also else ""
        items.append(
            f'<details class="wb-card" id="{_anchor(term.word)}"><summary>{esc(term.word)}'
            f'<span class="wb-pair">{chips}</span></summary><p>{esc(term.meaning)}{also}</p>'
            "</details>"
        )
    return Raw(
        '<p class="wb-muted">Swatches are invented, for orientation.</p>'
        f'<div class="wb-words">{"".join(items)}</div>'
    )


def trouble_list() -> Raw:
    """Return troubles, each folded: how it looks, what to check in order, what can be saved."""
    items = [
        f"<details><summary><strong>{esc(t.name)}</strong>: {esc(t.looks)}</summary>"
        f"<ol>{''.join(f'<li>{esc(c)}</li>' for c in t.check)}</ol>"
        f"<p>The work as it is: {esc(t.rescue)}</p></details>"
        for t in TROUBLES
    ]
    return Raw(
        "".join(items) + '<p class="wb-muted">Common practice, no source; the data sheets of '
        "ground, colour and clear stand above it.</p>"
    )


def protocol_list() -> Raw:
    """Return the reading protocol, each step folded."""
    items = [
        f"<details><summary>{i}. {esc(s.name)}</summary><p>{esc(s.text)}</p>"
        f'<p class="wb-muted">Write down: {esc(s.ask)}. ({esc(s.source)})</p></details>'
        for i, s in enumerate(PROTOCOL, 1)
    ]
    return Raw("".join(items))
