"""A mix as a painter says it: parts, percent or weight, with reducer or hardener."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

from matchlib.domain import Colour, MixRatio
from matchlib.errors import DomainError
from matchlib.mixing.stated import exact
from matchlib.mixing.units import positive

__all__ = ["THIRDS", "Third", "read_mix"]

_REDUCERS = ("reducer", "thinner")
_HARDENERS = ("hardener", "activator", "catalyst")
THIRDS = _REDUCERS + _HARDENERS
"""What a third part of a mix may be called."""
_NUMBER = r"(\d+(?:\.\d+)?|\.\d+)"
_THREE = re.compile(
    rf"^(?P<two>.+?:.+?):\s*{_NUMBER}\s*(?:parts?\s+)?(?P<name>[a-z]*)$", re.IGNORECASE
)
_PERCENT = re.compile(
    rf"^{_NUMBER}\s*%\s*(?:colou?r\s*)?(?P<of>added|to the carrier|on the carrier|in the pot|"
    r"of the pot|of the mix)?$",
    re.IGNORECASE,
)
_THIRD = re.compile(rf"^(?P<name>[a-z]+)\s+{_NUMBER}\s*(?:%|:\s*{_NUMBER})$", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Third:
    """Reducer or hardener in a pot, at the same share at every ratio.

    Parameters
    ----------
    name : str
        Reducer or thinner, which leaves the film; hardener, activator or catalyst, which starts
        the pot life.
    share : float
        Parts of it to one part of carrier and colour together, by volume [-].

    Examples
    --------
    >>> Third.parse("hardener 10%").share
    0.1
    """

    name: str
    share: float

    def __post_init__(self) -> None:
        name = self.name.strip().casefold()
        if name not in THIRDS:
            raise DomainError(
                "The third part of this mix has no name.",
                expected=", ".join(THIRDS),
                got=repr(self.name[:40]),
                remedy="name it: 6:1:1 reducer, or 6:1:1 hardener. One leaves the film, the other "
                "starts the pot life.",
            )
        object.__setattr__(self, "name", name)
        positive(self.share, f"share of {name}", top=5)

    @classmethod
    def parse(cls, text: str) -> Third:
        """Read ``reducer 10%`` or ``hardener 1:7``: to the carrier and colour together.

        Parameters
        ----------
        text : str
            Its name and share.

        Returns
        -------
        Third
            Checked.

        Raises
        ------
        DomainError
            If it is not so written.
        """
        match = _THIRD.match(text.strip())
        if match is None or (match[3] is not None and float(match[3]) == 0):
            raise DomainError(
                "This is not a third part of a mix.",
                expected="its name and share of the carrier and colour together, such as reducer "
                "10% or hardener 1:7",
                got=repr(text[:60]),
                remedy="take the share from the data sheet.",
            )
        return cls(
            match["name"], float(match[2]) / (100.0 if match[3] is None else float(match[3]))
        )

    @property
    def hardens(self) -> bool:
        """Whether it starts the pot life."""
        return self.name in _HARDENERS

    @property
    def text(self) -> str:
        """Its share in words."""
        return f"{100 * self.share:.3g} parts {self.name} to 100 of carrier and colour"


def read_mix(
    text: str, *, densities: Mapping[str, float] | None = None, colour: Colour | None = None
) -> tuple[MixRatio, Third | None]:
    """Read a mix as a painter says it, and turn it into carrier : colour by volume.

    Parameters
    ----------
    text : str
        ``6:1``; ``6:1:1 reducer``; ``10% added`` (to 100 of carrier) or ``10% in the pot``;
        any of these with ``by weight`` after it.
    densities : mapping of str to float, optional
        [g/mL] of ``carrier``, ``colour`` and the third's name, for a mix by weight.
    colour : Colour, optional
        What is mixed, where densities are given by its own names.

    Returns
    -------
    ratio : MixRatio
        Carrier to colour by volume; to a hundredth of a part where it was a percentage or a weight.
    third : Third or None
        Reducer or hardener.

    Raises
    ------
    DomainError
        If it is no mix, says not of what it is a percentage, or lacks a density.

    Examples
    --------
    >>> ratio, third = read_mix("6:1:1 reducer")
    >>> str(ratio), third.name
    ('6:1', 'reducer')
    """
    written = " ".join(str(text)[:80].split())
    bare = re.sub(r"\s*\bby (weight|volume)\b", "", written, flags=re.IGNORECASE)
    weighed = re.search(r"\bby weight\b", written, flags=re.IGNORECASE) is not None
    percent, three = _PERCENT.match(bare), _THREE.match(bare)
    third, name = Fraction(0), ""
    if percent is not None:
        carrier, parts = _of_percent(percent, written)
    else:
        if three is not None:
            bare, third, name = three["two"].strip(), Fraction(three[2]), three["name"]
        ratio = MixRatio.parse(bare)
        carrier, parts = ratio.carrier, ratio.colour
        if three is not None:
            # As written, not reduced: the third part counts the parts that stand beside it.
            carrier *= (scale := Fraction(re.findall(_NUMBER, bare)[-1]) / ratio.colour)
            parts *= scale
    if weighed:
        known = {k.casefold(): v for k, v in (densities or {}).items()}
        if colour is not None and "colour" not in known and {*colour.shares} <= {*known}:
            known["colour"] = math.fsum(share * known[n] for n, share in colour.shares.items())
        carrier /= _density_of(known, "carrier")
        parts /= _density_of(known, "colour")
        third = third / _density_of(known, name) if third else third
    share = carrier / parts
    if weighed or percent is not None:
        share = Fraction(round(share * 100), 100) if share >= 1 else share.limit_denominator(100)
    held = Third(name, float(third / (carrier + parts))) if three is not None else None
    return MixRatio(share, Fraction(1)), held


def _of_percent(match: re.Match[str], written: str) -> tuple[Fraction, Fraction]:
    colour, of = Fraction(match[1]), (match["of"] or "").lower()
    added = of in ("added", "to the carrier", "on the carrier")
    if not of or not 0 < colour <= 100:
        raise DomainError(
            "A percentage needs to say of what.",
            expected="10% added (10 parts to 100 of carrier, which is 10:1), or 10% in the pot (a "
            "tenth of it, which is 9:1)",
            got=repr(written),
            remedy="write which of the two is meant.",
        )
    return (Fraction(100) if added else 100 - colour), colour


def _density_of(known: Mapping[str, float], name: str) -> Fraction:
    found = known.get(name.casefold())
    if found is None:
        raise DomainError(
            "Parts by weight cannot be turned into parts by volume.",
            expected=f"the density of the {name or 'third part'}",
            got="none",
            remedy="give the densities of carrier and colour from their data sheets, such as "
            "carrier=0.87.",
        )
    return exact(positive(found, f"density of the {name} [g/mL]", top=5))
