"""The commands that teach: a first day, the trade's words, spraying troubles, reading a card."""

from __future__ import annotations

from typing import Annotated

from workbook.cli.common import ArchiveOption, JsonOption, opened, show, show_json
from workbook.cli.options import Option
from workbook.cli.printing import wrapped

__all__: list[str] = []


def _first_day(
    *,
    colour: Annotated[str, Option(help="The colour to learn, by its name.")],
    ratio: Annotated[str, Option(help="Of most cards, carrier to colour.")] = "6:1",
    archive: ArchiveOption = "panels.db",
) -> None:
    """Plan a first day: a let-down set of one colour, and what each card teaches.

    An archive of bare grounds is enough.
    """
    from matchlib.cautions import IN_SHORT
    from matchlib.domain import Colour, MixRatio
    from matchlib.lessons import first_day

    with opened(archive) as session:
        panels = session.archive.panels()
    cards = first_day(panels, Colour.parse(colour), ratio=MixRatio.parse(ratio))
    for i, card in enumerate(cards, 1):
        done = f" (done: {', '.join(card.done)})" if card.done else ""
        show(wrapped(f"{i}. {card.recipe}{done}. {card.teaches} {card.how}"))
    show(wrapped(IN_SHORT))


def _words(
    *,
    word: Annotated[str, Option(help="One word; all of them without.")] = "",
    json_: JsonOption = False,
) -> None:
    """Explain the trade's words as they are used here, one sentence each."""
    from matchlib.trade import GLOSSARY

    sought = " ".join(word.split()).casefold()
    found = [t for t in GLOSSARY if any(sought in w.casefold() for w in (t.word, *t.also))]
    if json_:
        show_json(found)
        return
    show(wrapped("\n".join(f"{t.word}: {t.meaning}" for t in found)) or "There is no such word.")


def _troubles(*, json_: JsonOption = False) -> None:
    """Say what to check when spraying goes wrong, the first thing first."""
    from matchlib.trade import TROUBLES

    if json_:
        show_json(TROUBLES)
        return
    for trouble in TROUBLES:
        lines = [f"{trouble.name}: {trouble.looks}"]
        lines += [f"{i}. {check}" for i, check in enumerate(trouble.check, 1)]
        show(wrapped("\n".join([*lines, f"The work as it is: {trouble.rescue}", ""])))
    show("Common practice, no source; the data sheets stand above it.")


def _how_to_read(*, archive: ArchiveOption = "panels.db") -> None:
    """Say how a card is read, and how many readings are enough by the archive's own spread."""
    from matchlib.overview import rereading
    from matchlib.trade import PROTOCOL

    with opened(archive) as session:
        found = rereading(session.archive.panels())
    lines = [
        f"{i}. {s.name}. {s.text} Write down: {s.ask}. ({s.source})"
        for i, s in enumerate(PROTOCOL, 1)
    ]
    lines.append("No card was read more than once." if found is None else found.words)
    show(wrapped("\n".join(lines)))
