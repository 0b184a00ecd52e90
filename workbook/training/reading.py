"""What needs no law: how a card is read, what to check when spraying goes wrong, the words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from matchlib.overview import rereading
from workbook.figures import esc, glossary_list, protocol_list, trouble_list

if TYPE_CHECKING:
    from workbook.training.app import TrainingScreen

__all__ = ["draw_protocol", "draw_troubles", "draw_words"]


def draw_protocol(screen: TrainingScreen) -> tuple[str, str, str]:
    """Return how a card is read, and how many readings are enough; as `value.draw`."""
    found = rereading(screen.session.archive.panels())
    enough = (
        "No card of this archive was read more than once, so its own spread is not known: read "
        "three places of each."
        if found is None
        else found.words
    )
    source = "ASTM E1345's form, n ≥ (z s / e)², from memory."
    main = (
        "<p>Two readings are of the same card only if they were taken alike.</p>"
        f"{protocol_list()}<p><b>How many readings are enough.</b> {esc(enough)} "
        f'<span class="wb-muted">{esc(source)}</span></p>'
    )
    return "Reading a card", main, ""


def draw_troubles(screen: TrainingScreen) -> tuple[str, str, str]:
    """Return the spraying troubles, each folded; as `value.draw`."""
    return "When it goes wrong", f"<p>What to check, the first thing first.</p>{trouble_list()}", ""


def draw_words(screen: TrainingScreen) -> tuple[str, str, str]:
    """Return the glossary, to which words on the page lead; as `value.draw`."""
    word = screen.address.get("word", "")
    listed = str(glossary_list())
    if word:
        listed = listed.replace(f'id="{esc(word)}"', f'id="{esc(word)}" data-look="1"', 1)
    return "Words of the trade", listed, ""
