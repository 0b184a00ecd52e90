"""Merging another archive into this one: one transaction, one change in the history."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import sqlalchemy as sa

from matchlib.archive import attaching, jobs, schema
from matchlib.archive.adding import take
from matchlib.archive.changes import Entry, Stamp, record
from matchlib.archive.comparing import one_card
from matchlib.archive.copies import back_up
from matchlib.archive.merged import Merged, left_in
from matchlib.archive.names import insert_names, names_of, respelled, rewrite_names
from matchlib.archive.naming import respelled_job
from matchlib.archive.rows import give_back, numbers_given
from matchlib.archive.stored import StoredPanel, kept
from matchlib.domain import Name, Panel, name_key
from matchlib.domain.name import near_names
from matchlib.errors import ArchiveError
from matchlib.plain import dump

if TYPE_CHECKING:
    from matchlib.archive.database import Database
    from matchlib.archive.store import Archive
    from matchlib.job import Job
    from matchlib.readings.questions import Asking, Question

__all__ = ["merge"]

_SAID = 8  # codes named in a question


class _LookedOnly(Exception):  # noqa: N818  ends a transaction that is not to be kept
    """All was tried, and nothing is to stay."""


def merge(
    archive: Archive,
    other: Archive,
    answers: Mapping[str, str] | None = None,
    *,
    prefix: str = "",
    who: str = "",
    why: str = "",
    dry_run: bool = False,
) -> Merged:
    """Take all panels, names and jobs of another archive in, as one change.

    Parameters
    ----------
    archive : Archive
        Open for writing.
    other : Archive
        Open; it is not changed.
    answers : mapping of str to str, optional
        Answers by key of question.
    prefix : str
        Put before those of their codes that other panels have here.
    who, why : str
        For the history.
    dry_run : bool
        Do all of it and take it back, so that nothing is changed.

    Returns
    -------
    Merged
        What was joined and what was not; of a dry run with the questions that are open.

    Raises
    ------
    MatchlibError
        If the two are one archive, a question is open, or something cannot be joined; nothing is
        changed then.

    Examples
    --------
    >>> from tempfile import TemporaryDirectory
    >>> from matchlib import Archive
    >>> from matchlib.demo import demo_panels
    >>> with (
    ...     TemporaryDirectory() as folder,
    ...     Archive.open(f"{folder}/a.db", create=True) as ours,
    ...     Archive.open(f"{folder}/b.db", create=True) as theirs,
    ... ):
    ...     _ = theirs.add(demo_panels()[:3])
    ...     _ = merge(ours, theirs)
    ...     len(ours)
    3
    """
    from matchlib.readings.questions import Asking  # the readers are slow to load

    if _place(archive.database) == _place(other.database):
        raise ArchiveError(
            "An archive cannot be merged with itself.",
            got=other.label,
            where=archive.label,
            remedy="give the other archive, or a backup of it.",
        )
    short = other.label.replace("\\", "/").rstrip("/").rpartition("/")[2].rpartition(".")[0]
    usual = f"{short[:20] or 'other'}-"
    asking = Asking({**({"codes": "prefix"} if prefix else {}), **(answers or {})})
    merging = _Merging(other, asking, prefix or usual, archive.stamp(who, why))
    try:
        with archive.database.write() as connection:
            given = numbers_given(connection)
            merged = merging.into(connection)
            if dry_run or merged.open:
                give_back(connection, given)
            if dry_run:
                raise _LookedOnly
            if merged.open:
                raise ArchiveError(
                    "The merge leaves something open; nothing was changed.",
                    got="\n".join(q.words() for q in merged.open),
                    where=other.label,
                    remedy="answer, and merge again.",
                )
            if merged.change is not None:
                back_up(archive, "before merge")  # nobody else sees the merge yet
    except _LookedOnly:
        return replace(merged, change=None)
    return merged


def _place(database: Database) -> object:
    """What two connections to one archive have in common, whatever it is called in each."""
    if database.path is not None:
        status = database.path.stat()
        return status.st_dev, status.st_ino
    began = sa.select(sa.func.current_database(), sa.func.pg_postmaster_start_time())
    with database.read() as connection:
        return tuple(connection.execute(began).one())


class _Merging:
    """One merge in hand."""

    def __init__(self, other: Archive, asking: Asking, prefix: str, stamp: Stamp) -> None:
        self.other = other
        self.asking = asking
        self.prefix = prefix
        self.stamp = stamp

    def into(self, connection: sa.Connection) -> Merged:
        """Do it within a write transaction."""
        with self.other.database.read() as theirs:
            names = list(names_of(theirs).values())
        spelling, joined, items = self._names(connection, names)

        def say(kind: str, text: str) -> str:
            return spelling.get((kind, name_key(text)), text)

        panels, codes, left = self._coded(connection, respelled(self.other.panels(), say))
        files, panels = self._pictured(connection, panels, codes)
        known = kept(connection, [p.code for p in panels])
        # Other readings of what is the same card by answer alone are repeats.
        same = self.asking.settled("codes") == "same"
        loose = {
            p.code
            for p in panels
            if same and p.code in known and not one_card(known[p.code].panel, p)
        }
        result, entries = take(
            connection,
            panels,
            known,
            loose=loose,
            refused=left,
            on_duplicate="keep",
            file=self.other.label,
            stamp=self.stamp,
        )
        otherwise = dict(result.differing)
        already = tuple(code for code in result.already if code not in otherwise)
        taken, untaken, begun = self._jobs(connection, say, codes)
        items += entries + begun
        change = None
        if items:
            change = record(connection, "merged", items, self.stamp, import_id=result.import_id)
        return Merged(
            replace(result, already=already),
            tuple((old, own) for old, own in codes.items() if old != own),
            tuple(joined),
            tuple(taken),
            tuple(untaken),
            self._files(connection, codes, files),
            left_in(self.other),
            self.asking.questions,
            change,
        )

    def _names(
        self, connection: sa.Connection, names: Sequence[Name]
    ) -> tuple[dict[tuple[str, str], str], list[tuple[str, str, str]], list[Entry]]:
        """What their spellings mean here, which were joined, and what that changes."""
        own_names = names_of(connection)
        rows = {(n.kind, key): row for row, n in own_names.items() for key in n.keys}
        now = dict(own_names)
        spelling: dict[tuple[str, str], str] = {}
        joined, new = [], []
        for name in names:
            keys = [(name.kind, name_key(text)) for text in (name.name, *name.spellings)]
            row = next((rows[key] for key in keys if key in rows), None)
            if row is None:
                row = self._near(name, own_names)
            if row is None:
                new.append(name)
                meant = name.name
            else:
                meant = now[row].name
                now[row] = _with(now[row], name, rows)
                if name_key(meant) != keys[0][1]:
                    joined.append((name.kind, name.name, meant))
            for key in keys:
                spelling.setdefault(key, meant)
        insert_names(connection, new)
        changed: dict[int, Name | None] = {r: n for r, n in now.items() if n != own_names[r]}
        return spelling, joined, rewrite_names(connection, own_names, changed) if changed else []

    def _near(self, name: Name, own_names: Mapping[int, Name]) -> int | None:
        """The row of a name here that theirs is another spelling of, by answer."""
        from matchlib.readings.questions import Choice, Question

        rows = {n.name: row for row, n in own_names.items() if n.kind == name.kind}
        near = near_names(name.name, rows)[:3]
        if not near:
            return None
        question = Question(
            f"name:{name.kind}:{name.name}",
            f"Their {name.kind} {name.name!r} is new here, and much like {near[0]!r}. "
            "Is it the same?",
            [Choice(other, f"the same {name.kind}, spelled otherwise") for other in near]
            + [Choice("new", f"another {name.kind}, of its own")],
        )
        return rows.get(self._answer(question, "new"))

    def _answer(self, question: Question, until: str) -> str:
        from matchlib.readings.questions import Undecided

        try:
            return self.asking.answer(question)
        except Undecided:
            return until

    def _coded(
        self, connection: sa.Connection, panels: Sequence[Panel]
    ) -> tuple[list[Panel], dict[str, str], list[tuple[str, str]]]:
        """Their panels under codes of this archive; their codes to those; what is left out."""
        left: list[tuple[str, str]] = []
        codes = self._known(connection, panels)
        clashing = self._others(connection, [p for p in panels if codes[p.code] == p.code])
        answer = self._clash(clashing) if clashing else "same"
        if answer == "leave":
            panels = [p for p in panels if p.code not in clashing]
            codes = {p.code: codes[p.code] for p in panels}
            why = "another panel has its code here, and it was left out, as answered"
            left = [(code, why) for code in clashing]
        elif answer == "prefix":
            given = {code: self.prefix + code for code in clashing}
            fresh = [replace(p, code=given[p.code]) for p in panels if p.code in given]
            taken = sorted(set(given.values()) & set(codes.values()))
            taken += self._others(connection, fresh)
            if taken:
                raise ArchiveError(
                    f"With {self.prefix!r} before it, a code of theirs is that of another panel "
                    "too.",
                    got=", ".join(taken[:_SAID]),
                    remedy="give another prefix (--prefix).",
                )
            codes |= given
        return [replace(p, code=codes[p.code]) for p in panels], codes, left

    def _known(self, connection: sa.Connection, panels: Sequence[Panel]) -> dict[str, str]:
        """Their codes, and the codes here: another where a merge put a prefix before either."""
        known = kept(connection, [p.code for p in panels])
        alike = {p.code for p in panels if _one_here(known.get(p.code), p)}
        p = schema.panels
        here = connection.scalars(sa.select(p.c.code).where(~p.c.deleted)).all()
        codes = {p.code: p.code for p in panels}
        free = {code for code in here if code not in alike}
        longer: dict[str, list[str]] = {}
        for code in here:
            for short in _ends(code):
                longer.setdefault(short, []).append(code)
        for panel in panels:
            if panel.code in alike:
                continue
            near = [c for c in (*longer.get(panel.code, ()), *_ends(panel.code)) if c in free]
            stored = kept(connection, near)
            if found := next((c for c in near if _one_here(stored[c], panel)), None):
                codes[panel.code] = found
                free.remove(found)
        return codes

    def _others(self, connection: sa.Connection, panels: Sequence[Panel]) -> list[str]:
        """Codes that other panels have here."""
        known = kept(connection, [p.code for p in panels])
        return [
            p.code
            for p in panels
            if (stored := known.get(p.code)) is not None
            and not stored.deleted
            and not _one_here(stored, p)
        ]

    def _clash(self, codes: Sequence[str]) -> str:
        from matchlib.readings.questions import Choice, Question

        more = f" and {len(codes) - _SAID} more" if len(codes) > _SAID else ""
        listed = f"{', '.join(codes[:_SAID])}{more}"
        question = Question(
            "codes",
            f"They have panels of the same code as panels here, read otherwise: {listed}. "
            "What are they?",
            [
                Choice(
                    "prefix",
                    f"other panels: take them with {self.prefix!r} before the code",
                    f"{codes[0]} becomes {self.prefix}{codes[0]}",
                ),
                Choice("same", "the same panels, read again: join their readings"),
                Choice("leave", "leave them out"),
            ],
        )
        return self._answer(question, "leave")

    def _pictured(
        self, connection: sa.Connection, panels: Sequence[Panel], codes: Mapping[str, str]
    ) -> tuple[dict[str, dict[str, str]], list[Panel]]:
        """Files that are not here: by their code, their name and its name here; and the panels."""
        theirs = {own: code for code, own in codes.items()}
        with self.other.database.read() as other:
            their_files = attaching.digests(other)
        own_files = attaching.digests(connection)
        missing: dict[str, dict[str, str]] = {}
        result = []
        for panel in panels:
            code = theirs[panel.code]
            own = own_files.get(panel.code, {})
            names = {  # another name where it is that of another file here
                name: name if own.get(name, sha256) == sha256 else f"{sha256[:8]}-{name[-100:]}"
                for name, sha256 in their_files.get(code, {}).items()
            }
            missing[code] = {name: here for name, here in names.items() if here not in own}
            result.append(_repictured(panel, names) if names else panel)
        return missing, result

    def _jobs(
        self,
        connection: sa.Connection,
        say: Callable[[str, str], str],
        codes: Mapping[str, str],
    ) -> tuple[list[tuple[int, int]], list[tuple[int, str]], list[Entry]]:
        own_jobs = {_order(job): job for job in jobs.jobs_of(connection)}
        taken, left, items = [], [], []
        for theirs in reversed(self.other.jobs()):
            job = _moved(respelled_job(theirs, say), codes)
            stored = own_jobs.get(_order(job))
            if stored is not None:
                same = jobs.job_fields(stored) == jobs.job_fields(job)
                words = f"it is job {stored.number} here"
                left.append(
                    (theirs.number, words if same else f"{words}, which has gone on otherwise")
                )
                continue
            number, entry = jobs.begin(connection, job, self.stamp)
            taken.append((theirs.number, number))
            items.append(entry)
        return taken, left, items

    def _files(
        self,
        connection: sa.Connection,
        codes: Mapping[str, str],
        missing: Mapping[str, Mapping[str, str]],
    ) -> int:
        for code, names in missing.items():
            for one in self.other.attachments(code) if names else ():
                if one.name in names:
                    name, at = names[one.name], one.at.isoformat(timespec="milliseconds")
                    attaching.attach(connection, codes[code], name, one.data, at=at, who=one.who)
        return sum(map(len, missing.values()))


def _ends(code: str) -> list[str]:
    """What a code may be without a prefix: 11 is not 1 with a 1 before it."""
    cuts = range(1, len(code))
    return [code[i:] for i in cuts if not (code[i - 1].isdigit() and code[i].isdigit())]


def _one_here(stored: StoredPanel | None, theirs: Panel) -> bool:
    """Whether what is kept here, under whatever code, is the card of theirs."""
    if stored is None or stored.deleted:
        return False
    return one_card(stored.panel, replace(theirs, code=stored.panel.code))


def _with(ours: Name, theirs: Name, rows: Collection[tuple[str, str]]) -> Name:
    """Our name with the spellings and lots that are theirs alone."""
    more = [s for s in (theirs.name, *theirs.spellings) if (ours.kind, name_key(s)) not in rows]
    codes = {name_key(lot.code) for lot in ours.lots}
    lots = [lot for lot in theirs.lots if name_key(lot.code) not in codes]
    return replace(ours, spellings=(*ours.spellings, *more), lots=(*ours.lots, *lots))


def _repictured(panel: Panel, names: Mapping[str, str]) -> Panel:
    stages = tuple(
        replace(
            stage,
            readings=tuple(
                replace(r, picture=names.get(r.picture, r.picture)) for r in stage.readings
            ),
        )
        for stage in panel.stages
    )
    return replace(panel, stages=stages)


def _order(job: Job) -> str:
    """What tells that two jobs are one order: its name, customer and target."""
    fields = jobs.job_fields(job)
    if job.target:
        fields = {k: fields.get(k) for k in ("name", "customer", "target")}
    return dump(fields)


def _moved(job: Job, codes: Mapping[str, str]) -> Job:
    """A job with the codes that its panels have here, without those left out."""
    plan = job.plan and replace(job.plan, on=codes.get(job.plan.on, ""))
    panels = tuple(codes[code] for code in job.panels if code in codes)
    return replace(job, plan=plan, panels=panels, number=0, version=0)
