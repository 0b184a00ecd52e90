"""The command that says what to change after a test panel, or what to lay on a card next."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from workbook.cli.common import ArchiveOptions, FileOptions, LightOptions, note, show, show_json
from workbook.cli.printing import chance, number, table, wrapped
from workbook.cli.results import tell_left_out, unit_of
from workbook.cli.sprayed import CardOptions, NewPanelOptions, SprayedOption, TriedOption
from workbook.cli.today import TodayOptions
from workbook.cli.wanted import OrderOptions, ShelfOptions, TargetOptions, tell_fit

if TYPE_CHECKING:
    from matchlib.colorimetry import Tolerance
    from matchlib.steering import Advice, CardPlans, Steering
    from matchlib.target import Target

__all__: list[str] = []

_MOST_OFFERED = 6


def _correct(
    *,
    wanted: TargetOptions,
    tried: TriedOption = None,
    sprayed: SprayedOption = None,
    panel: NewPanelOptions,
    card: CardOptions,
    passing: OrderOptions,
    today: TodayOptions,
    shelf: ShelfOptions,
    light: LightOptions,
    file: FileOptions,
    asked: ArchiveOptions,
) -> None:
    """Say what to change after a test panel, or what to lay next on one in progress.

    Give the target as for match, and the panels sprayed for it: --tried for panels of the archive,
    --sprayed for a table, or --ground, --colour, --schedule and --read (or --read-at, --read-file)
    for one panel. A target at several angles needs panels read at all of them.

    With --looks the panel typed, or the last one tried, is still in progress: coats of its cup, of
    the cup let down or of a fresh weak pot, or to stop, or that it is lost and how to spray the
    next.
    """
    from workbook.session.order import aim_words

    with asked.opened() as session:
        today.tell(session)
        target = wanted.readings(session, light, file)
        aim = passing.aim(target)
        if not tried:
            tell_fit(session)
        typed = panel.panels(target[0].viewing, light, file)
        limits = session.limits(**shelf.limits())
        if card.readings_left is not None:
            own = None if typed or not tried else tried[-1]
            steered = session.steer(
                aim,
                card.of_panel(panel, typed)
                if own is None
                else card.of_archive(session, own, panel.clear),
                limits,
                own=own,
                codes=[c for c in tried or [] if c != own],
                file=sprayed,
                readings_left=card.readings_left,
                cup_ml=card.cup_ml,
                sure=card.sure,
            )
            _tell_steering(*steered, card.minutes, asked.json_)
            return
        advice = session.correct(aim, limits, codes=tried or (), file=sprayed, sprayed=typed)
        unseen = aim_words(advice.belief.model, aim)
        scored = (advice.best, *advice.changes, *advice.fresh, *advice.options)
        recipes = [advice.last.recipe, *(s.recipe for s in scored)]
        left_out = session.left_out(recipes, advice.belief.model)
        for words in session.gaps([advice.last.recipe, advice.best.recipe]):
            note(words)
    if unseen:
        note(unseen)
    if asked.json_:
        simple = aim.tolerance.kind == "ΔE00" and not passing.weights
        show_json(_advice_dict(advice, aim, simple=simple) | {"left_out": left_out})
        return
    _tell_advice(advice, aim.tolerance)
    tell_left_out([left_out])


def _advice_dict(advice: Advice, aim: Target, *, simple: bool) -> dict[str, Any]:
    """Advice as plain data."""
    from matchlib.forecast import angles_of

    order = aim.tolerance
    film, sd = advice.belief.film
    return {
        "difference": advice.difference,
        "difference_as_read": advice.difference_as_read,
        "difference_kind": order.unit,
        "tolerance": order.value,
        "tolerance_words": order.words,
        "angles": angles_of(aim, [advice.finished[i].tolist() for i in advice.places]),
        "fits": not advice.unfitting,
        "film_percent": 100.0 * math.expm1(film),
        "film_sd_percent": 100.0 * sd,
        "words": advice.words,
        "best": _as_dict(advice.best, simple) | {"own": advice.best.own},
        "changes": [_as_dict(s, simple) | {"own": s.own} for s in advice.changes],
        "fresh": [_as_dict(s, simple) | {"own": s.own} for s in advice.fresh],
        "rescue": {
            "state": advice.state,
            "words": advice.panel_words,
            "options": [_as_dict(s, simple) for s in advice.options],
        },
    }


def _as_dict(scored: Any, simple: bool) -> dict[str, Any]:
    from matchlib.plain import recipe_cells

    return {
        **recipe_cells(scored.recipe),
        **dict(zip("Lab", map(float, scored.lab), strict=True)),
        # Where the order names something else, the expected difference is not a ΔE00.
        "expected_delta_e00": float(scored.expected) if simple else None,
        "expected_difference": float(scored.expected),
        "probability": float(scored.probability),
        "words": scored.words,
    }


def _tell_advice(advice: Advice, order: Tolerance) -> None:
    """Show advice, and the chances of what may be done."""
    from workbook.session.order import DAY

    show(wrapped(advice.words))
    for title, offered in (
        ("Save this panel, coats on top of it", [(o, o.brief) for o in advice.options]),
        ("Spray a fresh panel, small changes", [(s, s.words) for s in advice.changes]),
        ("Spray a fresh panel, other recipes", [(s, s.words) for s in advice.fresh]),
    ):
        rows = [
            (chance(s.probability), number(s.expected), *map(number, s.lab), words)
            for s, words in offered[:_MOST_OFFERED]
        ]
        if rows and not advice.passes:
            header = ("chance", unit_of(order), "L", "a", "b", "what to do")
            show(f"\n{title}:\n{table(header, rows, right='rrrrr')}")
    if not advice.belief.panels:
        show(f"\n{wrapped(DAY)}")


def _tell_steering(
    found: Steering, following: CardPlans | None, minutes: float | None, json_: bool
) -> None:
    from matchlib.plain import shown
    from matchlib.steering import too_soon

    soon = too_soon(minutes)
    if json_:
        after = None if following is None else following[0]
        show_json(shown(found) | {"next": after, "question": soon})
        return
    if soon:
        note(soon)
    show(_steering_text(found, following))


def _steering_text(found: Steering, following: CardPlans | None) -> str:
    """Return what to do with a card in progress as text.

    `following`: the next card, where this one is lost.
    """
    parts = [wrapped(found.words)]
    if found.state != "lost" and found.options:
        rows = [
            (chance(o.steered), chance(o.probability), *map(number, o.lab), o.brief)
            for o in found.options
        ]
        header = ("chance", "if not read again", "L", "a", "b", "coats on top")
        title = "Coats on top" if found.state == "go on" else "If you go on all the same"
        parts.append(f"{title}:\n{table(header, rows, right='rrrrr')}")
    if following is not None:
        parts.append(wrapped(f"The next card: {following[0].words}"))
    return "\n\n".join(parts)
