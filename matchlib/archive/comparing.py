"""A known panel and another of its code: what the one adds to the other, and where they differ."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from typing import Any, NamedTuple

from matchlib.archive.codec import reading_digest
from matchlib.domain import GunSetup, Panel, Reading, Stage, lots_text, name_key
from matchlib.domain.setup import NO_SETUP
from matchlib.plain import to_plain

__all__ = ["Comparison", "compare", "one_card"]

_OF_PANEL = ("batch", "note", "customer", "drawer")
_OF_STAGE = (
    *("date", "sprayer", "lot", "temperature", "humidity", "log", "setup", "lots", "clear_coats"),
)
_EMPTY = (None, "", (), NO_SETUP)


class Comparison(NamedTuple):
    """A known panel and another of its code."""

    stored: Panel
    given: Panel
    joined: Panel  # the known one with what the other adds and does not say otherwise
    differing: tuple[str, ...]  # what cannot both be
    other: tuple[str, ...]  # what is left as it is known, for it counts little

    @property
    def words(self) -> str:
        """Where they differ."""
        return "; ".join((*self.differing, *self.other))

    def replaced(self) -> Panel:
        """Return the known one with all that the other says in its place."""
        stages = []
        for old, new in zip(self.stored.stages, self.given.stages, strict=False):
            kinds = {_kind(r) for r in new.readings}
            left = [r for r in old.readings if _kind(r) not in kinds]
            stated = _stated(new, _OF_STAGE)
            readings = (*left, *new.readings)
            stages.append(replace(old, recipe=new.recipe, readings=readings, **stated))
        stated = _stated(self.given, _OF_PANEL)
        longer = max(self.stored, self.given, key=lambda panel: len(panel.stages))
        return replace(self.joined, stages=(*stages, *longer.stages[len(stages) :]), **stated)


def compare(stored: Panel, given: Panel, *, strict: bool, repeats: bool = False) -> Comparison:
    """Compare a known panel with another of its code."""
    if stored == given and not repeats:
        return Comparison(stored, given, stored, (), ())
    stages: list[Stage] = []
    differing: list[str] = []
    other: list[str] = []
    for number, (old, new) in enumerate(zip(stored.stages, given.stages, strict=False), 1):
        where = f"stage {number}: " if number > 1 else ""
        fill, stated = _fill(old, new, _OF_STAGE)
        other += [where + line for line in stated]
        if not _same_recipe(old, new):
            differing.append(where + _both(old.recipe.words, new.recipe.words))
            stages += stored.stages[number - 1 :]
            break
        fresh = list(new.readings) if repeats else list(_without(new.readings, old.readings))
        gone = list(_without(old.readings, new.readings)) if strict else []
        clash = {*map(_kind, fresh)} & {*map(_kind, gone)}
        if clash:
            was, now = (next(r for r in side if _kind(r) in clash) for side in (gone, fresh))
            differing.append(f"{where}read as {_both(_values(was), _values(now))}")
        readings = (*old.readings, *(r for r in fresh if _kind(r) not in clash))
        stages.append(replace(old, readings=readings, **fill))
    else:
        longer = stored if len(stored.stages) > len(given.stages) else given
        stages += longer.stages[len(stages) :]
    fill, stated = _fill(stored, given, _OF_PANEL)
    other += stated
    known = dict(stored.extra)
    extra = (*stored.extra, *(pair for pair in given.extra if pair[0] not in known))
    joined = replace(stored, stages=tuple(stages), extra=extra, **fill)
    if strict:
        differing, other = [*differing, *other], []
    return Comparison(stored, given, joined, tuple(differing), tuple(other))


def one_card(stored: Panel, given: Panel) -> bool:
    """Whether two panels of one code are one card by what they say: they share a reading."""
    shared = any(
        {*map(_digest, old.readings)} & {*map(_digest, new.readings)}
        for old, new in zip(stored.stages, given.stages, strict=False)
    )
    return shared or stored == given


def _same_recipe(one: Stage, other: Stage) -> bool:
    mine, theirs = one.recipe, other.recipe
    if name_key(mine.clear or "") != name_key(theirs.clear or ""):
        return False
    return replace(mine, clear=None) == replace(theirs, clear=None)


def _without(readings: Iterable[Reading], others: Iterable[Reading]) -> Iterator[Reading]:
    # The n-th reading of these values is another only if there are fewer than n of them there.
    held, seen = Counter(map(_digest, others)), Counter[str]()
    for reading in readings:
        digest = _digest(reading)
        if seen[digest] >= held[digest]:
            yield reading
        seen[digest] += 1


def _kind(reading: Reading) -> tuple[object, ...]:
    """What tells that a reading is of another day, state or instrument, and so another one."""
    r = reading
    return (r.date, r.state, name_key(r.instrument), r.source, r.viewing.geometry)


def _digest(reading: Reading) -> str:
    return reading_digest(to_plain(reading))


def _words(value: Any) -> object:
    if isinstance(value, GunSetup):
        return value.words
    return lots_text(value) if isinstance(value, tuple) else value


def _both(old: object, new: object) -> str:
    return f"{old} in the archive, {new} in the file"


def _values(reading: Reading) -> str:
    light = f"{reading.viewing.illuminant}/{reading.viewing.observer}"
    if reading.lab is not None:
        return f"Lab {' '.join(f'{v:.2f}' for v in reading.lab)} ({light})"
    return f"reflectances {reading.reflectance[0]:.4f} to {reading.reflectance[-1]:.4f}"


def _stated(given: Any, names: Sequence[str]) -> dict[str, Any]:
    values = {name: getattr(given, name) for name in names}
    return {name: value for name, value in values.items() if value not in _EMPTY}


def _fill(stored: Any, given: Any, names: Sequence[str]) -> tuple[dict[str, Any], list[str]]:
    """What the one leaves empty and the other says, and what both say but not alike."""
    known, stated = _stated(stored, names), _stated(given, names)
    fill = {name: new for name, new in stated.items() if name not in known}
    other = []
    for name in stated.keys() & known.keys():
        old, new = known[name], stated[name]
        if old != new:
            both = "another log" if name == "log" else _both(_words(old), _words(new))
            other.append(f"{name}: {both}")
    return fill, sorted(other)
