"""What a painter of transparent colour knows: words, spraying troubles, how to read a card.

Texts only, and the one formula of how many readings are enough. Where no source is named it is
common practice, no source; a product's data sheet stands above all of it.
"""

from __future__ import annotations

from matchlib.trade.glossary import GLOSSARY, first_places
from matchlib.trade.protocol import PROTOCOL
from matchlib.trade.troubles import TROUBLES

__all__ = [
    "GLOSSARY",
    "PROTOCOL",
    "TROUBLES",
    "first_places",
]
