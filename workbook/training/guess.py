"""Guess, then look: a ratio and its cup, a real card and its back; with the trainee's record."""

from __future__ import annotations

import datetime as dt
import secrets
import zlib
from contextlib import suppress
from statistics import median
from typing import TYPE_CHECKING

from matchlib.colorimetry import delta_e00
from matchlib.errors import DomainError, MatchlibError
from matchlib.lessons import KINDS, Exercise, Marked, make_drill, make_exercise, mark
from matchlib.plural import counted
from workbook.figures import areas, esc, minus, number, numbers, table
from workbook.page.fields import button, choice, fold, problem
from workbook.session.record import keep_attempt, load_attempts, trainees

if TYPE_CHECKING:
    from workbook.page import Press
    from workbook.training.app import TrainingScreen

__all__ = ["draw", "draw_drill"]

_LATELY, _SHOWN = 8, 10


def draw_drill(screen: TrainingScreen) -> tuple[str, str, str]:
    """Return a question about a ratio; as `workbook.training.value.draw`."""
    drill = make_drill(int(screen.address.get("drill") or 1))
    chosen = screen.drill_choice
    answers = "".join(
        button(text, "drill", i, off=chosen is not None) for i, text in enumerate(drill.texts)
    )
    main = (
        "<p>Carrier first: 6:1 is six parts of carrier to one of colour, and the colour is one "
        f"seventh of the pot.</p><p class='wb-big'>{esc(drill.question)}</p>"
        f"<p class='wb-bar'>{answers}</p>"
    )
    if chosen is not None:
        passed, words = drill.mark(chosen)
        sign = "✓" if passed else "✗"
        main += (
            f"<p class='wb-said' role='status'>{sign} {esc(words)}</p>"
            f"<p>{screen.drill_right} of {screen.drill_done} right.</p>"
        )
    go = button("Next question", "next_drill", go=chosen is not None)
    return "What is a ratio?", main, go


def do_drill(screen: TrainingScreen, done: Press) -> None:
    """Mark an answer about a ratio."""
    if screen.drill_choice is not None:
        return
    screen.drill_choice = int(done.value)
    passed, _ = make_drill(int(screen.address.get("drill") or 1)).mark(screen.drill_choice)
    screen.drill_done += 1
    screen.drill_right += passed


def do_next_drill(screen: TrainingScreen, _: Press) -> None:
    """Ask another question about a ratio."""
    screen.drill_choice = None
    screen.address = {**screen.address, "drill": str(secrets.randbits(31))}


def do_to_guess(screen: TrainingScreen, done: Press) -> None:
    """Go from the chart to guessing."""
    screen.address = {"part": "guess"}
    do_new(screen, done)


def do_new(screen: TrainingScreen, done: Press) -> None:
    """Ask about another card; what is asked stands in the address."""
    screen.do_choose(done)
    kind = screen.chosen.get("kind") or screen.address.get("kind") or next(iter(KINDS))
    lately = _lately(screen)
    with suppress(MatchlibError):  # nothing was asked where the archive could not
        before = _exercise(screen)
        if before is not None:
            lately = [*lately, before.panel][-_LATELY:]
    screen.address = {
        "part": "guess",
        "kind": kind,
        "seed": str(secrets.randbits(31)),
        "without": "\n".join(lately),
    }


def _exercise(screen: TrainingScreen) -> Exercise | None:
    """What is asked: the same address asks the same again."""
    at = screen.address
    if not at.get("seed") or screen.model is None or at.get("kind") not in KINDS:
        return None
    panels, seed = screen.session.archive.panels(), int(at["seed"])
    return make_exercise(screen.model, panels, at["kind"], seed=seed, without=_lately(screen))


def _asked(found: Exercise) -> str:
    """What the page shows of a question, by which its answer is known to be of it."""
    return "; ".join([found.given, numbers(found.lab), *found.texts])


def _answered(screen: TrainingScreen, found: Exercise) -> str:
    """What was answered to just this question: with other cards the address may ask another."""
    at, this = screen.address, _known_by(found)
    return at.get("choice", "") if at.get("of", this) == this else ""


def _known_by(found: Exercise) -> str:
    return f"{zlib.crc32(_asked(found).encode()):x}"


def _lately(screen: TrainingScreen) -> list[str]:
    """Cards that were asked about just now."""
    return [code for code in screen.address.get("without", "").split("\n") if code]


def do_guess(screen: TrainingScreen, done: Press) -> None:
    """Mark a guess, and put it on the trainee's record; one card is answered once."""
    screen.do_choose(done)
    found = _exercise(screen)
    if found is None or _answered(screen, found):
        return
    if done.fields.get("asked", _asked(found)) != _asked(found):
        raise DomainError(
            "The archive was changed meanwhile and asks something else now, so nothing was marked.",
            remedy="look at what is asked now, and answer that.",
        )
    marked = mark(found, int(done.value))
    screen.address = {**screen.address, "choice": done.value, "of": _known_by(found)}
    if screen.trainee:
        keep_attempt(
            screen.session.archive,
            screen.trainee,
            kind=found.kind,
            panel=found.panel,
            passed=marked.passed,
            miss=marked.difference,
            best=marked.best,
        )


def draw(screen: TrainingScreen) -> tuple[str, str, str]:
    """Return a card to guess at; as `workbook.training.value.draw`."""
    kind = screen.chosen.get("kind") or screen.address.get("kind") or next(iter(KINDS))
    bar = f'<div class="wb-fields">{choice("Question", "kind", KINDS, kind, do="choose")}</div>'
    try:
        found = _exercise(screen)
    except MatchlibError as error:
        return "Guess, then look", bar + problem(error), button("Another card", "new", go=True)
    chosen = "" if found is None else _answered(screen, found)
    go = button("Another card", "new", go=found is None or bool(chosen))
    record = _record(screen)
    if screen.model is None:
        return "Guess, then look", screen.waiting() + bar, ""
    if found is None:
        words = "<p>A card of this archive, its reading, and a question.</p>"
        return "Guess, then look", words + bar + record, button("Show a card", "new", go=True)
    named = {numbers(found.lab): found.lab}
    if found.start is not None:
        wanted = f"what is wanted {numbers(found.lab)}"
        named = {f"the card {numbers(found.start)}": found.start, wanted: found.lab}
    seen = areas([*named.values()], words=", beside it ".join(named), width=300, height=150)
    verdict, below = "", ""
    if chosen:
        marked = mark(found, int(chosen))
        words = minus(f"{'✓' if marked.passed else '✗'} {marked.words} Card {found.panel}.")
        verdict = f"<p class='wb-said' role='status'>{esc(words)}</p>"
        below = _shown(found, marked)
    else:
        answers = "".join(button(text, "guess", i) for i, text in enumerate(found.texts))
        below = f'<div class="wb-bar" role="group" aria-label="Answers">{answers}</div>'
    main = (
        f'<div class="wb-verdict">{seen}<div><p>{esc(found.given)}</p>'
        f"<p class='wb-num'>{esc(numbers(found.lab))}</p>{verdict}</div></div>{below}"
        f'<input type="hidden" name="asked" value="{esc(_asked(found))}">'
    )
    return found.question, main + bar + record, go


def _shown(found: Exercise, marked: Marked) -> str:
    away = delta_e00(found.labs, found.lab)
    of = "what is wanted" if found.start else "the card"
    rows = []
    for i, (text, lab) in enumerate(zip(found.texts, found.labs, strict=True)):
        state = ("nearest" if found.kind == "change" else "on the back") * (i == found.right)
        state += " – your answer" if i == marked.choice else ""
        chip = areas([lab, found.lab], words=f"{numbers(lab)} beside {of}", width=96, height=44)
        rows.append([text, chip, number(float(away[i]), 1), state.strip(" –")])
    heads = ["answer", "beside it", f"ΔE00 from {of}", ""]
    return table(heads, rows, caption="The answers", right=heads[2:3])


def _everybody(screen: TrainingScreen) -> str:
    """How far each trainee is, for who teaches them."""
    rows = []
    for who, held in trainees(screen.session.archive).items():
        right, off = sum(a["passed"] for a in held), median(a["miss"] for a in held)
        rows.append([who, len(held), right, number(off)])
    heads = ["trainee", "asked", "right", "median ΔE00 off"]
    whole = table(heads, rows, caption="Everybody on record", right=heads[1:])
    return str(fold("Everybody on record", whole, ident="everybody")) if rows else ""


def _record(screen: TrainingScreen) -> str:
    held = load_attempts(screen.session.archive, screen.trainee)
    if not held:
        return _everybody(screen)
    rows = []
    for kind, question in KINDS.items():
        some = [a for a in held if a["kind"] == kind]
        if some:
            right = sum(a["passed"] for a in some)
            all_, last = (median(a["miss"] for a in x) for x in (some, some[-_SHOWN:]))
            rows.append([question, len(some), right, number(all_, 1), number(last, 1)])
    heads = ["question", "asked", "right", "median ΔE00 off", f"of the last {_SHOWN}"]
    whole = table(heads, rows, caption=f"Record of {screen.trainee}", right=heads[1:])
    lately = [
        [
            f"{dt.datetime.fromisoformat(a['at']).astimezone():%Y-%m-%d %H:%M}",
            KINDS.get(a["kind"], a["kind"]),
            a["panel"],
            "right" if a["passed"] else "not right",
            number(a["miss"], 1),
        ]
        for a in held[::-1][:_SHOWN]
    ]
    heads = ["when", "question", "card", "answer", "ΔE00 off"]
    listed = table(heads, lately, caption="The latest", right=heads[4:])
    count = f"{counted(len(held), 'answer')} on record"
    return str(fold(count, whole + listed, ident="record"))
