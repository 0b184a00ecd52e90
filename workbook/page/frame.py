"""How a page is laid out: rail, main, back and bottom; the top bar belongs to whoever serves it."""

from __future__ import annotations

from collections.abc import Sequence

from workbook.figures import Raw, esc, linked
from workbook.figures.swatches import CLIPPED
from workbook.page.fields import button

__all__ = ["frame", "steps_list"]


def frame(
    title: str,
    main: str,
    *,
    place: str,
    above: str = "",
    rail: str = "",
    back: str = "",
    undo: str = "",
    forward: str = "",
) -> Raw:
    """Return a whole page.

    `title`: its heading. `main`: HTML: what the page is about; the trade's words in it are linked
    here. `place`: which page and step it is: on another one the browser goes to its top. `above`:
    HTML over the heading. `rail`: HTML that stands still at the left: the job, the steps, the
    contents. `back`: HTML at the right: the back of what was chosen. `undo`: what an undo would
    take back; empty for nothing. `forward`: HTML of the one press that goes on.
    """
    shape = "wb-cols" + (" wb-railed" if rail else "") + (" wb-backed" if back else "")
    left = f'<aside class="wb-rail" aria-label="Where it stands">{rail}</aside>' if rail else ""
    right = f'<aside class="wb-back" aria-label="What was chosen">{back}</aside>' if back else ""
    corner = ""
    if CLIPPED in f"{main}{rail}{back}":
        corner = f'<p class="wb-muted wb-cornered">White corner: {CLIPPED}.</p>'
    bottom = ""
    if undo or forward:
        undoing = button(f"Undo: {undo}", "undo", quiet=True) if undo else "<span></span>"
        bottom = f'<footer class="wb-bottom">{undoing}{forward}</footer>'
    return Raw(
        f'<div class="{shape}">{left}<main class="wb-main">{above}'
        f'<h1 data-place="{esc(place)}">{esc(title)}</h1>{linked(main)}{corner}</main>{right}</div>'
        f"{bottom}"
    )


def steps_list(
    steps: Sequence[tuple[str, str, str]],
    now: str,
    *,
    past: Sequence[str] = (),
    shut: Sequence[str] = (),
    do: str = "step",
) -> Raw:
    """Return the steps of a job, or the contents of a page.

    `steps`: name, words, and the mark in its ring. `now`: the one on screen. `past`: those that are
    done. `shut`: those that cannot be gone to yet. `do`: what a press of one is called; its value
    is the step's name.
    """
    items = []
    for name, words, mark in steps:
        is_now = name == now
        shape = "wb-now" if is_now else ""
        ring = f"<span>{esc('✓' if name in past and not is_now else mark)}</span>"
        current = ' aria-current="step"' if is_now else ""
        off = ' disabled=""' if name in shut else ""
        items.append(
            f'<li class="{shape}"><button type="button" data-do="{esc(do)}"'
            f' data-value="{esc(name)}"{current}{off}>{ring}{esc(words)}</button></li>'
        )
    return Raw(f'<nav aria-label="Steps"><ol class="wb-steps">{"".join(items)}</ol></nav>')
