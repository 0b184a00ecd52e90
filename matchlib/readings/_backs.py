"""Coats and mix ratios as people write them: ``4 to 1``, ``4c 5:1``, ``6:1 x3 then 3:1 x2``.

A text is cut into tokens and these into steps; what remains is refused, and an order of a ratio
that its words do not state is left open, for whoever asks the shop.
"""

from __future__ import annotations

import re
from fractions import Fraction
from functools import lru_cache
from typing import NamedTuple

from matchlib.domain import CoatSchedule, CoatStep, MixRatio
from matchlib.errors import FileError

__all__ = [
    "Step",
    "colour_apart",
    "order_of_words",
    "read_back",
    "schedule_of",
    "units_in",
]

_CARRIER = "carrier|base|binder|clear|reducer|intercoat|thinner|basecoat|mixing clear"
_COLOUR = "colou?r(?:ant)?|toner|dye|candy|concentrate|tint|pigment"
_UNITS = {"fl": "oz", "cc": "ml", "part": "parts", "pt": "parts", "pts": "parts"}
_EDGE = r"(?:(?<![^\W\d_])|(?![^\W\d_]))"  # of a word, which a number may touch: 3cts, 40ml
_TOKEN = re.compile(
    (
        r"\s*(?:"
        r"(?P<count>\(\s*\d{1,3}\s*(?:x|c|coats?)?\s*\))"
        r"|(?P<num>\d{1,12}(?:\.\d{1,12})?|\.\d{1,12})"
        r"|(?P<brk>->|→|;|,|\+|&|\n|\bthen\b|\band then\b|\band\b|\bfollowed by\b)"
        r"|(?P<at>@)|(?P<sep>:|/|-|–|—|\bto\b)|(?P<into>\b(?:in|into|per)\b)"
        r"|(?P<x>[x×*](?=\s*[\d.(])|[x×*]|\btimes\b)"
        r"|(?P<coat>\b(?:ct|cts|coats?|passes|pass|layers?|c)\b\.?)"
        r"|(?P<pct>%)|(?P<unit>\b(?:oz|ml|cl|g|cc|parts?|pts?|fl)\b\.?)"
        rf"|(?P<carrier>\b(?:{_CARRIER})\b)|(?P<colour>\b(?:{_COLOUR})\b)"
        r"|(?P<neat>\b(?:neat|straight|undiluted)\b)"
        r"|(?P<skip>\bof\b|\bat\b|[().]|\bcolou?r coats?\b|\bratio\b|\bmix(?:ed)?\b))"
    ).replace(r"\b", _EDGE),
    re.IGNORECASE,
)
_LAID = re.compile(  # how a coat was laid, which is no colour's name
    r"(?:(?:wet|dry|full|medium|med|light|heavy|thin|thick|mist|dust|tack|fog|half)\s*)+",
    re.IGNORECASE,
)
_NAME = re.compile(r"\s*[^\W\d_]{2,}")
# a decimal comma for sure: as a list it would make no sense
_COMMAS = re.compile(r"\s*\d+,\d+\s*:\s*\d+(?:,\d+)?\s*|\s*\d+\s*:\s*\d+,\d+\s*")


class Step(NamedTuple):
    """So many coats (None where unsaid) of a mix of two numbers as written.

    `order` is ``carrier`` or ``colour`` where words say which comes first, else None. `kind` is
    ``ratio``, ``bare`` (one number alone), ``percent``, or ``none`` (coats alone).
    """

    coats: int | None
    first: Fraction
    second: Fraction
    order: str | None
    kind: str


def order_of_words(text: str) -> str | None:
    """Return ``carrier`` or ``colour`` where the name of a column says which comes first."""
    words = re.findall(rf"\b(?:({_CARRIER})|({_COLOUR}))\b", text, re.IGNORECASE)
    kinds = ["carrier" if c else "colour" for c, _ in words]
    if len(kinds) == 2 and kinds[0] != kinds[1] and re.search(r"[:/]|\bto\b|-", text):
        return kinds[0]
    return None


def units_in(text: str) -> set[str]:
    """Return the units that a text measures in, each by one name."""
    found = re.findall(rf"{_EDGE}(?:oz|ml|cl|g|cc|parts?|pts?|fl){_EDGE}", text, re.IGNORECASE)
    return {_UNITS.get(unit.casefold(), unit.casefold()) for unit in found}


@lru_cache(maxsize=8192)
def read_back(text: str, decimal: str = ".") -> tuple[Step, ...]:
    """Return the steps of a text; raises FileError where it cannot be understood."""
    if len(text) > 1000:
        raise _unclear(text)
    plain = text
    if ("@" not in plain and decimal != ".") or _COMMAS.fullmatch(plain):
        plain = re.sub(r"(\d),(\d)", r"\1.\2", plain)
    tokens, at = [], 0
    while at < len(plain.rstrip()):
        match = _TOKEN.match(plain, at)
        if match is None:
            raise _unclear(text)
        at = match.end()
        if match.lastgroup != "skip":
            tokens.append((str(match.lastgroup), match[match.lastgroup or 0].strip()))
        if len(tokens) > 400:
            raise _unclear(text)
    steps = _joined(_Parser(tokens, text).steps())
    kinds = {s.kind for s in steps}
    if not steps or ("bare" in kinds and kinds & {"ratio", "percent"}):
        raise _unclear(text)
    return tuple(steps)


def colour_apart(text: str) -> tuple[str, str]:
    """Return the colour and the mix of one cell, as ``ruby 4 to 1``; no colour if in pieces."""
    at, before = 0, 0
    pieces: list[tuple[int, int]] = []
    while at < len(text):
        word = _NAME.match(text, at)
        if word and not _TOKEN.fullmatch(word[0]):
            if pieces and not text[before:at].strip(" -"):
                pieces[-1] = (pieces[-1][0], word.end())
            else:
                pieces.append((word.start(), word.end()))
            at = before = word.end()
        else:
            token = word or _TOKEN.match(text, at)
            at = token.end() if token else at + 1
    if len(pieces) != 1:
        return "", text
    start, end = pieces[0]
    if _LAID.fullmatch(text[start:end].strip()):
        return "", text
    return text[start:end].strip(), f"{text[:start]} {text[end:]}".strip()


class _Parser:
    """One pass over the tokens; `kinds` is what is looked ahead in."""

    def __init__(self, tokens: list[tuple[str, str]], text: str) -> None:
        self.tokens, self.text, self.i = tokens, text, 0

    def kind(self, ahead: int = 0) -> str:
        at = self.i + ahead
        return self.tokens[at][0] if at < len(self.tokens) else ""

    def take(self) -> str:
        self.i += 1
        return self.tokens[self.i - 1][1]

    def steps(self) -> list[Step]:
        found: list[Step] = []
        while self.kind():
            while self.kind() in ("brk", "unit") or (
                self.kind() == "sep" and self.kind(2) == "coat"
            ):
                self.take()
            if not self.kind():
                break
            coats = self.coats_before()
            while self.kind() in ("sep", "at") and coats is not None:
                self.take()
            mix = self.mix()
            if coats is None and mix is not None:
                coats = self.coats_after()
            if mix is None and coats is None:
                raise _unclear(self.text)
            found.append(Step(coats, *(mix or (Fraction(0), Fraction(0), None, "none"))))
        return found

    def coats_before(self) -> int | None:
        if self.kind() == "count":
            return self.counted()
        if self.kind() != "num":
            return None
        if self.kind(1) in ("coat", "at") or (
            self.kind(1) == "x" and self.kind(2) in ("num", "neat", "coat")
        ):
            number = self.whole(self.take())
            self.take()
            while self.kind() == "coat" or (self.kind() == "at" and self.kind(1) == "num"):
                self.take()
            return number
        return None

    def counted(self) -> int:
        return int("".join(c for c in self.take() if c.isdecimal()))

    def coats_after(self) -> int | None:
        if self.kind() == "count":
            return self.counted()
        ahead = 1 if self.kind() in ("x", "at") else 0
        if self.kind(ahead) != "num":
            return None
        follows = self.kind(ahead + 1)
        if (ahead and follows not in ("sep", "into")) or (not ahead and follows == "coat"):
            self.i += ahead
            number = self.whole(self.take())
            while self.kind() in ("coat", "x"):
                self.take()
            return number
        return None

    def mix(self) -> tuple[Fraction, Fraction, str | None, str] | None:
        if self.kind() == "neat":
            self.take()
            return Fraction(0), Fraction(1), "carrier", "ratio"
        if self.kind() != "num":
            return None
        start = self.i
        first = Fraction(self.take())
        mine = self.words()
        if self.kind() == "pct":
            self.take()
            self.words()
            return first, Fraction(100), None, "percent"
        if self.kind() not in ("sep", "into"):
            if self.kind() == "num" or mine:
                raise _unclear(self.text)
            return first, Fraction(1), None, "bare"
        into = self.kind() == "into"
        self.take()
        if self.kind() != "num":
            raise _unclear(self.text)
        second = Fraction(self.take())
        theirs = self.words()
        order = mine or {"carrier": "colour", "colour": "carrier"}.get(theirs or "")
        units = units_in(" ".join(text for _, text in self.tokens[start : self.i]))
        if (mine and mine == theirs) or len(units) > 1:
            raise _unclear(self.text)
        if into and order is None:
            order = "colour"  # colour goes into the carrier, never the other way
        return first, second, order, "ratio"

    def words(self) -> str | None:
        found = None
        while self.kind() in ("unit", "carrier", "colour"):
            kind = self.kind()
            self.take()
            found = kind if kind != "unit" else found
        return found

    def whole(self, number: str) -> int:
        if "." in number or len(number) > 6:
            raise FileError(
                "coats is not a whole number.",
                expected="a whole number such as 4",
                got=repr(self.text[:40]),
                remedy="count the colour coats; write half-strength coats as a weaker ratio.",
            )
        return int(number)


def _joined(steps: list[Step]) -> list[Step]:
    # "4 coats, 6:1" and "6:1, 4 coats" are one step each
    joined: list[Step] = []
    for step in steps:
        last = joined[-1] if joined else None
        if last and last.kind == "none" and step.coats is None:
            joined[-1] = step._replace(coats=last.coats)
        elif last and step.kind == "none" and last.coats is None:
            joined[-1] = last._replace(coats=step.coats)
        else:
            joined.append(step)
    return joined


def schedule_of(steps: tuple[Step, ...], ratios: list[MixRatio], coats: int | None) -> CoatSchedule:
    """Return the schedule of steps whose mixes were settled; `coats` is of a column of its own."""
    own = [s.coats for s in steps]
    if len(steps) == 1 and own[0] is None and coats is not None:
        own = [coats]
    if any(n is None for n in own):
        raise FileError(
            "The recipe has no coats.",
            expected="a schedule such as 4@6:1, or a ratio and a number of coats; for a bare "
            "ground neither colour nor coats",
            remedy="fill in what was sprayed.",
        )
    return CoatSchedule(tuple(CoatStep(n or 0, r) for n, r in zip(own, ratios, strict=True)))


def _unclear(text: str) -> FileError:
    return FileError(
        "This is not a mix ratio, nor coats and ratio.",
        expected="such as 6:1, 6 to 1, 4@6:1, 4c 6:1, 6:1 x3 then 3:1 x2, or for several colours "
        "2@6:1 cherry, 1@8:1 violet",
        got=repr(text[:60]),
        remedy="write six parts of carrier to one of colour as 6:1; in a spreadsheet, format the "
        "column as text so that it does not become a clock time.",
    )
