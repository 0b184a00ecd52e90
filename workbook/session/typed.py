"""Numbers as people type them: with comma or point, three of them for a colour."""

from __future__ import annotations

import contextlib
import math
import re

from matchlib.errors import DomainError

__all__ = ["number_typed", "three_typed", "whole_typed"]

_HEAD = re.compile(r"\b(?:CIE)?\s*L\*?\s*a\*?\s*b\*?(?![\w*])[:=]?", re.IGNORECASE)
_NAMES = re.compile(r"[lab]\s*\*?\s*[=:]?\s*(?=[-+−\d.,])", re.IGNORECASE)


def number_typed(text: str, what: str) -> float | None:
    """Read one number.

    `text`: as typed; empty for none. Returned: None where nothing was typed.
    """
    plain = text.strip().replace("−", "-").replace(",", ".")
    if not plain:
        return None
    with contextlib.suppress(ValueError):
        value = float(plain)
        if math.isfinite(value):
            return value
    raise DomainError(
        f"{what} is not a number.",
        expected="such as 4 or 22.5",
        got=repr(text[:40]),
        remedy="type the number alone, or leave it empty.",
    )


def whole_typed(text: str, what: str) -> int | None:
    """Read one whole number; as `number_typed`.

    Returned: None where nothing was typed.
    """
    value = number_typed(text, what)
    if value is None or value == int(value):
        return None if value is None else int(value)
    raise DomainError(
        f"{what} is not a whole number.", expected="such as 4", got=text[:40], remedy="count whole."
    )


def three_typed(text: str) -> tuple[float, float, float] | None:
    """Read a colour as it is typed or pasted.

    `text`: ``27.1 45.9 28.5``, ``27,1; 45,9; 28,5``, ``L* 27.1 a* 45.9 b* 28.5``; empty for none.
    Returned: L*, a*, b*; None where nothing was typed.
    """
    if not text.strip():
        return None
    plain = _NAMES.sub(" ", _HEAD.sub(" ", text))
    parts = [p for p in re.split(r"[\s;]+", plain.strip()) if p.strip(",")]
    if len(parts) != 3:
        parts = [p for p in re.split(r"[\s;,]+", plain.strip()) if p]
    if len(parts) != 3:
        raise DomainError(
            "A colour is three numbers.",
            expected="L*, a* and b*, such as 27.1 45.9 28.5",
            got=repr(text[:60]),
            remedy="type all three with a blank between them.",
        )
    values = [
        number_typed(p.strip(","), name) for p, name in zip(parts, ("L*", "a*", "b*"), strict=True)
    ]
    light, red, yellow = (float(v or 0.0) for v in values)
    return light, red, yellow
