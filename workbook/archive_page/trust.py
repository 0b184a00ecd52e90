"""How near predictions come, what drifted, what to spray next, why, and what was changed."""

from __future__ import annotations

import datetime as dt
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np

from matchlib.domain import Recipe
from matchlib.errors import MatchlibError
from matchlib.overview import PanelResidual, outliers, panel_residuals, trend
from workbook.figures import Raw, areas, bars, esc, minus, number, numbers, table, timeline
from workbook.page.fields import button, check, chips, choice, field, fold, slider
from workbook.page.pictures import read_as
from workbook.screen import guarded
from workbook.session.undoing import standing

if TYPE_CHECKING:
    from matchlib.archive import Change
    from matchlib.progress import Callback
    from workbook.archive_page.app import ArchiveScreen
    from workbook.page import Press

__all__ = ["draw_drift", "draw_history", "draw_near", "draw_next", "draw_why"]

_BY = {"panel": "cards", "recipe": "recipes", "ground": "grounds"}
_MEASURES = {
    "lightness": "ΔL*, reading less law",
    "chroma": "ΔC*, reading less law",
    "difference": "ΔE00 from the law",
}
_PARTED = {
    "all": "all together",
    "sprayer": "by sprayer",
    "lot": "by lot",
    "source": "by instrument",
}
_SHARES = {
    "panels": "what more cards would teach",
    "spray": "the spread of spraying",
    "reading": "the reading",
}
_MOST_SERIES = 5
_NEWEST, _MOST_CHANGES = 10, 200


# How near predictions come


def do_validate(screen: ArchiveScreen, done: Press) -> None:
    """Leave cards out and predict them, in a thread."""
    screen.do_choose(done)
    by = done.ticked("by")
    if not by:
        screen.notice = "Choose what to leave out."
        return

    def compute(callback: Callback) -> Any:
        return screen.session.validate(by=by, folds=5, callback=callback)

    screen.page.later(
        "Fitting without some of the cards", compute, lambda f: screen.found.update(near=f)
    )


def draw_near(screen: ArchiveScreen) -> tuple[str, str]:
    """Return the errors on what was left out; as `draw_sprayed`."""
    picked = screen.chosen.get("by", "recipe").split("\n")
    ticks = chips("Leave out", [check(w, "by", k, k in picked) for k, w in _BY.items()])
    main = (
        "<p>Cards, whole recipes or whole grounds are left out of the fit and predicted, beside "
        f"simple regressions. It takes minutes on a large archive.</p>{ticks}"
    )
    found = screen.found.get("near")
    if found is not None:
        rows, floor = found
        main += f"<p><b>{esc(floor.words)}</b></p>{_near_bars(rows)}"
        main += fold("All the numbers", _near_table(rows), ident="numbers")
        main += (
            '<p class="wb-muted">A card with a wrong back counts as a miss here: set right what '
            "looks wrong first.</p>"
        )
    go = button("Leave out and predict", "validate", go=True)
    return main + screen.trouble("validate"), go


def _near_bars(rows: Any) -> str:
    drawn = []
    for by in dict.fromkeys(r.by for r in rows):
        some = [r for r in rows if r.by == by]
        drawn.append(
            bars(
                [r.name for r in some],
                [r.median for r in some],
                title=f"{_BY.get(by, by)} left out: median miss",
                unit="ΔE00",
                digits=2,
            )
        )
    return f'<div class="wb-bar">{"".join(drawn)}</div>'


def _near_table(rows: Any) -> str:
    heads = ["left out", "regression", "readings", "median ΔE00", "mean", "95th percentile"]
    heads += ["times repeatability", "in 50%", "in 80%", "in 90%", "in 95%", "note"]
    lines = []
    for r in rows:
        inside = [f"{100 * c:.0f}%" for c in r.coverage] or ["–"] * 4
        ratio = "–" if r.floor_ratio is None else number(r.floor_ratio, 1)
        sizes = [number(v, 2) for v in (r.median, r.mean, r.high)]
        lines.append([r.by, r.name, r.panels, *sizes, ratio, *inside, r.note])
    caption = "Errors on what was left out, and how many fall inside the regions that promise it"
    return table(heads, lines, caption=caption, right=heads[2:-1])


# Drift


def draw_drift(screen: ArchiveScreen) -> tuple[str, str]:
    """Return what changed with time; as `draw_sprayed`."""
    measure = screen.chosen.get("measure", "lightness")
    by = screen.chosen.get("parted", "all")
    bar: str = choice("What is looked at", "measure", _MEASURES, measure, do="choose")
    bar = (
        f'<div class="wb-fields">{bar}{choice("Grouped", "parted", _PARTED, by, do="choose")}</div>'
    )
    if screen.model is None:
        return bar + screen.waiting(), ""
    return guarded(bar, partial(_drift, screen, measure, by)), ""


def _drift(screen: ArchiveScreen, measure: str, by: str) -> str:
    found = panel_residuals(screen.model, screen.session.archive.panels())
    odd = outliers(found, measure)
    series: dict[str, list[tuple[dt.date, float]]] = {}
    for residual in found:
        if residual.panel.date is not None and residual not in odd:
            value = float(getattr(residual, measure))
            series.setdefault(_part(residual, by), []).append((residual.panel.date, value))
    some = dict(sorted(series.items(), key=lambda s: -len(s[1]))[:_MOST_SERIES])
    name = _MEASURES[measure]
    values = [v for rows in some.values() for _, v in rows]
    low, high = (float(v) for v in np.quantile(values, (0.25, 0.75))) if values else (0.0, 0.0)
    chart = timeline(
        some,
        title=f"{name}, in the order sprayed",
        y_name=name.split(",")[0],
        band=(low, high) if values else None,
        band_name="the middle half",
    )
    items = "".join(
        f"<p><b>{esc(part)}</b>: {esc(_trend(rows, name))}</p>" for part, rows in some.items()
    )
    left = len(series) - len(some)
    items += f'<p class="wb-muted">{left} smaller groups are not drawn.</p>' if left else ""
    if odd:
        far = ", ".join(f"{m.panel.code} ({number(getattr(m, measure))})" for m in odd)
        items += f'<p class="wb-muted">Far from the law, so not counted here: {esc(far)}.</p>'
    return f"{chart}{items}"


def _part(residual: PanelResidual, by: str) -> str:
    if by == "source":
        return ", ".join(dict.fromkeys(r.source for r in residual.panel.readings))
    if by != "all":
        return getattr(residual.panel, by) or "not written"
    return "all cards"


def _trend(points: list[tuple[dt.date, float]], name: str) -> str:
    try:
        return minus(trend(points, unit=name.partition(",")[0].partition(" ")[0]).words)
    except MatchlibError as error:
        return str(error)


# What to spray next


def do_plan(screen: ArchiveScreen, done: Press) -> None:
    """Choose the cards that would teach most, in a thread."""
    screen.do_choose(done)
    top = int(float(screen.chosen.get("count", "5")))

    def compute(callback: Callback) -> Any:
        session = screen.session
        plan = session.plan_panels(session.limits(), top=top, callback=callback)
        model = session.fit().model
        return plan, model.predict_recipes([p.recipe for p in plan.panels], model.usual_view)

    screen.page.later(
        "Asking what each card would teach", compute, lambda f: screen.found.update(next=f)
    )


def draw_next(screen: ArchiveScreen) -> tuple[str, str]:
    """Return the cards that would teach most; as `draw_sprayed`."""
    counts = {str(n): str(n) for n in range(1, 11)}
    many = choice("Cards to spray", "count", counts, screen.chosen.get("count", "5"))
    words = "<p>The cards whose readings would teach this archive most about its colours.</p>"
    main, found = f'{words}<div class="wb-fields">{many}</div>', screen.found.get("next")
    if found is not None:
        plan, labs = found
        rows = []
        for i, (one, lab) in enumerate(zip(plan.panels, labs, strict=True), 1):
            seen = areas([lab], words=f"should read {numbers(lab)}", width=96, height=60)
            rows.append(
                f'<article class="wb-card wb-begin">{seen}<div><h2>{i}. {esc(one.recipe)}</h2>'
                f'<p class="wb-muted">should read {numbers(lab)}</p></div><p>sure to ΔE00 '
                f"{number(one.before, 2)} now, <b>{number(one.after, 2)}</b> after it</p></article>"
            )
        main += f"<p><b>{esc(plan.words)}</b></p>{''.join(rows)}"
    return main + screen.trouble("plan"), button("Choose cards", "plan", go=found is None)


# Why a prediction says so


def draw_why(screen: ArchiveScreen) -> tuple[str, str]:
    """Return where a prediction's doubt comes from; as `draw_sprayed`."""
    archive, get = screen.session.archive, screen.chosen.get
    grounds = {str(g): str(g) for g in archive.grounds()}
    colours = {str(c): str(c) for c in archive.colours()}
    ground, colour = get("of ground", ""), get("of colour", "")
    ground = ground if ground in grounds else next(iter(grounds), "")
    colour = colour if colour in colours else next(iter(colours), "")
    ratio, coats = get("ratio", "6:1"), int(float(get("coats", "3")))
    bar = (
        choice("Ground", "of ground", grounds, ground, do="choose")
        + choice("Colour", "of colour", colours, colour, do="choose")
        + field("Mix ratio", "ratio", ratio, help="carrier first: 6:1", do="choose")
        + slider("Coats", "coats", coats, low=1, high=10, texts=[f"{n}" for n in range(1, 11)])
    )
    main = f'<div class="wb-fields">{bar}</div>'
    if screen.model is None or not colour:
        return main + screen.waiting(), ""
    make = partial(_why, screen, ground, colour, ratio, coats)
    return guarded(main, make), ""


def _why(screen: ArchiveScreen, ground: str, colour: str, ratio: str, coats: int) -> str:
    from matchlib.explain import explain

    archive = screen.session.archive
    recipe = Recipe.of(ground, colour, clear="yes", ratio=ratio, coats=coats)
    found = explain(screen.model, recipe, archive=archive.panels())
    drawn = bars(
        list(_SHARES.values()),
        [100 * found.shares[k] for k in _SHARES],
        title="Where the doubt comes from",
        most=100,
    )
    heads = ["change", "it would read", "ΔL*", "ΔC*", "Δh", "ΔE00"]
    rows = [
        [c.name, read_as(a.lab), number(a.lightness), number(a.chroma), f"{number(a.hue)}°",
         number(c.delta_e00)]
        for c in found.changes for a in c.angles[:1]
    ]  # fmt: skip
    changes = table(heads, rows, caption="What one change would do", right=heads[2:])
    heads = ["card", "recipe", "as read", "away, ΔE00", "law misses it by, ΔE00"]
    rows = [
        [p.code, str(p.recipe), read_as(p.lab), number(p.away), number(p.residual)]
        for p in found.near
    ]
    near = table(heads, rows, caption="The nearest cards", right=heads[3:])
    seen = areas([found.lab], words=f"should read {numbers(found.lab)}", width=236, height=120)
    return (
        f'<div class="wb-bar">{seen}{drawn}</div><p><b>{esc(recipe.words)}.</b> '
        f"{esc(found.words)}</p>{fold('What one change would do', changes, ident='changes')}"
        f"{fold('The nearest cards', near, ident='nearest')}"
    )


# History


def draw_history(screen: ArchiveScreen) -> tuple[str, str]:
    """Return every change with its undo; as `draw_sprayed`."""
    code = screen.chosen.get("of card", "").strip()
    who = field("Your name", "who", screen.chosen.get("who", ""))
    of = field("Of one card only, its code", "of card", code)
    look = button("Show", "choose", quiet=True)
    bar = f'<div class="wb-seek" data-enter="choose">{of}{look}{who}</div>'
    return guarded(bar + screen.trouble("undo_change"), partial(_changes, screen, code)), ""


def _changes(screen: ArchiveScreen, code: str) -> str:
    changes = screen.session.archive.history(code or None)
    holds = {c.number for c in standing(changes, undoings=True)}
    shown = changes[: -_MOST_CHANGES - 1 : -1]
    rows = [_change(c, c.number not in holds) for c in shown]
    left = len(changes) - len(shown)
    note = f'<p class="wb-muted">{left} older changes are not shown.</p>' if left else ""
    heads = ["no.", "when", "card", "what", "why or file", "who", "undo"]
    older = table(heads, rows[_NEWEST:], caption="Older") + note
    more = fold("Older", older, ident="older") if rows[_NEWEST:] else ""
    return table(heads, rows[:_NEWEST], caption="Newest first") + more


def _change(change: Change, undone: bool) -> list[object]:
    words = "Undo" if change.undoes is None else "Bring back"
    press: object = "undone" if change.undoes is None else "brought back"
    if not undone:
        press = button(words, "undo_change", change.number, quiet=True, spoken=str(change.number))
    when = Raw(f'<span class="wb-when">{change.at.astimezone():%Y-%m-%d<br>%H:%M}</span>')
    why = change.why or change.file
    return [change.number, when, change.subject, change.words, why, change.who, press]


def do_undo_change(screen: ArchiveScreen, done: Press) -> None:
    """Take back one change of the history."""
    archive, who = screen.session.archive, done.fields.get("who", "")
    archive.undo(int(done.value), who=who, why="in the log")
    (was,) = archive.history(numbers=[int(done.value)])
    screen.changed()
    said = f"Change {was.number} was undone: {was.words} {was.subject}."
    if was.undoes is not None:
        said = f"What change {was.number} took back is there again: {was.subject}."
    screen.notice = said
