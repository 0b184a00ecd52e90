"""Commands at the bench: what to change after a test panel, and which to spray next."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Annotated, Any

import typer

from matchlib.errors import FitError
from workbook.cli.common import (
    ArchiveOption,
    FileOptions,
    JsonOption,
    LightOptions,
    note,
    show,
    show_json,
)
from workbook.cli.results import tell_left_out
from workbook.cli.today import TodayOptions
from workbook.cli.wanted import OrderOptions, ShelfOptions, TargetOptions, labs_at, tell_fit

if TYPE_CHECKING:
    from matchlib.correction import Advice
    from matchlib.domain import Reading, Viewing
    from matchlib.suggest import Target, Tolerance
    from workbook.session import Session

__all__ = ["COMMANDS"]

TriedOption = Annotated[
    list[str] | None,
    typer.Option(
        "--tried",
        help="Panel of the archive sprayed for it; again for the next.",
        metavar="CODE",
    ),
]
_MOST_OFFERED = 6
SprayedOption = Annotated[
    str | None,
    typer.Option("--sprayed", help="Table of panels sprayed for it.", metavar="FILE"),
]


def _correct(
    *,
    wanted: TargetOptions,
    tried: TriedOption = None,
    sprayed: SprayedOption = None,
    ground: Annotated[str, typer.Option(help="The panel just sprayed: its ground.")] = "",
    colour: Annotated[str, typer.Option(help="Its colour.")] = "",
    schedule: Annotated[str, typer.Option(help="Its coats, such as 4@6:1.")] = "",
    clear: Annotated[str, typer.Option(help="Its clear coat: yes, no or a name.")] = "yes",
    read: Annotated[
        tuple[float, float, float] | None,
        typer.Option("--read", help="Its reading.", metavar="L a b"),
    ] = None,
    read_at: Annotated[
        list[str] | None,
        typer.Option(
            "--read-at",
            help="Its reading at one angle: 45as15=40,-20,10; again for the next.",
            metavar="ANGLE=L,a,b",
        ),
    ] = None,
    read_file: Annotated[
        str | None,
        typer.Option(
            "--read-file",
            help="Its reading in a file, at several angles too, or a photograph.",
            metavar="FILE",
        ),
    ] = None,
    before_clear: Annotated[
        bool,
        typer.Option("--before-clear", help="It was read before its clear coat was on."),
    ] = False,
    looks: Annotated[
        int | None,
        typer.Option(
            "--looks",
            min=0,
            max=3,
            help="The panel is a card still in the booth, and may be read so often again: say what "
            "to lay on it next.",
        ),
    ] = None,
    stage: Annotated[
        list[str] | None,
        typer.Option(
            "--stage",
            help="An earlier reading of that card: all coats then, and L,a,b, such as "
            "2@9:1=40,20,10; again for the next.",
            metavar="COATS=L,a,b",
        ),
    ] = None,
    minutes: Annotated[
        float | None,
        typer.Option("--minutes", min=0.0, help="From its last coat to its reading."),
    ] = None,
    cup_ml: Annotated[
        float | None, typer.Option("--cup-ml", min=1.0, help="What is left in its cup.")
    ] = None,
    sure: Annotated[
        bool, typer.Option("--sure", help="Its readings were taken again, and are so.")
    ] = False,
    passing: OrderOptions,
    today: TodayOptions,
    shelf: ShelfOptions,
    light: LightOptions,
    file: FileOptions,
    archive: ArchiveOption = "panels.db",
    json_: JsonOption = False,
) -> None:
    """Say what to change after a test panel, or what to lay next on one in progress.

    Give the target as for match, and the panels sprayed for it: --tried for panels of the archive,
    --sprayed for a table, or --ground, --colour, --schedule and --read (or --read-at, --read-file)
    for one panel. A target at several angles needs panels read at all of them.

    With --looks the panel typed, or the last one tried, is a card in progress: coats of its cup, of
    the cup let down or of a fresh weak pot, or to stop, or that it is lost and how to spray the
    next.
    """
    order, weights = passing.parsed()
    if looks is None and (stage or cup_ml is not None or minutes is not None or sure):
        raise typer.BadParameter(
            "--stage, --minutes, --cup-ml and --sure are of a card in progress: give --looks too"
        )
    from matchlib.domain import Recipe
    from workbook.session import Session
    from workbook.session.order import aim_of, aim_words

    with Session.open(archive, write=False) as session:
        today.tell(session)
        target = wanted.readings(session, light, file)
        aim = aim_of(target, order, weights)
        if not tried:
            tell_fit(session)
        typed: list[tuple[Any, Any]] = []
        if ground or read is not None or read_at or read_file is not None:
            recipe = Recipe.of(ground, colour, schedule, clear)
            own = _typed_reading(
                read, read_at, read_file, viewing=target[0].viewing, light=light, file=file
            )
            if before_clear:
                own = tuple(replace(r, state="before clear") for r in own)
            typed.append((recipe, own))
        if looks is not None:
            last_code = None if typed or not tried else tried[-1]
            card = _in_progress(session, typed, last_code, stage or [], before_clear=before_clear)
            found, following = session.steer(
                aim,
                card,
                own=last_code,
                codes=[c for c in tried or [] if c != last_code],
                file=sprayed,
                limits=session.limits(**shelf.limits()),
                looks=looks,
                cup_ml=cup_ml,
                sure=sure,
            )
            _tell_steering(found, following, minutes, json_)
            return
        advice = session.correct(
            aim,
            codes=tried or (),
            file=sprayed,
            sprayed=typed,
            limits=session.limits(**shelf.limits()),
        )
        unseen = aim_words(advice.belief.model, aim)
        told = (advice.best, *advice.changes, *advice.fresh, *advice.rescue.options)
        recipes = [advice.last.recipe, *(s.recipe for s in told)]
        left_out = session.left_out(recipes, advice.belief.model)
        for words in session.gaps([advice.last.recipe, advice.best.recipe]):
            note(words)
    if unseen:
        note(unseen)
    if json_:
        simple = order.kind == "ΔE00" and not weights
        show_json(_advice_dict(advice, aim, simple=simple) | {"left_out": left_out})
        return
    _tell_advice(advice, order)
    tell_left_out([left_out])


def _typed_reading(
    read: tuple[float, float, float] | None,
    read_at: list[str] | None,
    read_file: str | None,
    *,
    viewing: Viewing,
    light: LightOptions,
    file: FileOptions,
) -> tuple[Reading, ...]:
    """The reading of the panel in hand, given in one way."""
    from workbook.session import angles_of_file, reading_of_lab

    if (read is not None) + bool(read_at) + (read_file is not None) != 1:
        raise typer.BadParameter(
            "give the panel's reading with --read L a b, --read-at ANGLE=L,a,b or --read-file FILE"
        )
    if read is not None:
        return (reading_of_lab(read, viewing),)
    if read_at:
        return labs_at(read_at, light)
    return angles_of_file(str(read_file), **file.declared)


def _advice_dict(advice: Advice, aim: Target, *, simple: bool) -> dict[str, Any]:
    """Advice as plain data."""
    from matchlib.correction.scoring import places_of
    from matchlib.forecast import angles_of
    from workbook.session.order import angle_dict

    places, order = places_of(advice.goal, advice.last), aim.tolerance
    return {
        "difference": advice.difference,
        "difference_as_read": advice.difference_as_read,
        "difference_kind": order.unit,
        "tolerance": order.value,
        "tolerance_words": order.words,
        "angles": [
            angle_dict(a) for a in angles_of(aim, [advice.finished[i].tolist() for i in places])
        ],
        "fits": advice.fits,
        "film_percent": 100.0 * advice.film[0],
        "film_sd_percent": 100.0 * advice.film[1],
        "words": advice.words,
        "best": _as_dict(advice.best, simple),
        "changes": [_as_dict(s, simple) for s in advice.changes],
        "fresh": [_as_dict(s, simple) for s in advice.fresh],
        "rescue": {
            "state": advice.rescue.state,
            "words": advice.rescue.words,
            "options": [_as_dict(s, simple) for s in advice.rescue.options],
        },
    }


def _tell_advice(advice: Advice, order: Tolerance) -> None:
    """Show advice, and the chances of what may be done."""
    from workbook.cli.printing import chance, number, table, wrapped

    show(wrapped(advice.words))
    for title, options in (
        ("Save this panel, coats on top of it", advice.rescue.options),
        ("Spray a fresh panel, small changes", advice.changes),
        ("Spray a fresh panel, other recipes", advice.fresh),
    ):
        rows = [
            (chance(s.probability), number(s.expected), *(number(v) for v in s.lab), s.words)
            for s in options[:_MOST_OFFERED]
        ]
        if rows and advice.rescue.state != "passes":
            unit = "of box" if order.boxed else order.unit
            header = ("chance", unit, "L", "a", "b", "what to do")
            show(f"\n{title}:\n{table(header, rows, right='rrrrr')}")


def _in_progress(
    session: Session,
    typed: list[tuple[Any, Any]],
    own: str | None,
    stage: list[str],
    *,
    before_clear: bool,
) -> list[tuple[Any, Any]]:
    """The readings of the card in progress, one a stage."""
    from matchlib.domain import CoatSchedule
    from workbook.session import reading_of_lab
    from workbook.session.targets import stages_read

    if own is not None:
        card = session.archive.panel(own)
        early = any(r.state == "before clear" for r in card.stages[-1].readings)
        return list(stages_read(card, session.clear if early else None))
    if not typed:
        raise typer.BadParameter(
            "say which card is in progress: --ground, --colour, --schedule and --read, or "
            "--tried CODE"
        )
    recipe, last = typed[-1]
    earlier = []
    for text in stage:
        schedule, _, numbers = text.partition("=")
        try:
            light, red, yellow = (float(n) for n in numbers.replace(",", " ").split())
        except ValueError:
            raise typer.BadParameter(
                f"an earlier reading is such as 2@9:1=40,20,10, not {text!r}"
            ) from None
        read = reading_of_lab((light, red, yellow), last[0].viewing)
        if before_clear:
            read = replace(read, state="before clear")
        earlier.append((replace(recipe, schedule=CoatSchedule.parse(schedule)), (read,)))
    return [*earlier, (recipe, last)]


def _tell_steering(found: Any, following: Any, minutes: float | None, json_: bool) -> None:
    from matchlib.steering import too_soon
    from workbook.cli.cards import steering_as_dict, steering_text

    soon = too_soon(minutes)
    if json_:
        show_json(steering_as_dict(found, following) | {"question": soon})
        return
    if soon:
        note(soon)
    show(steering_text(found, following))


def _next(
    *,
    wanted: TargetOptions,
    tried: TriedOption = None,
    sprayed: SprayedOption = None,
    passing: OrderOptions,
    today: TodayOptions,
    top: Annotated[int, typer.Option("--top", min=1, max=100, help="Panels wanted.")] = 5,
    shelf: ShelfOptions,
    light: LightOptions,
    file: FileOptions,
    archive: ArchiveOption = "panels.db",
    json_: JsonOption = False,
) -> None:
    """Say which panel to spray next.

    With a target (and what was already sprayed for it, as for correct): the panels that are
    likeliest to meet it by the second try. Without a target: the set of panels that would teach the
    archive most about all that the shop could spray.
    """
    order, weights = passing.parsed()
    from matchlib.correction import aside_words
    from workbook.cli.printing import chance, number, table, wrapped
    from workbook.session import Session, recipe_dict
    from workbook.session.order import DAY, aim_of

    with Session.open(archive, write=False) as session:
        today.tell(session)
        limits = session.limits(**shelf.limits())
        if not wanted.given and not session.archive.colours():
            raise _no_colour_yet()
        if not wanted.given:
            tell_fit(session)
            plan = session.plan_panels(limits, top=top)
            left_out = session.left_out_each(p.recipe for p in plan.panels)
            if json_:
                show_json(
                    [
                        {
                            **recipe_dict(p.recipe),
                            "uncertainty_before": float(p.before),
                            "uncertainty_after": float(p.after),
                            "words": p.words,
                            "left_out": codes,
                        }
                        for p, codes in zip(plan.panels, left_out, strict=True)
                    ]
                )
                return
            show(wrapped(plan.words))
            show(wrapped("\n".join(f"{i}. {p.words}" for i, p in enumerate(plan.panels, 1))))
            tell_left_out(left_out)
            return
        target = wanted.readings(session, light, file)
        aim = aim_of(target, order, weights)
        why_not = ""
        if not tried:
            tell_fit(session)
            if not sprayed:  # what was sprayed for it says more than the archive alone
                why_not = session.match(aim, limits, top=1).why_not
        found, unfitting, card = session.next_panels(
            aim,
            codes=tried or (),
            file=sprayed,
            limits=limits,
            source=target[0].source,
            top=top,
        )
        left_out = session.left_out_each(p.recipe for p in found)
        for words in session.gaps(p.recipe for p in found):
            note(words)
    if json_:
        show_json(
            [
                {
                    **recipe_dict(p.recipe),
                    **dict(zip("Lab", map(float, p.lab), strict=True)),
                    "probability": float(p.probability),
                    "probability_by_second": float(p.passes_by_second),
                    "words": p.words,
                    "left_out": codes,
                    "unfitting": [r.words for r in unfitting],
                    "miss": why_not,
                    "card": None if card is None else card.as_dict(),
                }
                for p, codes in zip(found, left_out, strict=True)
            ]
        )
        return
    rows = [
        (
            chance(p.probability),
            chance(p.passes_by_second),
            *(number(v) for v in p.lab),
            str(p.recipe),
        )
        for p in found
    ]
    header = ("chance", "by the second", "L", "a", "b", "panel to spray")
    if why_not:
        show(f"{wrapped(why_not)}\n")
    show(f"{table(header, rows, right='rrrrr')}\n\n{wrapped(f'{DAY} {aside_words(unfitting)}')}")
    if card is not None:
        show(f"\nWorth more than any of these, a card read on its way:\n{wrapped(card.words)}")
    tell_left_out(left_out)


def _as_dict(scored: Any, simple: bool) -> dict[str, Any]:
    from workbook.session import recipe_dict

    return {
        **recipe_dict(scored.recipe),
        **dict(zip("Lab", map(float, scored.lab), strict=True)),
        # Where the order names something else, the expected difference is not a ΔE00.
        "expected_delta_e00": float(scored.expected) if simple else None,
        "expected_difference": float(scored.expected),
        "probability": float(scored.probability),
        "words": scored.words,
    }


def _no_colour_yet() -> FitError:
    return FitError(
        "No panel of this archive has colour on it, so no law can say what to spray.",
        expected="a let-down set of one colour to begin with",
        got="bare grounds alone",
        remedy="workbook first-day --colour cherry says which cards to spray, in which order.",
    )


COMMANDS = {"correct": _correct, "next": _next}
"""By name, in the order in which they are told of."""
