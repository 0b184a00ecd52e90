"""Step 4, read: pass or not yet in large words, three axes, and one thing recommended."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from matchlib.colorimetry import delta_lch
from matchlib.colorimetry.lab import lab_of_reading
from matchlib.errors import DomainError, MatchlibError
from matchlib.mixing import format_volume
from matchlib.plural import counted
from workbook.figures import Raw, areas, esc, numbers, protocol_list
from workbook.jobs.pot import third_of
from workbook.jobs.rail import materials
from workbook.jobs.target import of_text
from workbook.page.fields import button, check, field, fold, problem, upload
from workbook.page.pictures import axes, chance, coats, coats_words, spaced, split, tenths
from workbook.session.targets import read_like
from workbook.session.work import Work

if TYPE_CHECKING:
    from matchlib.domain import Panel, Recipe
    from matchlib.mixing import Third
    from matchlib.mixing.pour import Pour
    from matchlib.steering import Advice, Steering
    from workbook.jobs.app import JobsScreen

__all__ = ["Way", "draw", "once_more", "ways_of"]

_LEAST = 0.05
_MOST = 6


@dataclass(frozen=True)
class Way:
    """One thing that can be done after a reading.

    `words`: what to do. `recipe`: all that is on the card in the end. `on`: the card that is built
    on; empty for a fresh one. `chance`: that it passes [-]. `pour`: the pot of coats on top.
    """

    words: str
    recipe: Recipe
    on: str
    chance: float
    pour: Pour | None = None

    @property
    def key(self) -> str:
        """What its press is known by, whatever its place in the list."""
        return f"{self.on}: {self.recipe}, {self.recipe.clear}"


def ways_of(work: Work, advice: Advice, steering: Steering | None, panel: Panel) -> list[Way]:
    """Return what can be done, the likeliest first; of level ones, building on first.

    Of the same things in as many coats only the likeliest ratio is there.
    """
    ways = []
    for option in steering.options if steering else ():
        more = ", then ".join(
            f"{s.coats} more coat{'s' * (s.coats != 1)} of {spaced(s.ratio)}"
            for s in option.added.steps
        )
        ways.append(
            Way(
                f"Put {more} on this card",
                option.recipe,
                panel.code,
                option.probability,
                option.pour,
            )
        )
    for scored in (*advice.changes, *advice.fresh):
        recipe, words = scored.recipe, coats_words(scored.recipe)
        if materials(recipe) != materials(panel.recipe):
            words = f"{' then '.join(map(str, recipe.colours))} over {recipe.ground}, {words}"
        ways.append(Way(f"A fresh card: {words}", recipe, "", scored.probability))
    kept: dict[object, Way] = {}  # of so many coats of the same things one will do, the likeliest
    for way in sorted(ways, key=lambda w: (-chance(w.chance)[0], -round(w.chance, 2), not w.on)):
        kept.setdefault((way.on, materials(way.recipe), way.recipe.coats), way)
    return list(kept.values())


def _how(poured: Pour, third: Third | None) -> str:
    """How the pot of coats on top is made; `third`: what the shop's pots hold besides."""
    if poured.kept is None:
        return "A fresh pot."
    lasts = ", while its pot life lasts" if third is not None and third.hardens else ""
    more = poured.ml("carrier")
    if not more:
        return f"From the cup{lasts}, or a fresh pot."
    share = 0.0 if third is None else third.share / (1.0 + third.share)
    parts = f"{format_volume(more * (1.0 - share))} carrier"
    if third is not None:
        parts += f" + {format_volume(more * share)} {third.name}"
    left = format_volume(poured.kept.ml)
    return f"From the cup{lasts}, {parts} to each {left} left in it; or a fresh pot."


def _verdict(advice: Advice) -> str:
    """Whether the card passes, in large words."""
    text = advice.goal.tolerance.with_unit(advice.difference)
    clear = " under its clear" if advice.last.clear_to_come else ""
    word = "● Passes" if advice.passes else "○ Not yet"
    return f"{word}: {text}{clear}, {advice.goal.tolerance.value:g} allowed"


def draw(screen: JobsScreen, work: Work) -> tuple[str, str, str]:
    """Return the step: its title, its HTML, and how to go on."""
    advice: Advice | None = None
    try:
        advice, ways, caution = screen.judged(work)
    except MatchlibError as error:  # read elsewhere, in another way than the target
        screen.error = screen.error or error
    card = work.panel
    if card is None:
        body = "<p>There is no card to read yet.</p>"
        return "Card ", body, button("Next: keep this reading", "read", go=True)
    if advice is None or screen.address.get("tool") == "again":
        body = _ask(screen, work, card)
        keep = button("Next: keep this reading", "read", go=not screen.photo_waits)
        return f"Card {card.code}", body, keep
    body = problem(screen.error) + _judged(work, card, advice, ways, caution)
    if not work.job.open:
        forward = button("Next: done", "step", "done", go=True)
    elif advice.passes and work.to_clear:
        forward = button("Next: clear laid", "clear", go=True)
    elif advice.passes:
        forward = button("Next: finish", "step", "done", go=True)
    elif once_more(advice, card):
        forward = button("Next: read it again", "again", go=True)
    elif _hopeless(ways):
        forward = button("Next: another recipe", "step", "recipe", go=True)
    else:
        words = "build on it" if ways[0].on else "a fresh card"
        forward = button(f"Next: {words}", "do", ways[0].key, go=True)
    return f"Card {card.code}, as read", body, forward


def _hopeless(ways: list[Way]) -> bool:
    """Whether nothing within the shelf is likely to pass."""
    return not ways or ways[0].chance < _LEAST


def once_more(advice: Advice, card: Panel) -> bool:
    """Whether a card is read again before it is built on: it does not fit, and was read once."""
    return bool(advice.unfitting) and len(card.stages[-1].readings) <= len(advice.finished)


def _judged(work: Work, card: Panel, advice: Advice, ways: list[Way], caution: str) -> str:
    """What a card's reading says, and what can be done."""
    words = _verdict(advice)
    each = [[float(v) for v in advice.finished[place]] for place in advice.places]
    finished = each[0]
    lab = read_like(work.job.target[0], card.stages[-1].last_read)
    line = f"aim {numbers(work.wanted)} · {card.code} {numbers(lab)}"
    if advice.last.clear_to_come:
        line += f", cleared about {numbers(finished)}"
    measured = _axes(work, finished)
    several = ""
    if len(each) > 1:
        several = "".join(
            f'<p class="wb-num">{esc(r.viewing.geometry)}: aim {numbers(lab_of_reading(r))} · '
            f"{numbers(one)}</p>"
            for r, one in zip(work.job.target, each, strict=True)
        )
    head = (
        f'<div class="wb-verdict"><div>'
        f"{split(work.wanted, finished, of=card.code, width=300, height=150)}"
        f'<p class="wb-num">{esc(line)}</p>{several}</div><div>'
        f'<p class="wb-big" role="status">{esc(words)}</p>{measured}'
        f'<p class="wb-muted">{esc(_film(advice))}</p></div></div>'
    )
    caution = f'<p class="wb-caution">{esc(caution)}</p>' if caution else ""
    if not work.job.open:  # what can no longer be done is not offered
        return f"{head}{caution}"
    again = button("Read it again", "again", quiet=True)
    if advice.passes:
        done = _finish(work)
        nearer = [w for w in ways if w.chance >= _LEAST][:_MOST]
        rows = _rows(work, card, nearer, finished)
        return (
            f"{head}{caution}{done}{_other(rows, 'way to come nearer')}"
            f'<div class="wb-bar">{again}</div>'
        )
    first = ways[:1]
    second = [w for w in ways[1:] if w.on != first[0].on and w.chance >= _LEAST][:1] or ways[1:2]
    rest = [w for w in ways if w not in (*first, *second) and w.chance >= _LEAST][:_MOST]
    hopeless = _hopeless(ways) * (
        '<p class="wb-caution">Nothing within this shelf is likely to pass. Choose another recipe, '
        "or allow more on the shelf.</p>"
    )
    # Where it is read again first, or none is likely to pass, none of them is recommended.
    best = not advice.unfitting and not hopeless
    rows = _rows(work, card, [*first, *second, *rest], finished, named=best)
    count = len(first) + len(second)
    shown, other = "".join(rows[:count]), _other(rows[count:], "other way")
    return f'{head}{caution}{hopeless}{shown}{other}<div class="wb-bar">{again}</div>'


def _other(rows: list[str], words: str) -> str:
    if not rows:
        return ""
    count = f"{len(rows)} {words.replace('way', 'ways', 1) if len(rows) > 1 else words}"
    return fold(count, "".join(rows), ident="ways")


def _finish(work: Work) -> str:
    if work.to_clear:
        words, do = "Lay the clear coat, then read it again", button("Clear laid", "clear", go=True)
    else:
        words, do = "Every target is met", button("Finish the job", "step", "done", go=True)
    return (
        f'<article class="wb-card wb-first wb-bar"><h2>{words}</h2>'
        f'<span class="wb-push">{do}</span></article>'
    )


def _axes(work: Work, lab: list[float]) -> Raw:
    tolerance = work.job.tolerance
    each = tolerance.box if tolerance.boxed else (tolerance.value,) * 3
    if tolerance.kind == "Lab":
        names = (("darker", "lighter"), ("greener", "redder"), ("bluer", "yellower"))
        away = zip(names, lab, work.wanted, each, strict=True)
        return axes((*words, v - aim, float(most)) for words, v, aim, most in away)
    light, chroma, hue = (float(v) for v in delta_lch(work.wanted, lab)[:3])
    angle = math.degrees(math.atan2(work.wanted[2], work.wanted[1])) % 360.0
    less, more = _hues(angle)
    return axes(
        [
            ("darker", "lighter", light, float(each[0])),
            ("duller", "more vivid", chroma, float(each[1])),
            (less, more, hue, float(each[2])),
        ]
    )


def _hues(angle: float) -> tuple[str, str]:
    """What lies on either side of a hue, by falling and by rising hue angle."""
    names = ((0, "redder"), (90, "yellower"), (180, "greener"), (270, "bluer"), (360, "redder"))
    below = [n for at, n in names if at <= angle][-1]
    above = next(n for at, n in names if at > angle)
    return below, above


def _film(advice: Advice) -> str:
    """How today's film differs, where it differs by more than is uncertain."""
    from matchlib.correction import film_words

    more, sd = advice.belief.film
    words = advice.film_words
    return words if abs(more) > sd else words.removeprefix(film_words(more, sd)).strip()


def _rows(
    work: Work, card: Panel, ways: list[Way], now: list[float], *, named: bool = False
) -> list[str]:
    """The ways, each with its coats; `named`: the first of them is what is recommended."""
    on = card.recipe.coats
    coming = {w: w.recipe.coat_by_coat() for w in ways}
    added = list(dict.fromkeys(r for w in ways if w.on for r in coming[w][on + 1 :]))
    expected = {one.recipe: one.lab for one in work.on_top(card, added)}
    rows, third = [], third_of(work.archive)
    for place, way in enumerate(ways):
        first = named and not place
        if way.on:
            labs: list[Any] = [now, *(expected[r] for r in coming[way][on + 1 :])]
            strip = coats(labs, work.wanted, first="now", counted=on + 1, named=first, size=26)
        else:
            strip = coats(work.expected_labs(coming[way]), work.wanted, named=first, size=26)
        how = "" if way.pour is None else _how(way.pour, third)
        if first and way.on and card.under_clear:
            how += " Sand its clear first."
        text = f'<p class="wb-why">{esc(how)}</p>' if how else ""
        use = button("Do this", "do", way.key, go=first, spoken=way.words)
        rows.append(
            f'<article class="wb-card wb-row wb-bald{" wb-first" * first}" data-key="way{place}">'
            f"<div><h2>{esc(way.words)}</h2>{strip}{text}</div>"
            f"{tenths(way.chance, 'pass')}{use}</article>"
        )
    return rows


def _refused(screen: JobsScreen) -> bool:
    """Whether what was typed is a reading, and was refused as one that no such card has."""
    last = screen.last
    if last is None or last.do != "read" or not isinstance(screen.error, DomainError):
        return False
    try:
        return bool(of_text(last.fields.get("lab", ""), screen.session))
    except MatchlibError:
        return False


def _ask(screen: JobsScreen, work: Work, card: Panel) -> str:
    """What a card is to be read like, and where its reading is given."""
    wrong = screen.error
    state = "dry, before its clear coat" if work.uncleared else "finished and dry"
    expected = work.expected_labs([card.recipe], but=card.code)[0]
    several = len(work.job.target) > 1
    help_ = "45as15: 27.1 45.9 28.5, one angle a line" if several else "such as 27.1 45.9 28.5"
    from matchlib.steering import too_soon

    question = ""
    if too_soon(work.minutes_dry):
        question = (
            '<p class="wb-caution">Its last coat is fresh. Wet, it reads darker and glossier than '
            "it will: wait until it is dry by its data sheet.</p>"
        )
    sure: str = check("I read it again: it is so", "sure", "sure", False)
    # What a photograph read and was refused is said by the photograph itself.
    doubted = bool(screen.address.get("photo")) and screen.photo.error is not None
    sure = sure if doubted or _refused(screen) else ""
    left = len([c for c in work.coats if not c.laid])
    come = f", with {counted(left, 'coat')} still to come" if left else ""
    typed = field("It reads: L a b", "lab", lines=2 if several else 1, help=help_, wrong=wrong)
    ways = upload("Take it from a file", "file") + button("Photograph it", "photo", quiet=True)
    seen = areas([expected], words=f"expected {numbers(expected)}", width=300, height=150)
    return (
        f'<div class="wb-verdict"><div>{seen}<p class="wb-num">expected {numbers(expected)}</p>'
        f'</div><div data-enter="read"><p>Read it {state}{come}.</p>{question}{typed}{sure}'
        f'<div class="wb-bar">{ways}</div></div></div>{screen.photo_part}'
        + fold("How to read it", protocol_list(), ident="protocol")
    )
