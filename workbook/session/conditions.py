"""Who sprays, from what, when, and what reads it: as said, in the archive's own names."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, NamedTuple

from matchlib.domain import name_key
from matchlib.errors import DomainError
from matchlib.plural import counted
from workbook.session.back import date_of

if TYPE_CHECKING:
    from matchlib.domain import Conditions, Panel

__all__ = ["Known", "conditions_stated", "conditions_typed"]


class Known(NamedTuple):
    """Under what the panels of an archive were sprayed and read."""

    each: tuple[Conditions, ...]  # one a reading
    colours: set[str]
    grounds: set[str]

    @classmethod
    def of(cls, panels: Iterable[Panel]) -> Known:
        """Gather it."""
        from matchlib.regression.frames import conditions_of

        stages = [(panel, stage) for panel in panels for stage in panel.stages]
        recipes = {stage.recipe for _, stage in stages}
        return cls(
            tuple(conditions_of(p, s, reading) for p, s in stages for reading in s.readings),
            {n for r in recipes for c in r.colours for n in c.shares},
            {n for r in recipes for n in r.ground.shares},
        )


def conditions_stated(known: Known, said: Conditions) -> tuple[Conditions, tuple[str, ...]]:
    """Read what is written of one panel to be sprayed; returned as by `conditions_typed`."""
    return conditions_typed(
        known,
        sprayer=said.sprayer,
        lot=[f"{whose}={name}" for whose, name in said.lots],
        batch=[f"{whose}={name}" for whose, name in said.batches],
        instrument=said.instrument,
        date=str(said.date or ""),
    )


def conditions_typed(
    known: Known,
    *,
    sprayer: str = "",
    lot: Sequence[str] = (),
    batch: Sequence[str] = (),
    instrument: str = "",
    date: str = "",
) -> tuple[Conditions, tuple[str, ...]]:
    """Read what is said of the panels to be sprayed.

    `lot`, `batch`: ``cherry=L7`` each, or ``L7`` alone where the archive knows whose it is.
    `date`: ``2026-05-31``. `conditions`: of what was said alone. `unseen`: a sentence for each
    thing that no panel shows.
    """
    from matchlib.domain import Conditions
    from matchlib.regression.vocabulary import FEWEST_DAYS, SHORTEST

    each = known.each
    unseen: list[str] = []
    stated = Conditions(
        _one("Sprayer", sprayer, {c.sprayer for c in each}, unseen),
        _owned(
            *("lot", "colour", lot),
            owners=known.colours,
            known={pair for c in each for pair in c.lots},
            unseen=unseen,
        ),
        _owned(
            *("batch", "ground", batch),
            owners=known.grounds,
            known={pair for c in each for pair in c.batches},
            unseen=unseen,
        ),
        _one("Instrument", instrument, {c.instrument for c in each}, unseen),
        date_of(date),
    )
    unnamed = sum(not c.instrument for c in each)
    if stated.instrument and 0 < unnamed < len(each):
        unseen.append(
            f"{unnamed} of {len(each)} readings name no instrument: what read them is taken to "
            "read true, and the others are weighed against it."
        )
    days = {c.date for c in each if c.date}
    if stated.date and not days:
        unseen.append("No panel of the archive has a date, so the day makes no difference.")
    elif stated.date and (len(days) < FEWEST_DAYS or (max(days) - min(days)).days < SHORTEST):
        unseen.append(
            "The archive's days are too few, or too near each other, to tell how film drifts: the "
            "day makes no difference, and the widths do not allow for drift."
        )
    elif stated.date and stated.date > max(days):
        after = (stated.date - max(days)).days
        unseen.append(
            f"{stated.date} is {counted(after, 'day')} after the archive's last panel: the "
            "widths allow for drift since then."
        )
    return stated, tuple(unseen)


def _one(kind: str, name: str, known: set[str], unseen: list[str]) -> str:
    wanted = " ".join(name.split())
    for each in known if wanted else ():
        if each.casefold() == wanted.casefold():
            return each
    if wanted:
        unseen.append(
            f"{kind} {wanted} is on no panel of the archive, so nothing is known of what is "
            "different with it."
        )
    return wanted


def _owned(
    kind: str,
    owner: str,
    stated: Sequence[str],
    *,
    owners: set[str],
    known: set[tuple[str, str]],
    unseen: list[str],
) -> tuple[tuple[str, str], ...]:
    found: dict[str, str] = {}
    for text in stated:
        before, sign, after = text.rpartition("=")
        example = f"{min(owners, default='name')}={after.strip() or 'L7'}"
        name, whose = " ".join(after.split()), name_key(before)
        if sign and whose not in owners:
            raise DomainError(
                f"No panel of the archive has the {owner} {whose!r}.",
                expected=f"one of {', '.join(sorted(owners)) or 'none yet'}",
                got=text,
                remedy=f"write it as {example}.",
            )
        alike = {(o, n) for o, n in known if n.casefold() == name.casefold()}
        mine = {whose} if sign else {o for o, _ in alike} or (owners if len(owners) == 1 else set())
        if not name or not mine:
            raise DomainError(
                f"Nobody can tell of which {owner} this {kind} is.",
                expected=f"{owner} and {kind}, such as {example}",
                got=text,
                remedy=f"name the {owner} before it.",
            )
        for each in sorted(mine):
            found[each] = next((n for o, n in alike if o == each), name)
            if (each, found[each]) not in known:
                what = f"{kind.capitalize()} {name} of {each} is on no panel of the archive"
                # How far they differ is learnt of those that panels name, if any do.
                unseen.append(
                    f"{what}: it may be as any other, and the widths allow for that."
                    if known
                    else f"{what}, so nothing is known of what is different with it."
                )
    return tuple(sorted(found.items()))
