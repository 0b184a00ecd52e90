"""Step 1, the target: what the customer's sample reads, what passes, and whose it is."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from matchlib.colorimetry.lab import lab_of_reading
from matchlib.domain import Viewing
from matchlib.errors import MatchlibError, TargetError
from matchlib.job import Job
from matchlib.repair import aged_finish
from workbook.figures import areas, esc, numbers
from workbook.page.fields import button, choice, field, fold, problem, upload
from workbook.page.page import Press
from workbook.session.back import date_of
from workbook.session.intake import sent_file
from workbook.session.order import KINDS, aim_of, tolerance_of
from workbook.session.targets import angles_of_file, angles_of_panel, typed_readings
from workbook.session.typed import number_typed, three_typed

if TYPE_CHECKING:
    from collections.abc import Mapping

    from matchlib.colorimetry import Tolerance
    from matchlib.domain import Reading
    from matchlib.repair import AgedFinish
    from workbook.jobs.app import JobsScreen
    from workbook.session.session import Session
    from workbook.session.work import Work

__all__ = ["begun", "draw", "of_file", "of_text", "sample_of"]

# Every angle has a digit in its name, and what is no name of an angle is one of an axis: "L: 27.1".
_ANGLE = re.compile(r"^\s*(?=\S*\d)([^\s:]+(?::\d+)?)\s*[:=]\s+(.*)$")


def of_text(text: str, session: Session, like: Reading | None = None) -> tuple[Reading, ...]:
    """Return what was typed or pasted: L a b, a line an angle, or a panel's code.

    `text`: ``27.1 45.9 28.5``, with points or commas; ``45as15: 27 45 28`` for an angle; ``T041``.
    `session`: in whose archive a panel is looked up. `like`: a reading in whose light it was read,
    and in whose geometry where none is typed. Returned: one a geometry. Raises `TargetError` if it
    is none of these.
    """
    lines = [line.strip() for line in text.splitlines() if line.strip()]
    if not lines:
        raise TargetError(
            "Nothing is typed yet.",
            remedy="type the three numbers, give a file or a photograph, or a card's code.",
        )
    known = {p.code.casefold(): p.code for p in session.archive.panels()}
    if len(lines) == 1 and lines[0].casefold() in known:
        return angles_of_panel(session.archive, known[lines[0].casefold()])
    geometry, light = session.geometry, Viewing()
    if like is not None and like.source != "photo":  # what is typed was read by an instrument
        geometry, light = like.viewing.geometry, like.viewing
    rows = []
    for line in lines:
        at = _ANGLE.match(line)
        angle, rest = (at[1], at[2]) if at else (geometry, line)
        rows.append((angle, list(three_typed(rest) or ())))
    return typed_readings(rows, illuminant=light.illuminant, observer=light.observer)


def _aged(text: str, session: Session) -> AgedFinish | None:
    """Return an aged finish where several places of it were typed, a line each and no angle."""
    lines = [line.strip() for line in text.splitlines() if line.strip()]
    if len(lines) < 2 or any(_ANGLE.match(line) for line in lines):
        return None
    places = [typed_readings([(session.geometry, list(three_typed(p) or ()))])[0] for p in lines]
    return aged_finish(places)


def sample_of(text: str, session: Session) -> tuple[tuple[Reading, ...], AgedFinish | None]:
    """Return what was typed of a sample, as `of_text` has it, or the mean of an aged finish."""
    aged = _aged(text, session)
    if aged is None:
        return of_text(text, session), None
    return typed_readings([(session.geometry, list(aged.lab))]), aged


def of_file(name: str, content: bytes) -> tuple[Reading, ...]:
    """Return the readings of the one sample in a file."""
    with sent_file(name, content) as place:
        return angles_of_file(place)


def _tolerance(fields: Mapping[str, str]) -> Tolerance:
    kind = fields.get("kind", "de00")
    sides = [number_typed(v, "What passes") or 0.0 for v in fields.get("passes", "1").split()]
    wanted = 3 if kind.startswith("box") else 1
    if len(sides) != wanted:
        raise TargetError(
            "This is not what passes.",
            expected="three numbers, one an axis" if wanted == 3 else "one number, such as 1",
            got=repr(fields.get("passes", "")[:40]),
            remedy="take it from the order; ΔE00 1 is usual.",
        )
    return tolerance_of(kind, sides[0], sides if wanted == 3 else None)


def begun(done: Press, session: Session, job: Job | None, read: tuple[Reading, ...] = ()) -> Job:
    """Return the job as the page's fields have it, with its target if there is one.

    `job`: as it was; None for a new one. `read`: from a file or a photograph; else what is typed.
    """
    fields = done.fields
    given: dict[str, Any] = {
        "name": fields.get("name", "").strip() or (job.name if job else ""),
        "customer": fields.get("customer", "").strip(),
        "due": date_of(fields.get("due", "")),
        "notes": fields.get("notes", "").strip(),
    }
    if job is not None and job.target:
        return replace(job, **given)
    readings, aged = (read, None) if read else sample_of(fields.get("lab", ""), session)
    if not given["name"]:
        given["name"] = "sample " + numbers(lab_of_reading(readings[0]))
    base = Job(**given) if job is None else replace(job, **given)
    tolerance = _tolerance(fields)
    if aged is not None and tolerance == tolerance_of("de00", 1.0):
        # What the order leaves at the usual is the finish's own spread.
        tolerance = tolerance_of("de00", round(aged.tolerance, 2))
        base = replace(base, notes="\n".join(filter(None, (base.notes, aged.words))))
    weights = _weights(fields.get("weights", ""), len(readings))
    aim_of(readings, tolerance)  # refuses what no surface can have
    return base.aimed(readings, tolerance, weights)


def _weights(text: str, count: int) -> tuple[float, ...]:
    try:
        found = tuple(float(v.replace(",", ".")) for v in text.split())
    except ValueError:
        found = (0.0,)
    if found and (len(found) != count or not all(0 < w <= 100 for w in found)):
        raise TargetError(
            "These weights do not suit the target.",
            expected=f"{count} numbers above 0, in the order of its angles",
            got=repr(text[:40]),
            remedy="leave them empty where every angle counts the same.",
        )
    return found


def _passes_refused(fields: Mapping[str, str], angles: int) -> bool:
    """Whether it is what passes that cannot be read, not the sample."""
    try:
        _tolerance(fields)
        _weights(fields.get("weights", ""), angles)
    except MatchlibError:
        return True
    return False


def draw(screen: JobsScreen, work: Work | None) -> tuple[str, str, str]:
    """Return the step: its title, its HTML, and how to go on.

    `work`: None for a new job.
    """
    job, wrong = None if work is None else work.job, screen.error
    whose = (
        field("Name", "name", job.name if job else "", help="what the shop calls it")
        + field("Customer", "customer", job.customer if job else "")
        + field("Due", "due", job.due.isoformat() if job and job.due else "", kind="date")
    )
    notes = field("Notes", "notes", job.notes if job else "", lines=2, wide=True)
    if job is not None and job.target:
        seen = "".join(
            f'<div><p class="wb-muted">{esc(r.viewing)}</p>'
            f"{areas([lab_of_reading(r)], words=numbers(lab_of_reading(r)), width=220, height=110)}"
            f'<p class="wb-num">{numbers(lab_of_reading(r))}</p></div>'
            for r in job.target
        )
        body = (
            problem(wrong)
            + f'<div class="wb-chips">{seen}</div><p>Passes: {esc(job.tolerance.words)}. '
            "Another target is another job.</p>"
            + f'<div class="wb-fields">{whose}{notes}</div>'
            + button("Keep these words", "words", quiet=True)
        )
        return "The sample", body, button("Next: recipes", "step", "recipe", go=True)
    typed: Mapping[str, str] = {} if screen.last is None else screen.last.fields
    try:
        labs = [lab_of_reading(r) for r in sample_of(typed.get("lab", ""), screen.session)[0]]
    except MatchlibError:
        labs = []
    at_passes = wrong if labs and _passes_refused(typed, len(labs)) else None
    passes = fold(
        "What passes, and at which angles",
        '<div class="wb-fields">'
        + choice("Difference that the order names", "kind", KINDS, typed.get("kind", "de00"))
        + field(
            "At most",
            "passes",
            typed.get("passes", "1"),
            help="for limits by axis three, ΔL* Δa* Δb*",
        )
        + field(
            "Weights of the angles",
            "weights",
            typed.get("weights", ""),
            help="empty: every angle counts the same",
        )
        + f"</div>{problem(at_passes)}<p>Several angles: one a line, such as "
        "<b>45as15: 27.1 45.9 28.5</b>. An aged finish: three places of it or more, one a line; "
        "their own spread is then what passes.</p>",
        ident=f"passes{at_passes is not None:d}",
        open_=at_passes is not None,
    )
    lines = min(6, max(2, len(typed.get("lab", "").splitlines())))
    sample = field("The sample reads: L a b", "lab", lines=lines, do="look",
                   wrong=wrong if at_passes is None else None,
                   help="such as 27.1 45.9 28.5, or the code of a card")  # fmt: skip
    ways = upload("Take it from a file", "file") + button("Photograph it", "photo", quiet=True)
    words = " and ".join(map(numbers, labs)) or "no sample yet"
    body = (
        f'<div class="wb-verdict">{areas(labs, words=words, width=300, height=150)}'
        f'<div>{sample}<div class="wb-bar">{ways}</div></div></div>{screen.photo_part}'
        f'<div class="wb-fields">{whose}</div>{passes}{fold("Notes", notes, ident="notes")}'
    )
    title = "New job" if work is None else "The sample"
    return title, body, button("Next: recipes", "begin", go=not screen.photo_waits)
