"""The trade's words, troubles and reading protocol as HTML, with its words linked."""

from __future__ import annotations

import re
from collections.abc import Sequence

from matchlib.trade import GLOSSARY, PROTOCOL, TROUBLES, Trouble, first_places
from workbook.figures.svg import Raw, esc
from workbook.figures.swatches import chip

__all__ = ["glossary_list", "linked", "protocol_list", "trouble_list"]


def _anchor(word: str) -> str:
    return "word-" + re.sub(r"[^a-z]+", "-", word.casefold()).strip("-")


WORDS = "train_on_grounds.ipynb?part=words"
"""Where the glossary is, for other pages."""


def linked(text: str, seen: set[str] | None = None, *, away: bool = False) -> Raw:
    """Return text in which each word of the glossary is linked where it first stands.

    `text`: plain text; escaped. `seen`: words linked before on this page; those of this text are
    added. `away`: whether the glossary is on another page. Returned: HTML. The meaning is the
    link's title; it leads to the word in `glossary_list`.
    """
    out, at = [], 0
    for start, end, term in first_places(text):
        if seen is not None and term.word in seen:
            continue
        if seen is not None:
            seen.add(term.word)
        out.append(esc(text[at:start]))
        anchor = _anchor(term.word)
        there = f'href="#{anchor}" data-do="word" data-value="{anchor}"'
        if away:
            there = f'href="{WORDS}&amp;word={anchor}"'
        opened = f'<a {there} title="{esc(term.meaning)}">'
        out.append(f"{opened}{esc(text[start:end])}</a>")
        at = end
    return Raw("".join(out) + esc(text[at:]))


def glossary_list() -> Raw:
    """Return every word with its sentence and swatch.

    Returned: HTML; the words are what `linked` leads to.
    """
    items = []
    for term in GLOSSARY:
        chips = "".join(chip(lab, size=30) for lab in term.labs)
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


def trouble_list(troubles: Sequence[Trouble] = TROUBLES, *, away: bool = False) -> Raw:
    """Return troubles, each folded: how it looks, what to check in order, what can be saved.

    `troubles`: all of them where not given. `away`: as of `linked`.
    """
    # Folded apart, each with its own first words.
    seen: list[set[str]] = [set() for _ in troubles]
    items = [
        f"<details><summary><strong>{esc(t.name)}</strong>: {esc(t.looks)}</summary>"
        f"<ol>{''.join(f'<li>{linked(c, own, away=away)}</li>' for c in t.check)}</ol>"
        f"<p>The work as it is: {linked(t.rescue, own, away=away)}</p></details>"
        for t, own in zip(troubles, seen, strict=True)
    ]
    return Raw(
        "".join(items) + '<p class="wb-muted">Common practice, no source; the data sheets of '
        "ground, colour and clear stand above it.</p>"
    )


def protocol_list(*, away: bool = False) -> Raw:
    """Return the reading protocol, each step folded; `away`: as of `linked`."""
    seen: set[str] = set()
    items = [
        f"<details><summary>{i}. {esc(s.name)}</summary><p>{linked(s.text, seen, away=away)}</p>"
        f'<p class="wb-muted">Write down: {esc(s.ask)}. ({esc(s.source)})</p></details>'
        for i, s in enumerate(PROTOCOL, 1)
    ]
    return Raw("".join(items))
