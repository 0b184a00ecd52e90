"""Grounds and colours, neat or blended by parts."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from fractions import Fraction
from typing import ClassVar, Self

from matchlib.domain.parts import clean_name, format_parts, name_key, read_parts
from matchlib.errors import DomainError

__all__ = ["Blend", "Colour", "Ground", "check_one_pot"]

_LAYERS = re.compile(r"\b(?:then|followed by|over|on top of)\b", re.IGNORECASE)
_PART = re.compile(r"^(?P<name>.*\S)\s+(?P<parts>\d+(?:\.\d+)?|\.\d+|\d+/\d+)$", re.DOTALL)


@dataclass(frozen=True, slots=True)
class Blend:
    """Named parts by volume; one name is the neat thing."""

    # name and parts, each more than 0, no name twice
    parts: tuple[tuple[str, Fraction], ...] = field(compare=False)
    # what is compared: proportions, names without regard to capitals and Unicode form
    key: tuple[tuple[str, Fraction], ...] = field(init=False, repr=False)
    kind: ClassVar[str] = "blend"

    def __post_init__(self) -> None:
        parts = tuple(
            (clean_name(n, self.kind), read_parts(p, f"{n} share")) for n, p in self.parts
        )
        folded = [name_key(n) for n, _ in parts]
        if not parts or any(p == 0 for _, p in parts) or len(set(folded)) < len(folded):
            raise DomainError(
                f"This is not a {self.kind}.",
                expected=f"a name, or a blend such as 'first {self.kind} 3 + second {self.kind} 1'",
                got=repr(" + ".join(f"{n} {p}" for n, p in self.parts)),
                remedy="name each part once, with parts above 0.",
            )
        total = sum(p for _, p in parts)
        key = tuple(sorted((name_key(n), p / total) for n, p in parts))
        neat = ((parts[0][0], Fraction(1)),)
        object.__setattr__(self, "parts", parts if len(parts) > 1 else neat)
        object.__setattr__(self, "key", key)

    def __hash__(self) -> int:
        # Recipes are looked up by the thousand, and the hash of a Fraction is slow.
        return hash(tuple((name, *share.as_integer_ratio()) for name, share in self.key))

    @classmethod
    def parse(cls, text: object) -> Self:
        """Read a name, or a blend ``teal 2 + violet 1``."""
        pieces = str(text)[:2000].split("+")
        if len(pieces) == 1:
            return cls(((clean_name(text, cls.kind), Fraction(1)),))
        parts = []
        for piece in pieces:
            match = _PART.match(piece.strip())
            if match is None:
                raise DomainError(
                    f"A part of this {cls.kind} blend has no number of parts.",
                    expected=f"name and parts each, such as 'one {cls.kind} 2 + another 1'",
                    got=repr(str(text)[:80]),
                    remedy="write how many parts of each were mixed.",
                )
            parts.append((match["name"], read_parts(match["parts"], f"{match['name']} share")))
        return cls(tuple(parts))

    @property
    def names(self) -> tuple[str, ...]:
        """Names in the order written."""
        return tuple(n for n, _ in self.parts)

    @property
    def shares(self) -> dict[str, float]:
        """Share of the whole by `name_key` of each name [-], summing to 1."""
        return {name: float(share) for name, share in self.key}

    @property
    def neat(self) -> bool:
        """Whether it is one thing alone."""
        return len(self.parts) == 1

    def __str__(self) -> str:
        if self.neat:
            return self.parts[0][0]
        return " + ".join(f"{n} {format_parts(p)}" for n, p in self.parts)


def check_one_pot(colour: str) -> None:
    """Refuse a name that is new as a colour and reads as several, one sprayed after the other."""
    if _LAYERS.search(colour):
        raise DomainError(
            "These are several coats, not one colour.",
            expected="the name of what is in one pot",
            got=repr(colour[:80]),
            remedy="name each coat's colour in the schedule, in the order sprayed: "
            "2@6:1 cherry, 1@8:1 violet.",
        )


class Ground(Blend):
    """The opaque coat that sends the light back: metallic, pearl or solid, or a blend of them.

    Examples
    --------
    >>> Ground.parse("silver 3 + black 1").shares
    {'black': 0.25, 'silver': 0.75}
    """

    __slots__ = ()
    kind: ClassVar[str] = "ground"


class Colour(Blend):
    """The transparent colour (colorant), or a blend of colours by volume.

    Examples
    --------
    >>> Colour.parse("cherry 2 + honey 1").names
    ('cherry', 'honey')
    """

    __slots__ = ()
    kind: ClassVar[str] = "colour"
