"""The ground sets the value: one colour over several grounds, each coat at its lightness."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from matchlib.colorimetry import delta_e00
from matchlib.domain import Colour, MixRatio
from matchlib.errors import MatchlibError
from matchlib.lessons import coat_ladder
from matchlib.overview import card_lab
from matchlib.plural import counted
from workbook.figures import areas, esc, number, value_chart, value_words
from workbook.page.fields import button, check, chips, choice, fold, problem, slider
from workbook.page.pictures import spaced

if TYPE_CHECKING:
    from matchlib.domain import Lab
    from matchlib.lessons import Rung
    from workbook.page import Press
    from workbook.training.app import TrainingScreen

__all__ = ["draw"]

_GROUNDS, _MOST_STRIPS = 4, 12


def _offered(screen: TrainingScreen) -> tuple[list[str], dict[str, MixRatio], dict[str, Any]]:
    """Colours, ratios and grounds of the archive, the usual ones first."""
    # Of what stands on cards that nobody has read nothing can be shown yet.
    panels = [p for p in screen.session.archive.panels() if card_lab(p) is not None]
    steps = [s for p in panels for s in p.recipe.steps]
    sprayed = Counter(s.ratio for s in steps if not s.ratio.looks_reversed)
    ratios = [r for r, _ in sprayed.most_common()]
    neat = [str(c) for c in dict.fromkeys(c for p in panels for c in p.recipe.colours) if c.neat]
    light = {p.recipe.ground: lab[0] for p in panels if p.recipe.bare and (lab := card_lab(p))}
    ranked = {str(g): g for g in sorted(light, key=lambda g: -light[g])}
    return neat, {str(r): r for r in ratios} or {"6:1": MixRatio.parse("6:1")}, ranked


def do_another(screen: TrainingScreen, _: Press) -> None:
    """Go on to the next colour."""
    colours = _offered(screen)[0]
    if colours:
        now = screen.chosen.get("colour", colours[0])
        at = colours.index(now) if now in colours else 0
        screen.chosen["colour"] = colours[(at + 1) % len(colours)]


def draw(screen: TrainingScreen) -> tuple[str, str, str]:
    """Return the chart, and how to go on."""
    colours, ratios, grounds = _offered(screen)
    if not colours or not grounds:
        words = "<p>Spray a colour first, and read a ground bare: then this shows what it does.</p>"
        return "What does the ground do?", words, ""
    get = screen.chosen.get
    colour, ratio = get("colour", ""), get("ratio", "")
    colour = colour if colour in colours else colours[0]
    ratio = ratio if ratio in ratios else next(iter(ratios))
    coats = int(float(get("upto", "4")))
    plain = [name for name, ground in grounds.items() if ground.neat] or list(grounds)
    spread = plain[:: max(1, round(len(plain) / _GROUNDS))][:_GROUNDS]
    picked = [g for g in get("grounds", "\n".join(spread)).split("\n") if g in grounds] or spread
    options = {str(r): spaced(r) for r in ratios.values()}
    steps = [f"{n} coats" for n in range(2, 9)]
    fields = (
        choice("Colour", "colour", {c: c for c in colours}, str(colour), do="choose")
        + choice("Mix ratio, carrier first", "ratio", options, str(ratio), do="choose")
        + slider("Up to", "upto", coats, low=2, high=8, texts=steps)
    )
    ticks = [check(g, "grounds", g, g in picked, do="choose") for g in grounds]
    bar = f'<div class="wb-fields">{fields}</div>{chips("Grounds", ticks)}'
    title = f"What does the ground do to {colour} at {ratios[ratio]}?"
    both: str = button("Another colour", "another", quiet=True)
    both += button("Now guess", "to_guess", go=True)
    press = f'<span class="wb-pair">{both}</span>'
    change = fold("Another colour, ratio, grounds", bar, ident="bar")
    if screen.model is None:
        return title, screen.waiting() + change, press
    panels = screen.session.archive.panels()
    try:
        ladders = [
            coat_ladder(
                screen.model,
                panels,
                ground=grounds[name],
                colour=Colour.parse(str(colour)),
                ratio=ratios[str(ratio)],
                most=coats,
                clear=screen.session.clear,
            )
            for name in picked
        ]
    except MatchlibError as error:  # a name that is new to the archive is being learnt
        return title, problem(error) + change, press
    over = counted(len(picked), "ground")
    chart = value_chart(ladders, title=f"Lightness of {colour} by coats over {over}")
    words = (
        f"<p>{esc(value_words(ladders))}</p><p class='wb-muted'>Squares: what each coat should "
        "look like. Rings: cards of just this recipe, as read.</p>"
    )
    sprayed = "".join(_as_sprayed(screen, one) for one in ladders)
    return (
        title,
        chart + words + change + fold("As sprayed and read", sprayed, ident="sprayed"),
        press,
    )


def _as_sprayed(screen: TrainingScreen, found: Sequence[Rung]) -> str:
    """Every card of this colour and ground, weakest first; how near the chart they are."""
    rows: list[tuple[float, str, str, Lab]] = []
    ground, colour = found[-1].recipe.ground, found[-1].recipe.colour
    for panel in screen.session.archive.panels():
        recipe, lab = panel.recipe, card_lab(panel)
        if lab is None or recipe.ground != ground or recipe.schedule is None:
            continue
        if recipe.colours == (colour,):  # none of them in layers
            rows.append((recipe.schedule.strength, str(recipe.schedule), panel.code, lab))
    rows.sort()
    if not rows:
        return (
            f"<p><b>{esc(ground)}</b>: never sprayed with {esc(colour)}; its "
            "squares are a prediction alone.</p>"
        )
    some = rows[:_MOST_STRIPS]
    strip = areas(
        [lab for *_, lab in some],
        words=", ".join(f"{code} {steps}" for _, steps, code, _ in some),
        width=min(70 * len(some), 720) + 16,
        height=70,
    )
    near = [
        f"{code} ({counted(r.coats, 'coat')}): ΔE00 {number(float(delta_e00(r.lab, lab)), 1)}"
        for r in found
        for code, lab in r.panels
        if r.coats
    ]
    words = ", ".join(f"{code} {steps}" for _, steps, code, _ in some)
    off = f" From what the chart says: {'; '.join(near)}." if near else ""
    return f"<p><b>{esc(ground)}</b></p>{strip}<p class='wb-muted'>{esc(words)}.{esc(off)}</p>"
