"""Numbers of parts and names, checked and written one way everywhere."""

from __future__ import annotations

import unicodedata
from fractions import Fraction
from typing import cast

from matchlib.errors import DomainError

__all__ = ["MAX_PARTS", "clean_name", "clean_text", "format_parts", "name_key", "read_parts"]

MAX_PARTS = 10_000
_MAX_TEXT = 10_000


def clean_name(text: object, what: str) -> str:
    """Return a name with its white space folded, or refuse it.

    Parameters
    ----------
    text : object
        The name as typed.
    what : str
        What is being named, for the error.

    Returns
    -------
    str
        The name, 1 to 80 printable characters.

    Raises
    ------
    DomainError
        If it is empty, too long, or holds a character that recipes use as a sign.

    Examples
    --------
    >>> clean_name("  pale   gold ", "ground")
    'pale gold'
    """
    name = unicodedata.normalize("NFC", " ".join(str(text).split()))
    bad = sorted(set(name) & set("+@\t\r\n")) or [c for c in name if not c.isprintable()]
    if not name or len(name) > 80 or bad:
        raise DomainError(
            f"This is not a usable name for a {what}.",
            expected="1 to 80 printable characters without + or @",
            got=repr(str(text)[:100]),
            remedy="give it a short plain name.",
        )
    return name


def name_key(name: str) -> str:
    """Return what two spellings of one name have in common.

    Parameters
    ----------
    name : str
        A name.

    Returns
    -------
    str
        Without regard to capitals, white space and Unicode form.

    Examples
    --------
    >>> name_key("Pale  Gold")
    'pale gold'
    """
    folded = unicodedata.normalize("NFKC", " ".join(name.split())).casefold()
    return unicodedata.normalize("NFKC", folded)


def clean_text(text: object, what: str) -> str:
    """Return free text in the one form in which it survives files and archives, or refuse it."""
    clean = str(text).replace("\r\n", "\n").replace("\r", "\n").strip()
    odd = [c for c in clean if unicodedata.category(c) in ("Cc", "Cs") and c not in "\n\t"]
    odd += [c for c in clean if c in "\x85\u2028\u2029\ufffe\uffff"]
    if odd or len(clean) > _MAX_TEXT:
        raise DomainError(
            f"The {what[:80]} is not plain text.",
            expected=f"at most {_MAX_TEXT} characters, none of them a control character",
            got=f"{len(clean)} characters" + (f" with {odd[0]!r}" if odd else ""),
            remedy="write it again in plain words.",
        )
    return clean


def format_parts(value: Fraction) -> str:
    """Write a number of parts the shortest exact way, decimals before fractions.

    Parameters
    ----------
    value : Fraction
        Parts by volume.

    Returns
    -------
    str
        For example ``6``, ``2.5`` or ``10/3``.

    Examples
    --------
    >>> from fractions import Fraction
    >>> format_parts(Fraction(5, 2))
    '2.5'
    """
    for digits in range(4):
        scaled = value * 10**digits
        if scaled.denominator == 1:
            return f"{float(value):.{digits}f}"
    return f"{value.numerator}/{value.denominator}"


def read_parts(value: object, what: str) -> Fraction:
    """Return a number of parts exactly, or refuse it."""
    try:
        if isinstance(value, bool):
            raise TypeError
        if isinstance(value, float):
            value = repr(float(value))
        if isinstance(value, str) and ("e" in value.lower() or len(value) > 40):
            # An exponent can ask for a number of a billion digits.
            raise ValueError
        parts = Fraction(cast("str", value))  # or int or Fraction; what is none of them raises
    except (TypeError, ValueError, ZeroDivisionError, OverflowError):
        parts = Fraction(-1)
    if not 0 <= parts <= MAX_PARTS or parts.denominator > MAX_PARTS:
        raise DomainError(
            f"The {what} is not a number of parts.",
            expected=f"a number from 0 to {MAX_PARTS}",
            got=repr(value),
            remedy="give parts by volume, such as 6 or 2.5.",
        )
    return parts
