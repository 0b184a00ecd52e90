"""The log of changes: one entry a change, with all that it touched."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, ClassVar, NamedTuple

import sqlalchemy as sa

from matchlib.archive import schema
from matchlib.archive.reading_out import whole
from matchlib.archive.rows import can_hold
from matchlib.plain import dump, load

__all__ = [
    "Change",
    "Entry",
    "Item",
    "Stamp",
    "entry_of",
    "finding_of",
    "inserted",
    "read_changes",
    "record",
    "side_of",
    "taken_back",
]

Entry = tuple[str, int, Mapping[str, Any] | None, Mapping[str, Any] | None]
"""Kind and row of one thing that changed, and the fields that changed, before and after."""


@dataclass(frozen=True, slots=True)
class Item:
    """One thing that a change touched."""

    SHOWN: ClassVar = ("kind", "name", "words")

    kind: str  # ``panel``, ``name``, ``job`` or ``finding``
    name: str  # the panel's code, the name, the job's number, or what the finding is known by
    before: dict[str, Any]  # the fields that changed; empty where there was nothing
    after: dict[str, Any]  # the fields that changed; empty where there was nothing

    @property
    def words(self) -> str:
        """What changed, in words; empty for all of it."""
        lines = []
        for field in sorted({*self.before, *self.after} - {"deleted", "finding", "aside"}):
            old, new = self.before.get(field), self.after.get(field)
            if field == "readings":
                was, now = old or (), new or ()
                other = sum(one != two for one, two in zip(was, now, strict=False))
                lines.append(
                    f"readings: {other} of {len(now)} changed"
                    if len(was) == len(now)
                    else f"readings: {len(was)} to {len(now)}"
                )
            elif field.rpartition(" ")[2] == "log":  # its coats, each with much of its own
                name = field.removeprefix("stage 1 ").removesuffix("log")
                lines.append(f"{name}coats noted: {len(old or ())} to {len(new or ())}")
            elif field in ("target", "limits", "plan", "tolerance"):
                lines.append(f"another {field}")
            else:
                lines.append(f"{field.removeprefix('stage 1 ')}: {_say(old)} to {_say(new)}")
        return "; ".join(lines)


@dataclass(frozen=True, slots=True)
class Change:
    """One entry of the history.

    Parameters
    ----------
    number : int
        Its place in the order of changes.
    at : datetime.datetime
        UTC, by the clock of the machine that wrote it.
    who, why : str
        As given; empty where not.
    action : str
        ``added``, ``amended``, ``deleted``, ``restored``, ``undone`` and the like.
    items : tuple of Item
        What it touched.
    undoes : int, optional
        The entry that this one undid.
    file : str
        The file it was imported from; empty where not.

    Examples
    --------
    >>> from matchlib.demo import demo_archive
    >>> with demo_archive(3) as archive:
    ...     number = archive.delete("T001", who="Ada")
    ...     change = archive.history()[-1]
    >>> change.who, change.action
    ('Ada', 'deleted')
    """

    SHOWN: ClassVar = (
        *(("change", "number"), "at", "who", "why", "items"),
        *("action", "words", "undoes", "file"),
    )

    number: int
    at: dt.datetime
    who: str
    why: str
    action: str
    items: tuple[Item, ...]
    undoes: int | None = None
    file: str = ""

    @property
    def subject(self) -> str:
        """What it touched: ``P1``, or ``P1 and 19 more``."""
        if not self.items:
            return ""
        first, more = self.items[0].name, len(self.items) - 1
        return f"{first} and {more} more" if more else first

    @property
    def words(self) -> str:
        """What changed, in words."""
        what = self.action if self.undoes is None else f"{self.action} (change {self.undoes})"
        detail = self.items[0].words if len(self.items) == 1 else ""
        return f"{what}: {detail}" if detail else what


class Stamp(NamedTuple):
    """Who changes something, when and why."""

    at: str  # UTC, ISO 8601
    who: str = ""
    why: str = ""


def record(
    connection: sa.Connection,
    action: str,
    items: Sequence[Entry],
    stamp: Stamp,
    *,
    import_id: int | None = None,
    undoes: int | None = None,
) -> int:
    """Write one entry and return its number."""
    done = connection.execute(
        schema.history.insert().values(
            import_id=import_id,
            at=stamp.at,
            who=stamp.who,
            why=stamp.why,
            action=action,
            undoes=undoes,
        )
    )
    number = inserted(done)
    connection.execute(
        schema.history_items.insert(),
        [
            {
                "change_id": number,
                "kind": kind,
                "subject": subject,
                "before": None if before is None else dump(before),
                "after": None if after is None else dump(after),
            }
            for kind, subject, before, after in items
        ],
    )
    return number


def entry_of(
    kind: str, subject: int, old: Mapping[str, Any], new: Mapping[str, Any]
) -> Entry | None:
    """Return the fields that a thing has otherwise than before; None where there are none."""
    differing = sorted(k for k in {*old, *new} if old.get(k) != new.get(k))
    if not differing:
        return None
    was, now = ({k: side.get(k) for k in differing} for side in (old, new))
    return kind, subject, was if old else None, now if new else None


def inserted(done: sa.CursorResult[Any]) -> int:
    """Return the number that an insert of one row was given."""
    key = done.inserted_primary_key
    return int(key[0]) if key is not None else 0


def read_changes(
    connection: sa.Connection,
    code: str | None = None,
    *,
    numbers: Collection[int] | None = None,
    why: str = "",
) -> tuple[Change, ...]:
    """Return the history, oldest first; of `numbers`, those from the least to the greatest."""
    h, t, p, i = schema.history, schema.history_items, schema.panels, schema.imports
    n = schema.names
    of_panel = sa.and_(t.c.kind == "panel", p.c.id == t.c.subject)
    of_name = sa.and_(t.c.kind == "name", n.c.id == t.c.subject)
    query = (
        sa.select(h, t.c.kind, t.c.subject, t.c.before, t.c.after, p.c.code, i.c.file)
        .add_columns(n.c.data.label("name"))
        .join(t, t.c.change_id == h.c.id)
        .outerjoin(p, of_panel)
        .outerjoin(n, of_name)
        .outerjoin(i, i.c.id == h.c.import_id)
        .order_by(h.c.id, t.c.id)
    )
    if code is not None:
        query = query.where(p.c.code == code)
    if numbers is not None:
        query = query.where(h.c.id.between(min(numbers), max(numbers)))
    if why:
        query = query.where(h.c.why.startswith(why, autoescape=True))
    # A name that was joined to another is told by what it was when it went.
    went = sa.select(t.c.subject, t.c.before).where(t.c.kind == "name", t.c.after.is_(None))
    gone = {row.subject: row.before for row in connection.execute(went.order_by(t.c.id))}
    entries: dict[int, tuple[Mapping[str, Any], list[Item]]] = {}
    for row in connection.execute(query).mappings():
        _, items = entries.setdefault(row["id"], (dict(row), []))
        name = gone.get(row["subject"]) if row["name"] == "null" else row["name"]
        items.append(whole(_item, {**row, "name": name}))
    return tuple(whole(_change, row, items) for row, items in entries.values())


def _item(row: Mapping[str, Any]) -> Item:
    before, after = side_of(row, "before") or {}, side_of(row, "after") or {}
    name = row["code"] or f"{row['kind']} {row['subject']}"
    if row["kind"] == "name":
        now = {**(load(row["name"] or "null") or {}), **before, **after}
        name = f"{now['kind']} {now['name']}"
    elif row["kind"] == "finding":
        name = str((after or before)["finding"])
    return Item(row["kind"], name, before, after)


def side_of(entry: Mapping[str, Any], side: str) -> dict[str, Any] | None:
    """Return one side of an entry of the log."""
    return whole(_side, entry[side])


def _side(text: str | None) -> dict[str, Any] | None:
    if text is None:
        return None
    fields = load(text)
    readings = fields.get("readings") or []
    if not isinstance(readings, list) or not all(len(pair) == 2 for pair in readings):
        raise ValueError("readings without their stages")
    if not isinstance(fields.get("deleted", False), bool):
        raise ValueError("neither deleted nor not")
    return dict(fields)


def taken_back(
    kind: str,
    now: Mapping[str, Any],
    before: Mapping[str, Any] | None,
    after: Mapping[str, Any] | None,
) -> tuple[Mapping[str, Any], list[str]]:
    """Return the fields that an undo of an entry sets, and those that were changed since."""
    if before is None:  # a panel that was not there before is put aside, not erased
        before = {"deleted": True} if kind == "panel" else dict.fromkeys(now)
    after = after or {}
    return before, sorted(k for k in {*before, *after} if now.get(k) != after.get(k))


def finding_of(side: Mapping[str, Any] | None) -> tuple[str, bool]:
    """Return what a finding is known by, and whether it was set aside."""
    key, aside = (side or {})["finding"], (side or {})["aside"]
    if key is None or not can_hold(schema.ignored.c.key, key) or aside not in (True, False):
        raise ValueError("no finding")
    return str(key), bool(aside)


def _change(row: Mapping[str, Any], items: Sequence[Item]) -> Change:
    return Change(
        number=row["id"],
        at=dt.datetime.fromisoformat(row["at"]),
        who=row["who"],
        why=row["why"],
        action=row["action"],
        items=tuple(items),
        undoes=row["undoes"],
        file=row["file"] or "",
    )


def _say(value: Any) -> str:
    if value in (None, "", []):
        return "empty"
    if isinstance(value, list):
        return ", ".join(" ".join(map(str, v)) if isinstance(v, list) else _say(v) for v in value)
    if isinstance(value, dict):
        return " ".join(f"{key} {_say(one)}" for key, one in value.items())
    return str(value)
