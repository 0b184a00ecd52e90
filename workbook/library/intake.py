"""Files of cards taken in on the page: looked at, asked about, and only then taken."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, replace
from dataclasses import field as holds
from pathlib import Path
from typing import TYPE_CHECKING, Literal, cast

from matchlib.errors import ArchiveError
from matchlib.plural import counted
from workbook.figures import esc, table
from workbook.page.fields import button, chips, field, fold, radio, upload
from workbook.session.intake import (
    HowToRead,
    as_understood,
    import_file,
    is_bundle,
    preview,
    sent_file,
)

if TYPE_CHECKING:
    from matchlib.readings import ImportReport
    from matchlib.readings.questions import Question
    from workbook.library.app import LibraryScreen
    from workbook.page import Press
    from workbook.session.intake import Imported

__all__ = ["Take", "draw"]

_KINDS = ".csv,.tsv,.txt,.xlsx,.ods,.cgats,.cxf,.xml,.zip"
_KNOWN = {
    "ask": "say so, and take nothing",
    "keep": "the library is right",
    "replace": "the file is right",
    "repeats": "other readings are repeats",
}
_SHOWN, _LINES = 8, 3


@dataclass
class Take:
    """Files that are being taken in together, each its name and its content."""

    files: tuple[tuple[str, bytes], ...] = ()
    how: HowToRead = holds(default_factory=HowToRead)
    report: ImportReport | None = None
    bundle: bool = False

    @property
    def name(self) -> str:
        """Their names."""
        return ", ".join(name for name, _ in self.files)

    @contextmanager
    def there(self) -> Iterator[list[Path]]:
        """The files themselves, each in a folder of its own."""
        with ExitStack() as held:
            yield [held.enter_context(sent_file(*file)) for file in self.files]


def do_file(screen: LibraryScreen, done: Press) -> None:
    """Look at a file that was just chosen."""
    screen.take = Take(((done.value, done.content),))
    _read(screen)


def do_add(screen: LibraryScreen, done: Press) -> None:
    """Look at one file more beside those chosen: backs in one and readings in another meet."""
    _hear(screen.take, done)
    screen.take.files += ((done.value, done.content),)
    _read(screen)


def do_answer(screen: LibraryScreen, done: Press) -> None:
    """Look again, with the answers that were given."""
    _hear(screen.take, done)
    _read(screen)


def _hear(take: Take, done: Press) -> None:
    asked = take.report.questions if take.report is not None else ()
    given = {
        q.key: done.fields[f"answer {i}"]
        for i, q in enumerate(asked)
        if done.fields.get(f"answer {i}")
    }
    known = cast(Literal["ask", "keep", "replace", "repeats"], done.fields.get("known", "ask"))
    take.how = replace(take.how, answers={**take.how.answers, **given}, known=known)


def _read(screen: LibraryScreen) -> None:
    take = screen.take
    take.report, take.bundle = None, False
    with take.there() as files:
        take.bundle = any(map(is_bundle, files))
        if not take.bundle:
            take.report = preview(screen.session.place, files, take.how)


def do_import(screen: LibraryScreen, done: Press) -> None:
    """Take the cards in; the value ``good`` takes the good rows though others are refused."""
    take, who = screen.take, done.fields.get("who", "")
    _hear(take, done)
    with take.there() as files:
        good = done.value == "good"
        try:
            taken = import_file(screen.session.place, files, take.how, keep_good=good, who=who)
        except ArchiveError as error:
            for key, words in _KNOWN.items():  # a command's options, as they are answered here
                error.remedy = (error.remedy or "").replace(f"(--{key})", f"({words})")
            raise
    screen.take = Take()
    screen.changed()
    screen.go("cards")
    screen.notice = _news(taken)


def _news(taken: Imported) -> str:
    """What became of a file, without what stood on the page before it was taken in."""
    told: set[str] = set()
    if (found := taken.report) is not None:
        told = {*found.folded(), *(f"Look at: {w}" for w in found.warnings)}
    return "\n".join(line for line in taken.text.splitlines() if line not in told)


def draw(screen: LibraryScreen) -> str:
    """Return the page of a file."""
    take = screen.take
    choose = upload("Choose a file", "file", accept=_KINDS)
    words = (
        "A table, an instrument's file, or a backup of the workbook. It is read and said back; "
        "nothing is taken in before you say so. Where backs and readings are in two files, choose "
        "one, then add the other."
    )
    if not take.name:
        main = f"<p>{words}</p><p>{choose}</p>{screen.trouble('file')}"
        return screen.framed("Take in a file", main)
    add = upload("Add a file", "add", accept=_KINDS)
    other = upload("Another file instead", "file", accept=_KINDS)
    another = f'<p class="wb-bar">{add}{other}</p>'
    refused = screen.trouble("import")
    wrong = screen.trouble("file", "add", "answer") + refused
    if take.bundle:
        main = "<p>This is a backup: all its cards come in, with their history.</p>"
        go = button("Restore it", "import", go=True)
        return screen.framed(take.name, f"{main}{wrong}{another}", forward=go)
    if take.report is None:
        return screen.framed(take.name, f"{wrong}{another}")
    found = take.report
    main = _counted(found) + _questions(found) + _rows(found) + wrong
    main += fold("The first rows as understood", _understood(found), ident="understood")
    if answered := _questions(found, answered=True):
        again = button("Read it again with these answers", "answer")
        main += fold("What was answered", f"{answered}{again}", ident="answered")
    known = _known(take.how.known)
    main += fold("Where a known card differs", known, ident="known", open_=bool(refused))
    main += fold("What the columns were taken for", _columns(found), ident="columns")
    main += field("Your name, for the history", "who") + another
    if found.open:
        go = button("Go on with these answers", "answer", go=True)
    elif found.refused and found.panels:
        left = len(found.refused)
        words = f"Take in {counted(len(found.panels), 'card')}, leave {counted(left, 'row')}"
        go = button(words, "import", "good", go=True)
    else:
        count = len(found.panels)
        go = button(f"Take in {counted(count, 'card')}", "import", go=True, off=not count)
    return screen.framed(f"Take in {take.name}", main, forward=go)


def _counted(found: ImportReport) -> str:
    cards = counted(len(found.panels), "card")
    readings = counted(sum(p.times_read for p in found.panels), "reading")
    left = f", {counted(len(found.refused), 'row')} refused" if found.refused else ""
    waits = f"; {counted(len(found.open), 'question')} first" if found.open else ""
    told = [f"Look at: {w}" for w in found.warnings[:_SHOWN]]
    told += [f"Assumed: {a}" for a in found.assumed[:_SHOWN]]
    return f'<p class="wb-big">{cards}, {readings}{left}{waits}</p>' + "".join(
        f'<p class="wb-muted">{esc(words)}</p>' for words in told
    )


def _questions(found: ImportReport, *, answered: bool = False) -> str:
    return "".join(
        _question(i, question)
        for i, question in enumerate(found.questions)
        if (question.answer is not None) == answered
    )


def _question(i: int, question: Question) -> str:
    held = question.answer or question.default or ""
    # What is the same for all tells none of them apart.
    told = len(question.choices) == 1 or len({c.means for c in question.choices}) > 1
    options = [
        radio(
            f"{c.text}{f' – {c.means}' if c.means and told else ''}",
            f"answer {i}",
            c.key,
            c.key == held,
        )
        for c in question.choices
    ]
    places = [str(row) for row in dict.fromkeys(question.rows[:6])]
    rows = f"row{'s' * (len(places) > 1)} {', '.join(places)}" if places else ""
    sure = "" if question.open else " (taken as marked unless you say otherwise)"
    return (
        f'<section class="wb-card"><h2>{esc(question.text)}{sure}</h2>'
        f'<p class="wb-muted">{rows}</p>{chips(question.text, options)}</section>'
    )


def _rows(found: ImportReport) -> str:
    # Answers come first: they may yet change which rows are good.
    lines, most = found.folded(), 0 if found.open else _LINES
    html = "".join(f"<p>{esc(line)}</p>" for line in lines[:most])
    more = "".join(f"<p>{esc(line)}</p>" for line in lines[most:])
    words = f"{len(lines) - most} more" if most else "Rows not taken, and why"
    return html + (fold(words, more, ident="rows") if more else "")


def _known(chosen: str) -> str:
    return chips(
        "Where a known card differs",
        [radio(words, "known", key, key == chosen) for key, words in _KNOWN.items()],
    )


def _understood(found: ImportReport) -> str:
    header, rows = as_understood(found)
    return table(header, rows, caption="The first rows as understood")


def _columns(found: ImportReport) -> str:
    rows = [(name, meaning or "a note", why) for name, meaning, why in found.columns]
    heads = ("column", "taken for", "why not sure")
    return table(heads, rows, caption="What the columns were taken for")
