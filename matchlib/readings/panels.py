"""Tables → panels, with a report of every row and of what the file leaves open."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from itertools import zip_longest
from typing import Any

from matchlib.domain import Panel, Reading, Recipe, Stage
from matchlib.errors import FileError, MatchlibError
from matchlib.readings._cells import heading
from matchlib.readings._columns import ask_column
from matchlib.readings._entries import Entry, TableReader, as_shown, role_of
from matchlib.readings._grid import is_blank
from matchlib.readings._header import Table
from matchlib.readings._joining import folded_code, joined
from matchlib.readings._lookup import Lookup
from matchlib.readings._rows import OF_GUN, OF_PANEL, OF_STAGE
from matchlib.readings.questions import Asking, Choice, Question, Stated, Undecided
from matchlib.readings.report import (
    ALONE,
    OURS,
    REFUSED,
    REMARK,
    TAKEN,
    WAITS,
    ImportReport,
    RowReport,
    TileReading,
)

__all__ = ["read_tables"]

_PREVIEW = 10
_SHOWN_ROWS = 8
_UNREAD = (
    "No reading was found for this back. What to do: give the file of readings with it, or write "
    "none as its source."
)


@dataclass(slots=True)
class _Intake:
    """Everything gathered over the tables of one import."""

    asking: Asking
    stated: Stated
    word: str = "row"
    entries: list[Entry] = field(default_factory=list)
    rows: list[RowReport] = field(default_factory=list)
    tiles: list[TileReading] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)
    assumed: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    columns: list[tuple[str, str, str]] = field(default_factory=list)
    preview: list[dict[str, Any]] = field(default_factory=list)

    def refuse(self, entry: Entry, reason: str, outcome: str = REFUSED) -> None:
        old = self.rows[entry.place]
        reasons = (*old.reasons, reason)
        self.rows[entry.place] = replace(old, outcome=outcome, panel=entry.code, reasons=reasons)


def read_tables(
    tables: Sequence[Table], asking: Asking, stated: Stated, *, file: str, sha256: str
) -> ImportReport:
    """Read the panels of the tables of one import."""
    tables = [t for t in tables if t.rows] or tables  # a sheet of backs, none typed yet
    intake = _Intake(asking, stated)
    several = len({t.sheet for t in tables}) > 1
    lookups = [Lookup(table, asking, stated) for table in tables]
    used: list[Lookup] = []
    for lookup in lookups:
        if role_of(lookup):
            used.append(lookup)
        else:
            intake.warnings.append(
                f"The table {lookup.table.sheet or lookup.table.header[0]!r} was left out: it "
                "holds neither readings nor backs"
            )
    try:
        _needed(used, lookups, intake)
    except Undecided:
        columns = tuple(c for lookup in used for c in lookup.columns.meanings)
        return ImportReport(file, sha256, (), questions=asking.questions, columns=columns)
    intake.word = used[0].table.row_word
    for lookup in used:
        _read(lookup, intake, several)
    waiting = any(r.outcome == WAITS for r in intake.rows)
    if not waiting:
        _join(intake)
        _alike(intake)
    panels = [] if waiting else _gather(intake)
    if several_read := list(_of_cards(panels, intake)):
        from matchlib.readings.repeats import far_apart_words  # numpy: only repeats pay

        intake.warnings += far_apart_words(several_read)
    if len(intake.tiles) > 1:
        from matchlib.readings.drift import drift_words  # numpy: only files with tiles pay

        intake.warnings += drift_words(intake.tiles)
    return ImportReport(
        file=file,
        sha256=sha256,
        panels=tuple(panels),
        rows=tuple(intake.rows),
        questions=asking.questions,
        columns=tuple(intake.columns),
        preview=tuple(_marked(intake)),
        warnings=tuple(dict.fromkeys(intake.warnings)),
        notes=tuple(dict.fromkeys(intake.notes)),
        assumed=tuple(dict.fromkeys(intake.assumed)),
        tiles=tuple(intake.tiles),
        met=frozenset(e.code for e in intake.entries if e.known is not None),
        row_word=intake.word,
    )


def _needed(used: list[Lookup], lookups: list[Lookup], intake: _Intake) -> None:
    missing = _missing(used)
    if missing and not (missing == ["ground"] and _all_known(used, intake.stated)):
        for lookup in used:
            _ask_columns(lookup, missing)
        missing = _missing(used)
    if missing == ["ground"] and intake.stated.panels:
        return
    if missing or not used:
        names = [n for lookup in lookups for n in lookup.table.header if n]
        missing = _missing(used or lookups) or ["L, a, b or of a wavelength"]
        raise FileError(
            f"This table has no column {' and no column '.join(missing)}.",
            expected="at least panel, ground, colour, schedule (or ratio and coats), and L, a, b "
            "or spectral columns",
            got=", ".join(names)[:200],
            remedy="name the columns as in the table of readings; where backs and readings are in "
            "two files, give both.",
        )


def _missing(used: list[Lookup]) -> list[str]:
    have: set[str] = set()
    for lookup in used:
        have |= lookup.columns.known.keys() | lookup.facts.keys()
    return [] if "tile" in have else [n for n in ("panel", "ground") if n not in have]


def _all_known(used: list[Lookup], stated: Stated) -> bool:
    """Whether readings without a ground are of panels that are known already."""
    known = {folded_code(code) for code in stated.panels}
    codes = [lookup.text(row, "panel") for lookup in used for row in lookup.table.rows[:50]]
    return any(folded_code(code) in known for code in codes)


def _ask_columns(lookup: Lookup, missing: list[str]) -> None:
    waiting = None
    parts = ("colour", "ratio", "coats") if "ground" in missing else ()
    for meaning in (*missing, *parts):
        if meaning in parts and {"schedule", "carrier parts"} & lookup.columns.known.keys():
            continue
        try:
            ask_column(meaning, lookup.table, lookup.columns, lookup.asking)
        except Undecided as key:
            waiting = key  # the others are asked in the same breath
    if waiting:
        raise waiting


def _read(lookup: Lookup, intake: _Intake, several: bool) -> None:
    table = lookup.table
    reader = TableReader(lookup)
    place = table.sheet if several else ""
    intake.columns += lookup.columns.meanings
    outcome_at = next((i for i, n in enumerate(table.header) if n.casefold() == OURS[1]), None)
    for row in table.rows:
        if outcome_at is not None and row.at(outcome_at) == TAKEN:
            continue  # our own report, corrected: what was taken is not taken again
        entry = reader.entry(row)
        cells = tuple(
            (n, as_shown(row, i))
            for i, n in enumerate(table.header)
            if n and n.casefold() not in OURS and i < len(row.cells)
        )
        intake.rows.append(entry.report(place, cells))
        if len(intake.preview) < _PREVIEW:
            intake.preview.append(reader.shown(row, entry))
        if entry.good and entry.tile:
            intake.tiles += (TileReading(entry.tile, r, lookup.where(row)) for r in entry.readings)
        elif entry.good:
            entry.place = len(intake.rows) - 1
            intake.entries.append(entry)
    for number, remark in table.remarks:
        text = next(heading(c) for c in remark if not is_blank(c))
        intake.rows.append(RowReport(number, REMARK, "", (text[:200],), place))
    warnings, assumed = reader.remarks()
    intake.warnings += warnings
    intake.assumed += assumed
    intake.notes += lookup.columns.extra


def _join(intake: _Intake) -> None:
    """Let readings without a back meet one: of the same files, or of the archive."""
    loose = [e for e in intake.entries if e.recipe is None]
    if not loose:
        return
    backs: dict[str, dict[int, Recipe]] = {}
    for entry in intake.entries:
        if entry.recipe is not None:
            backs.setdefault(entry.code, {}).setdefault(entry.stage, entry.recipe)
    known = {code: panel for code, panel in intake.stated.panels.items() if code not in backs}
    for code, panel in known.items():
        backs[code] = {n: stage.recipe for n, stage in enumerate(panel.stages, 1)}
    codes = list(backs)
    try:
        places = joined([e.code for e in loose], codes, intake.asking)
    except Undecided:
        for entry in loose:
            intake.refuse(entry, "waits for the answer to 'join'", WAITS)
        intake.entries = []
        return
    for entry, i in zip(loose, places, strict=True):
        if i is None:
            intake.refuse(entry, f"No back was found for the reading {entry.code!r}.", ALONE)
            continue
        stages = backs[codes[i]]
        entry.code, entry.stage = codes[i], entry.stage or max(stages)
        if entry.stage not in stages:
            error = FileError(
                f"Panel {entry.code} has no stage of this number.",
                expected=f"1 to {max(stages)}",
                got=str(entry.stage),
                remedy="write the coats of a stage that is new on the row of its reading.",
            )
            intake.refuse(entry, str(error))
            continue
        entry.recipe = stages[entry.stage]
        if entry.code in known:
            # A day beside a reading alone is the reading's own, not that of the spraying.
            entry.known = known[entry.code]
            entry.sprayed = entry.known.stages[entry.stage - 1].date
    intake.entries = [e for e in intake.entries if e.recipe is not None]


def _alike(intake: _Intake) -> None:
    """Ask whether codes that differ only in capitals, signs or noughts are one panel."""
    spelt: dict[str, dict[str, Entry]] = {}
    for entry in intake.entries:
        spelt.setdefault(folded_code(entry.code), {}).setdefault(entry.code, entry)
    several = {k: v for k, v in spelt.items() if len(v) > 1}
    if not several:
        return
    first = list(next(iter(several.values())).values())
    shown = " and ".join(repr(e.code) for e in first[:3])
    means = f"{intake.word} {first[1].row}: a reading of {first[0].code}"
    question = Question(
        "codes",
        f"Some codes are alike but for capitals, signs or noughts, such as {shown}. Are they one "
        "panel?",
        [
            Choice("different", "no, different panels"),
            Choice("same", "yes, one panel each", means),
        ],
        "different",
        [e.row for group in several.values() for e in group.values()][:1000],
    )
    if intake.asking.answer(question) == "same":
        one = {code: next(iter(g)) for g in several.values() for code in g}
        for entry in intake.entries:
            entry.code = one.get(entry.code, entry.code)


def _gather(intake: _Intake) -> list[Panel]:
    by_code: dict[str, list[Entry]] = defaultdict(list)
    for entry in intake.entries:
        by_code[entry.code].append(entry)
    panels: list[Panel] = []
    for entries in by_code.values():
        try:
            panel = _merge(entries, intake)
        except MatchlibError as error:
            for entry in entries:
                intake.refuse(entry, str(error))
            continue
        if not any(s.readings for s in panel.stages) and not any(e.unread for e in entries):
            for entry in entries:
                intake.refuse(entry, _UNREAD, ALONE)
            continue
        panels.append(panel)
    return panels


def _of_cards(panels: list[Panel], intake: _Intake) -> Iterator[tuple[str, list[Reading]]]:
    """The readings of each stage with its card's code, behind those known of it already."""
    met = {e.code: e.known for e in intake.entries if e.known is not None}
    for panel in panels:
        known = met[panel.code].stages if panel.code in met else ()
        for stage, old in zip_longest(panel.stages, known[: len(panel.stages)]):
            readings = [*(old.readings if old else ()), *stage.readings]
            if len(readings) > 1:
                yield panel.code, readings


def _merge(entries: list[Entry], intake: _Intake) -> Panel:
    by_stage: dict[int, list[Entry]] = defaultdict(list)
    for entry in entries:
        by_stage[entry.stage].append(entry)
    first = entries[0]
    known = () if first.known is None else first.known.stages
    if not known and sorted(by_stage) != list(range(1, len(by_stage) + 1)):
        raise FileError(
            f"Panel {first.code} has a stage without the one before it.",
            expected="stages 1, 2 and so on",
            got="stage " + " and ".join(map(str, sorted(by_stage))),
            remedy="add a row for every stage; one that was never read has the source none.",
        )
    given = {n: _merge_stage(by_stage[n], n, intake) for n in sorted(by_stage)}
    if known:
        unread = {n: replace(stage, readings=()) for n, stage in enumerate(known, 1)}
        given = {n: given.get(n, old) for n, old in unread.items()}
    extra: dict[str, dict[str, None]] = defaultdict(dict)
    for entry in entries:
        for name, value in entry.extra:
            extra[name][value] = None
    own = tuple((name, "; ".join(values)) for name, values in extra.items())
    whole = replace(first, extra=own, back=_agreed(entries, OF_PANEL, intake))
    return whole.panel(tuple(given.values()))


def _merge_stage(entries: list[Entry], number: int, intake: _Intake) -> Stage:
    first = entries[0]
    if len({e.recipe for e in entries}) > 1:
        rows = f"{intake.word}s " + ", ".join(str(e.row) for e in entries[:_SHOWN_ROWS])
        here = f" in stage {number}" if number > 1 else ""
        raise FileError(
            f"The panel code {first.code} stands with more than one recipe{here} ({rows}).",
            got=" and ".join(map(str, dict.fromkeys(e.recipe for e in entries))),
            remedy="correct the recipe, or give each panel its own code; coats that were laid on "
            "a finished panel are its stage 2.",
        )
    whole = replace(
        first,
        back=_agreed(entries, (*OF_STAGE, *OF_GUN, "lots"), intake),
        sprayed=min((e.sprayed for e in entries if e.sprayed), default=None),
        log=max((e.log for e in entries), key=len),
    )
    return whole.sprayed_stage(tuple(r for e in entries for r in e.readings))


def _agreed(entries: list[Entry], names: Iterable[str], intake: _Intake) -> dict[str, Any]:
    """What the rows of one panel say together; where they do not agree, the first counts."""
    agreed: dict[str, Any] = {}
    for name in names:
        stated = [v for e in entries if (v := e.back.get(name)) not in ("", None)]
        if len(set(stated)) > 1:
            intake.warnings.append(
                f"Panel {entries[0].code}: its rows do not agree on {name}; {stated[0]} was kept."
            )
        if stated:
            agreed[name] = stated[0]
    return agreed


def _marked(intake: _Intake) -> Iterator[dict[str, Any]]:
    for seen in intake.preview:
        number = next(iter(seen.values()))
        yield {
            **seen,
            "unsure": [
                q.key
                for q in intake.asking.questions
                if q.answer is None and (number in q.rows or not q.rows)
            ],
        }
