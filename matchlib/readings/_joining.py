"""Readings that stand apart from their backs: met by code, by part of a code, or by order."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence

from matchlib.readings.questions import Asking, Choice, Question

__all__ = ["folded_code", "joined"]


def folded_code(code: str) -> str:
    """Return a code without capitals, signs between its parts, and leading noughts."""
    parts = re.findall(r"[^\W\d_]+|\d+", code.casefold())
    return " ".join(p.lstrip("0") or "0" if p.isdigit() else p for p in parts) or code.casefold()


def joined(readings: Sequence[str], backs: Sequence[str], asking: Asking) -> list[int | None]:
    """Return for each reading's code the place of its back; None for one that stays alone.

    Codes that are alike to the letter meet without a question. Where some are left over, it is
    asked whether the rest shall meet by part of a code, by order, or stay alone.
    """
    exact = {code.casefold(): i for i, code in enumerate(backs)}
    alike = [exact.get(code.casefold()) for code in readings]
    if all(i is not None for i in alike) or not readings or not backs:
        return list(alike)
    ways: dict[str, Callable[[], list[int | None]]] = {
        "part": lambda: _by_part(readings, backs, alike),
        "order": lambda: list(range(len(backs))),
        "code": lambda: list(alike),
    }
    left = [c for c, i in zip(readings, alike, strict=True) if i is None]

    def make() -> Question:
        choices = []
        by_part = ways["part"]()
        met = sum(i is not None for i in by_part)
        if met > sum(i is not None for i in alike):
            choices.append(
                Choice(
                    "part",
                    f"by part of the code: {met} of {len(readings)} readings meet",
                    _example(readings, backs, by_part, alike),
                )
            )
        if len(readings) == len(backs) and not any(i is not None for i in alike):
            choices.append(
                Choice(
                    "order",
                    "by order: the first reading is of the first back",
                    _example(readings, backs, ways["order"](), alike),
                )
            )
        lone = sum(i is None for i in alike)
        choices.append(Choice("code", f"by the whole code alone: {lone} readings stay alone"))
        return Question(
            "join",
            f"{len(left)} of {len(readings)} readings have a code that no back has, such as "
            f"{left[0][:40]!r}. How do readings and backs meet?",
            choices,
            "code" if len(choices) == 1 else None,
        )

    return ways[asking.answer("join", make)]()


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
