"""Readings that stand apart from their backs: met by code, by part of a code, or by order."""

from __future__ import annotations

import re
from collections.abc import Sequence

from matchlib.domain import name_key
from matchlib.plural import counted
from matchlib.readings.questions import Asking, Choice, Question

__all__ = ["folded_code", "joined"]


def folded_code(code: str) -> str:
    """Return a code without capitals, signs between its parts, and leading noughts."""
    plain = name_key(code)
    parts = re.findall(r"[^\W\d_]+|\d+", plain)
    return " ".join(p.lstrip("0") or "0" if p.isdigit() else p for p in parts) or plain


def joined(readings: Sequence[str], backs: Sequence[str], asking: Asking) -> list[int | None]:
    """Return the place of each reading's back, asking where codes differ; None for one alone."""
    exact = {name_key(code): i for i, code in enumerate(backs)}
    alike = [exact.get(name_key(code)) for code in readings]
    if all(i is not None for i in alike) or not readings or not backs:
        return list(alike)
    left = [c for c, i in zip(readings, alike, strict=True) if i is None]
    ways: dict[str, list[int | None]] = {
        "part": _by_part(readings, backs, alike),
        "order": list(range(len(backs))),
        "code": list(alike),
    }
    met = len(readings) - ways["part"].count(None)
    choices = []
    if met > len(readings) - len(left):
        text = f"by part of the code: {met} of {len(readings)} readings meet"
        choices.append(Choice("part", text, _example(readings, backs, ways["part"], alike)))
    if len(readings) == len(backs) == len(left):
        text = "by order: the first reading is of the first back"
        choices.append(Choice("order", text, _example(readings, backs, ways["order"], alike)))
    choices.append(
        Choice("code", f"by the whole code alone: {counted(len(left), 'reading')} left alone")
    )
    question = Question(
        "join",
        f"{len(left)} of {len(readings)} readings have a code that no back has, such as "
        f"{left[0][:40]!r}. How do readings and backs meet?",
        choices,
        "code" if len(choices) == 1 else None,
    )
    return ways[asking.answer(question)]


def _by_part(
    readings: Sequence[str], backs: Sequence[str], alike: Sequence[int | None]
) -> list[int | None]:
    folded = [folded_code(b) for b in backs]
    whole: dict[str, list[int]] = {}
    for i, code in enumerate(folded):
        whole.setdefault(code, []).append(i)
    # all runs of words of a reading's code that are the whole code of one back; the longest wins
    found: list[int | None] = []
    for code, known in zip(readings, alike, strict=True):
        if known is not None:
            found.append(known)
            continue
        words = folded_code(code).split()[:24]
        runs = [" ".join(words[a:b]) for a in range(len(words)) for b in range(len(words), a, -1)]
        hits = sorted((r for r in runs if r in whole), key=len, reverse=True)
        places = {i for r in hits if len(r) == len(hits[0]) for i in whole[r]}
        found.append(places.pop() if len(places) == 1 else None)
    return found


def _example(
    readings: Sequence[str],
    backs: Sequence[str],
    places: Sequence[int | None],
    alike: Sequence[int | None],
) -> str:
    for code, i, known in zip(readings, places, alike, strict=True):
        if i is not None and known is None:
            return f"the reading {code[:40]!r} would be of {backs[i][:40]!r}"
    return ""
