"""One card on the command line: how to begin it, and what to lay on it by what was read."""

from __future__ import annotations

from typing import TYPE_CHECKING

from workbook.cli.printing import chance, number, table, wrapped

if TYPE_CHECKING:
    from matchlib.steering import CardPlans, Steering

__all__ = ["plans_text", "steering_text"]


def plans_text(found: CardPlans) -> str:
    """Return plans as text.

    `found`: best first. Returned: a table of first looks, then what to do with the best.
    """
    rows = []
    for rank, one in enumerate(found, 1):
        read = one.planned_readings[0] if one.planned_readings else None
        rows.append(
            (
                str(rank),
                str(one.first.ground),
                str(one.first.colour or "bare"),
                str(one.first.schedule or "") if read else "no look",
                *((number(v) for v in read.lab) if read else ("", "", "")),
                str(one.whole.schedule or ""),
                chance(one.steered),
                chance(one.blind),
            )
        )
    header = (
        *("", "ground", "colour", "up to the first look", "L", "a", "b"),
        *("if all is as expected", "steered", "blind"),
    )
    times = {1: "once", 2: "twice"}.get(found.readings, f"{found.readings} times")
    begun = f"Cards read up to {times} on their way and built on:"
    parts = [f"{begun}\n{table(header, rows, right='r   rrr rr')}"]
    parts += [wrapped(f"1. {found[0].words}")]
    parts += [wrapped(n) for n in found.notes]
    return "\n\n".join(parts)


def steering_text(found: Steering, following: CardPlans | None) -> str:
    """Return what to do with a card in progress as text.

    `following`: the next card, where this one is lost.
    """
    parts = [wrapped(found.words)]
    if found.state != "lost" and found.options:
        rows = [
            (chance(o.steered), chance(o.probability), *(number(v) for v in o.lab), o.brief)
            for o in found.options
        ]
        header = ("chance", "if not read again", "L", "a", "b", "coats on top")
        title = "Coats on top" if found.state == "go on" else "If you go on all the same"
        parts.append(f"{title}:\n{table(header, rows, right='rrrrr')}")
    if following is not None:
        parts.append(wrapped(f"The next card: {following[0].words}"))
    return "\n\n".join(parts)
