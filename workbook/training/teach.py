"""A first day's cards, lessons computed from the archive, fades strip by strip."""

from __future__ import annotations

import re
from functools import partial
from typing import TYPE_CHECKING

from matchlib.cautions import IN_SHORT
from matchlib.domain import Colour, MixRatio, Recipe
from matchlib.domain.panel import readings_in
from matchlib.lessons import LESSONS, Lesson, first_day, lesson
from matchlib.repair import EDGES, Zone, blend_in, fade
from workbook.cup import cup_svg
from workbook.figures import areas, esc, minus, number, numbers, table
from workbook.page.fields import button, choice, field, fold, slider
from workbook.screen import guarded

if TYPE_CHECKING:
    from collections.abc import Sequence

    from workbook.page import Press
    from workbook.training.app import TrainingScreen

__all__ = ["draw_day", "draw_fade", "draw_lesson", "work_lesson"]

_NONE = "the bare ground"


def draw_day(screen: TrainingScreen) -> tuple[str, str, str]:
    """Return the let-down set of one colour; as `workbook.training.value.draw`."""
    known = [str(c) for c in screen.session.archive.colours()]
    colour = screen.chosen.get("day colour", known[0] if known else "")
    ratio = screen.chosen.get("day ratio", "6:1")
    bar: str = field("Colour", "day colour", colour, do="choose", known=known)
    bar += field("Mix ratio, carrier first", "day ratio", ratio, do="choose")
    head = (
        "<p>A let-down set: spray in this order, read each card, and say how the next will look "
        f'before you spray it.</p><div class="wb-fields">{bar}</div>'
    )
    caution = f'<p class="wb-caution">{esc(IN_SHORT)}</p>'
    if not colour.strip():
        return "A first day", f"{head}<p>Type the name of the colour to learn.</p>{caution}", ""
    return "A first day", guarded(head + caution, partial(_day, screen, colour, ratio)), ""


def _day(screen: TrainingScreen, colour: str, ratio: str) -> str:
    cards = first_day(
        screen.session.archive.panels(), Colour.parse(colour), ratio=MixRatio.parse(ratio)
    )
    recipes = [card.recipe for card in cards]
    return "".join(
        fold(
            f"{i}. {card.recipe}{', again' * (card.recipe in recipes[: i - 1])}"
            f"{' · done: ' * bool(card.done)}{', '.join(card.done)}",
            f"<p>{esc(card.teaches)}</p><p>{esc(card.how)}</p>",
            ident=f"day{i}",
        )
        for i, card in enumerate(cards, 1)
    )


def work_lesson(screen: TrainingScreen) -> None:
    """Work the chosen lesson out, in a thread; one chosen before is dropped."""
    key = screen.chosen.get("lesson", next(iter(LESSONS)))
    model, panels = screen.model, screen.session.archive.panels()
    if model is None or key in screen.lessons:
        return
    screen.page.later(
        "Asking the archive", lambda _: lesson(model, panels, key), lambda f: _keep(screen, f)
    )


def _keep(screen: TrainingScreen, found: Lesson) -> None:
    screen.lessons[found.key] = found


def do_next_lesson(screen: TrainingScreen, _: Press) -> None:
    """Go on to the next lesson; after the last comes the first."""
    keys = list(LESSONS)
    now = screen.chosen.get("lesson", keys[0])
    screen.chosen["lesson"] = keys[(keys.index(now) + 1) % len(keys)]
    work_lesson(screen)


def draw_lesson(screen: TrainingScreen) -> tuple[str, str, str]:
    """Return a rule and what this archive says of it; as `workbook.training.value.draw`."""
    key = screen.chosen.get("lesson", next(iter(LESSONS)))
    names = {k: title for k, (title, *_) in LESSONS.items()}
    bar = f'<div class="wb-fields">{choice("Lesson", "lesson", names, key, do="choose")}</div>'
    found = screen.lessons.get(key)
    if found is None:
        return names[key], bar + screen.waiting("Asking the archive …"), ""
    cups = ""
    if key == "ratio":
        cups = "".join(
            f"<figure>{cup_svg(r)}<figcaption>{esc(f'{r}: {r.words}')}</figcaption></figure>"
            for r in map(MixRatio.parse, ("6:1", "8:1", "1:6"))
        )
        cups = f'<div class="wb-bar">{cups}</div>'
    columns, rows = list(found.columns), [[minus(c) for c in r] for r in found.rows]
    if found.labs:
        columns = [columns[0], "swatch", *columns[1:]]
        rows = [
            [r[0], areas([lab], words=numbers(lab), width=96, height=44, edge=4), *r[1:]]
            for r, lab in zip(rows, found.labs, strict=True)
        ]
    sign = "✓ Your cards agree." if found.supported else "✗ Your cards do not show it."
    figures = [c for i, c in enumerate(columns[2:], 2) if rows and re.search(r"\d", rows[0][i])]
    numbered = table(columns, rows, caption="The numbers, as predicted", right=figures)
    main = (
        f"<p>{esc(found.rule)}</p><p><b>{sign}</b> {esc(minus(found.finding))}</p>{cups}"
        f"{numbered if rows else ''}"
    )
    return found.title, bar + main, button("Next lesson", "next_lesson", go=True)


def draw_fade(screen: TrainingScreen) -> tuple[str, str, str]:
    """Return strips from one end to the other; as `workbook.training.value.draw`."""
    archive, get = screen.session.archive, screen.chosen.get
    # Nothing is known of what stands only on cards that nobody has read.
    read = [stage.recipe_at(r) for _, _, stage, r in readings_in(archive.panels())]
    under = {name for recipe in read for name in recipe.ground.shares}
    above = {name for recipe in read for colour in recipe.colours for name in colour.shares}
    colours = {str(c): str(c) for c in archive.colours() if c.neat and c.shares.keys() <= above}
    grounds = {str(g): str(g) for g in archive.grounds() if g.neat and g.shares.keys() <= under}
    ground = get("under", next(iter(grounds), ""))
    one, two = get("one", next(iter(colours), "")), get("two", _NONE)
    first, second = get("one coats", "4@6:1"), get("two coats", "3@6:1")
    strips = int(float(get("strips", "5")))
    bar = (
        choice("Ground under both ends", "under", grounds, ground, do="choose")
        + choice("From", "one", colours, one, do="choose")
        + field("Its coats", "one coats", first, do="choose")
        + choice("To", "two", {_NONE: _NONE, **colours}, two, do="choose")
    )
    if two != _NONE:  # an edge into the bare ground steps by the coats themselves
        bar += field("Coats of that end", "two coats", second, do="choose")
        bar += slider("Strips", "strips", strips, low=3, high=12)
    head = f'<div class="wb-fields">{bar}</div>'
    title = "What shows at an edge?"
    if not one:
        return title, head + "<p>Spray a colour by itself first: then this shows its edge.</p>", ""
    if screen.model is None:
        return title, head + screen.waiting(), ""

    def strip() -> str:
        clear = screen.session.clear
        begin = Recipe.of(ground, one, first, clear)
        if two == _NONE:
            return _drawn(blend_in(screen.model, begin))
        end = Recipe.of(ground, two, second, clear)
        return _drawn(fade(screen.model, begin, end, zones=strips))

    return title, guarded(head, strip), ""


def _drawn(zones: Sequence[Zone]) -> str:
    wide = min(110 * len(zones), 880) + 16
    strip = areas(
        [z.lab for z in zones],
        words=". ".join(f"{z.recipe.schedule or 'bare'} {numbers(z.lab)}" for z in zones),
        width=wide,
        height=120,
    )
    rows = [
        [
            str(z.recipe.schedule or "bare"),
            numbers(z.lab),
            "" if not i else f"{number(z.step)}{', shows' if z.shows else ''}",
        ]
        for i, z in enumerate(zones)
    ]
    words = (
        f"{EDGES} Weaker coats make smaller steps. All of it is predicted: where these colours "
        "were never layered, spray a card first."
    )
    heads = ["strip", "L* a* b*", "step, ΔE00"]
    steps = fold("Strip by strip", table(heads, rows, caption="Strip by strip"), ident="strips")
    return f"{strip}<p>{words}</p>{steps}"
