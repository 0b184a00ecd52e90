"""What was sprayed, what is within reach, how well cards repeat: pictures first."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING, Any

from matchlib.overview import coverage, panel_residuals, reach, sprayed_twice, spreads
from workbook.figures import (
    Mark,
    coverage_picture,
    esc,
    lab_chart,
    number,
    repeats_picture,
    table,
)
from workbook.page.fields import button, choice, fold
from workbook.screen import guarded

if TYPE_CHECKING:
    from matchlib.progress import Callback
    from workbook.archive_page.app import ArchiveScreen
    from workbook.page import Press

__all__ = ["draw_reach", "draw_repeats", "draw_sprayed"]

_TWINS, _MOST_TWINS = 3, 12


def draw_sprayed(screen: ArchiveScreen) -> tuple[str, str]:
    """Return what was sprayed over what, and how to go on."""
    found = coverage(screen.session.archive.panels())
    neat = [g for g in found.grounds if g.neat], [c for c in found.colours if c.neat]
    others = [c for c in found.colours if not c.neat]
    blends = [g for g in found.grounds if not g.neat]
    main = str(coverage_picture(found, *neat, caption="Cards by ground and colour, weak to strong"))
    from workbook.archive_page.findings import open_, uncounted

    left = open_(screen)
    if left:
        things = "1 thing looks" if len(left) == 1 else f"{len(left)} things look"
        main += (
            f'<article class="wb-card wb-bar"><div><h2>{things} wrong</h2><p class="wb-muted">'
            f"Left out of predictions until somebody decides: {uncounted(screen, left)}.</p></div>"
            f'<span class="wb-push">{button("Look at them", "part", "wrong", go=True)}</span>'
            "</article>"
        )
    shown = ""
    if others:
        shown += coverage_picture(found, found.grounds, others, caption="Blends of colours")
    if blends:
        shown += coverage_picture(found, blends, neat[1], caption="Blends of grounds")
    if shown:
        main += fold("Blends of colours, blends of grounds", shown, ident="blends")
    return main, ""


def draw_reach(screen: ArchiveScreen) -> tuple[str, str]:
    """Return the colours within reach; as `draw_sprayed`."""
    archive = screen.session.archive
    colours = {"": "every neat colour", **{str(c): str(c) for c in archive.colours() if c.neat}}
    grounds = {"": "every neat ground", **{str(g): str(g) for g in archive.grounds() if g.neat}}
    colour, ground = screen.chosen.get("colour", ""), screen.chosen.get("ground", "")
    chosen = choice("Colour", "colour", colours, colour, do="choose") + choice(
        "Ground", "ground", grounds, ground, do="choose"
    )
    bar = f'<div class="wb-fields">{chosen}</div>'
    if screen.model is None:
        return bar + screen.waiting(), ""
    make = partial(_reach, screen, colour, ground, f"{colours[colour]} over {grounds[ground]}")
    return guarded(bar, make), ""


def _reach(screen: ArchiveScreen, colour: str, ground: str, words: str) -> str:
    found = reach(
        screen.model,
        [p for p in screen.session.archive.panels() if p.times_read],
        grounds=(ground,) if ground else (),
        colours=(colour,) if colour else (),
    )
    # Bare grounds lie in a heap near the axis: they are known from the page of what was sprayed.
    marks = [Mark(lab, "bare ground" if r.bare else "card") for _, r, lab in found.panels]
    chart = lab_chart(
        marks,
        reachable=found.lab,
        order=["bare ground", "card"],
        title=f"{words}: within reach, and sprayed",
    )
    rows = [[name, count, *(number(v) for v in ends)] for name, count, *ends in found.extent]
    heads = ["colour", "recipes", "L* from", "L* to", "C* from", "C* to"]
    extent = table(heads, rows, caption="How far each colour goes", right=heads[1:])
    said = (
        '<p class="wb-muted">Dashed: round all recipes of a neat colour over a neat ground, 2:1 to '
        "10:1, 1 to 6 coats. Inside it not every colour is within reach.</p>"
    )
    return f"{chart}{said}{fold('How far each colour goes', extent, ident='extent')}"


def draw_repeats(screen: ArchiveScreen) -> tuple[str, str]:
    """Return cards of one recipe side by side, and what makes them differ; as `draw_sprayed`."""
    found = sprayed_twice(screen.session.archive.panels())
    if found:
        apart = sorted(gap for *_, gap in found)
        middle = apart[len(apart) // 2]
        head = (
            f'<p class="wb-big">Sprayed again, a card reads about ΔE00 {number(middle)} from the '
            f"first.</p><p class='wb-muted'>{len(found)} recipes were sprayed more than once; the "
            "furthest apart stand first. No prediction mends what spraying alone parts.</p>"
        )
    else:
        head = "<p>No recipe was sprayed twice yet: spray one again, and this is known.</p>"
    main = head + repeats_picture(found[:_TWINS])
    if left := found[_TWINS:_MOST_TWINS]:
        main += fold(f"{len(left)} more", repeats_picture(left), ident="twins")
    worked = screen.found.get("repeats")
    if worked is None:
        return main + screen.trouble("repeats"), button(
            "What makes them differ", "repeats", go=True
        )
    return main + _components(*worked), ""


def do_repeats(screen: ArchiveScreen, _: Press) -> None:
    """Work out what makes cards differ, in a thread."""

    def compute(callback: Callback) -> Any:
        from matchlib.validation import repeatability

        model = screen.session.fit(callback=callback).model
        panels = screen.session.archive.panels()
        return repeatability(panels, model, callback=callback), panel_residuals(model, panels)

    screen.page.later("Comparing cards", compute, lambda found: screen.found.update(repeats=found))


def _components(found: Any, off: Any) -> str:
    from matchlib.validation import PART_WORDS

    heads = ["part", "standard deviation", "95% from", "to", "as median ΔE00"]
    rows = []
    for part in found.components:
        film = part.name in ("panel film", "sprayer", "lot")
        scale, unit, digits = (100.0, " %", 1) if film else (1.0, " ΔE00", 2)
        sizes = [f"{number(scale * v, digits)}{unit}" for v in (part.sd, part.low, part.high)]
        rows.append([PART_WORDS[part.name], *sizes, number(part.difference, 2)])
    parts = table(heads, rows, caption="What makes cards differ", right=heads[1:])
    groups = []
    for by in ("sprayer", "lot"):
        lines = [
            [s.name, s.panels, number(s.median, 2), number(s.low, 2), number(s.high, 2)]
            for s in spreads(off, by)
        ]
        names = [by, "cards", "median ΔE00", "95% from", "to"]
        caption = f"Distance from the prediction, by {by} (–: under five cards)"
        groups.append(
            fold(f"By {by}", table(names, lines, caption=caption, right=names[1:]), ident=by)
        )
    return f"<p><b>{esc(found.words)}</b></p>{parts}{''.join(groups)}"
