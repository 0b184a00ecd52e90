"""What a painter of transparent colour knows: words, spraying troubles, how to read a card.

Texts only, and the one formula of how many readings are enough. Where no source is named it is
common practice, no source; a product's data sheet stands above all of it.
"""

from __future__ import annotations

from matchlib.trade.glossary import GLOSSARY, Term, first_places
from matchlib.trade.protocol import PROTOCOL, ProtocolStep, readings_needed
from matchlib.trade.troubles import TROUBLES, Trouble, troubles_at

__all__ = [
    "GLOSSARY",
    "PROTOCOL",
    "TROUBLES",
    "ProtocolStep",
    "Term",
    "Trouble",
    "first_places",
    "readings_needed",
    "troubles_at",
]
