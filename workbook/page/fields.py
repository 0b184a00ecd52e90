"""What is pressed, typed, ticked and unfolded on a page: native elements with visible names.

Every text that is given is escaped here; what is `Raw` is HTML already.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from matchlib.errors import MatchlibError
from workbook.figures.svg import Raw, esc
from workbook.figures.swatches import areas, numbers

__all__ = [
    "button",
    "check",
    "chips",
    "choice",
    "field",
    "fold",
    "problem",
    "radio",
    "slider",
    "upload",
]


def button(
    label: str, do: str, value: object = "", *, go: bool = False, quiet: bool = False,
    off: bool = False, spoken: str = "",
) -> Raw:  # fmt: skip
    """Return a press.

    `label`: what it says, an action. `do`, `value`: what the screen is told. `go`: whether it is
    the one thing recommended. `quiet`: whether it is aside. `off`: whether it cannot be pressed
    now. `spoken`: what follows the label for those who do not see where it stands.
    """
    shape = " ".join(["wb-press", *["wb-go"] * go, *["wb-quiet"] * quiet])
    more = f'<span class="wb-hidden"> {esc(spoken)}</span>' if spoken else ""
    dead = ' disabled=""' if off else ""
    return Raw(
        f'<button type="button" class="{shape}" data-do="{esc(do)}" data-value="{esc(value)}"'
        f"{dead}>{esc(label)}{more}</button>"
    )


def problem(error: Exception | None) -> Raw:
    """Return what went wrong, to stand where its cause is.

    Returned: HTML, spoken when it comes.
    """
    if error is None:
        return Raw("")
    if isinstance(error, MatchlibError):
        text = str(error)
    else:
        inside = f"{type(error).__name__}: {error}"
        text = f"This went wrong inside the workbook ({inside}). Nothing was changed."
    return Raw(f'<p class="wb-wrong" role="alert">{esc(text)}</p>')


def field(
    label: str,
    name: str,
    value: str = "",
    *,
    help: str = "",  # noqa: A002 the word all controls use
    kind: str = "text",
    lines: int = 1,
    wide: bool = False,
    do: str = "",
    known: Sequence[str] = (),
    hint: str = "",
    wrong: Exception | None = None,
) -> Raw:
    """Return a field that is typed into, with its label.

    `label`, `name`, `value`: what it asks, what it is called in a press, what is in it. `help`:
    below it. `kind`: ``text``, ``date``, ``search``. `lines`: more than one for a box. `wide`:
    whether it takes a line of its own. `known`: names that are offered. `hint`: what stands in it
    while it is empty. `do`: the press that is made when it was changed and left;
    none if empty. `wrong`: said below it.
    """
    ident = f"wb-{name}"
    bad = ' aria-invalid="true"' if wrong else ""
    common = f'id="{esc(ident)}" name="{esc(name)}" autocomplete="off"{bad}'
    common += f' data-do="{esc(do)}"' if do else ""
    common += f' placeholder="{esc(hint)}"' if hint else ""
    common += f' list="{esc(ident)}-known"' if known else ""
    if lines > 1:
        inner = f'<textarea {common} rows="{lines}">{esc(value)}</textarea>'
    else:
        inner = f'<input {common} type="{kind}" value="{esc(value)}">'
    if known:
        offered = "".join(f'<option value="{esc(n)}"></option>' for n in known)
        inner += f'<datalist id="{esc(ident)}-known">{offered}</datalist>'
    below = f'<span class="wb-muted">{esc(help)}</span>' if help else ""
    return Raw(
        f'<div class="wb-field{" wb-wide" * wide}"><label for="{esc(ident)}">{esc(label)}</label>'
        f"{inner}{below}{problem(wrong)}</div>"
    )


def choice(
    label: str, name: str, options: Mapping[str, str], value: str = "", *, do: str = ""
) -> Raw:
    """Return a list to choose one of.

    `label`, `name`: what it asks, what it is called in a press. `options`: what is shown, by value.
    `value`: the one chosen. `do`: the press that a change makes; none if empty.
    """
    shown = "".join(
        f'<option value="{esc(k)}"{" selected" if k == value else ""}>{esc(v)}</option>'
        for k, v in options.items()
    )
    pressing = f' data-do="{esc(do)}"' if do else ""
    ident = f"wb-{name}"
    return Raw(
        f'<div class="wb-field"><label for="{esc(ident)}">{esc(label)}</label>'
        f'<select id="{esc(ident)}" name="{esc(name)}"{pressing}>{shown}</select></div>'
    )


def check(label: str, name: str, value: str, on: bool, *, do: str = "", chip: Any = None) -> Raw:
    """Return a box to tick, with a swatch before its words where one is given.

    `label`, `name`, `value`: what it says, its name in a press, and what is told when it is ticked.
    `on`: whether it is ticked. `do`: the press that a change makes; none if empty. `chip`: CIELAB.
    """
    pressing = f' data-do="{esc(do)}" data-value="{esc(value)}"' if do else ""
    ticked = ' checked=""' if on else ""
    shown = "" if chip is None else areas([chip], words=numbers(chip), width=26, height=26, edge=3)
    return Raw(
        f'<label class="wb-chip"><input type="checkbox" name="{esc(name)}" value="{esc(value)}"'
        f"{ticked}{pressing}>{shown}{esc(label)}</label>"
    )


def radio(label: str, name: str, value: str, on: bool) -> Raw:
    """Return one of several of which one counts; parameters as for `check`."""
    return Raw(check(label, name, value, on).replace('"checkbox"', '"radio"', 1))


def chips(words: str, inner: Iterable[str], *, shown: bool = False) -> Raw:
    """Return boxes or radios side by side.

    `words`: what they are, for those who hear the page. `shown`: for those who see it too.
    """
    above = f'<span class="wb-legend" aria-hidden="true">{esc(words)}</span>' if shown else ""
    return Raw(
        f'<div class="wb-chips" role="group" aria-label="{esc(words)}">{above}'
        f"{''.join(inner)}</div>"
    )


def slider(
    label: str,
    name: str,
    value: float,
    *,
    low: float,
    high: float,
    step: float = 1.0,
    texts: Sequence[str] = (),
) -> Raw:
    """Return a slider that redraws the page as it moves.

    `label`, `name`: what it is, what it is called in a press; the press is called so too. `value`,
    `low`, `high`, `step`: where it stands. `texts`: what is shown and spoken at each step in place
    of the number.
    """
    ident = f"wb-{name}"
    at = round((value - low) / step)
    text = texts[at] if 0 <= at < len(texts) else f"{value:g}"
    return Raw(
        f'<div class="wb-field"><label for="{esc(ident)}">{esc(label)}</label>'
        f'<output for="{esc(ident)}">{esc(text)}</output>'
        f'<input type="range" id="{esc(ident)}" name="{esc(name)}" data-do="{esc(name)}" '
        f'min="{low:g}" max="{high:g}" step="{step:g}" value="{value:g}" '
        f'aria-valuetext="{esc(text)}" data-texts="{esc(json.dumps(list(texts)))}"></div>'
    )


def upload(label: str, do: str, *, accept: str = "", camera: bool = False) -> Raw:
    """Return a place to give a file, or to take a photograph with a tablet.

    `label`, `do`: what it says, the press that a file makes. `accept`: as in HTML. `camera`:
    whether it opens the camera; not there where nobody taps.
    """
    more = f' accept="{esc(accept)}"' if accept else ""
    more += ' capture="environment"' if camera else ""
    shape = " wb-camera" if camera else ""
    return Raw(
        f'<label class="wb-press wb-quiet wb-upload{shape}">{esc(label)}'
        f'<input type="file" class="wb-hidden" data-do="{esc(do)}"{more}></label>'
    )


def fold(words: str, inner: str, *, ident: str, open_: bool = False) -> Raw:
    """Return what is there when somebody asks.

    `words`: what is in it. `ident`: by which the browser knows whether it was unfolded. `open_`:
    whether it begins unfolded.
    """
    # A table that says the same over itself says it to a screen reader alone.
    inner = inner.replace(
        f"<caption>{esc(words)}</caption>",
        f'<caption><span class="wb-hidden">{esc(words)}</span></caption>',
    )
    return Raw(
        f'<details id="wb-fold-{esc(ident)}"{" open" if open_ else ""}>'
        f"<summary>{esc(words)}</summary><div>{inner}</div></details>"
    )
