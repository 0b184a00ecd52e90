"""A shop that has nothing yet: its grounds, each read bare, its colours, and their first cards."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from matchlib.cautions import IN_SHORT
from matchlib.domain import Colour, Ground, Panel, Reading, Recipe, Viewing
from matchlib.domain.reading import ILLUMINANTS
from matchlib.errors import DomainError
from matchlib.lessons import first_four
from matchlib.overview import card_lab
from workbook.figures import areas, esc, numbers
from workbook.library.back import TABLES, readings_in_file
from workbook.page import steps_list
from workbook.page.fields import button, choice, field, fold, upload
from workbook.page.pictures import coats_words
from workbook.session.photos_kept import keep_picture, picture_name
from workbook.session.typed import three_typed

if TYPE_CHECKING:
    from collections.abc import Mapping

    from workbook.library.app import LibraryScreen
    from workbook.page import Press
    from workbook.session.photos import Photographed

__all__ = ["draw", "keep_photo"]

_ENOUGH = 8
"""Cards of a colour after which a beginning asks for no more."""

_COLOURS, _INSTRUMENT = "begin: colours", "begin: instrument"
_GEOMETRIES = {
    "45:0": "45:0: lit from all round",
    "di:8": "di:8: a sphere, gloss in",
    "de:8": "de:8: a sphere, gloss out",
}
_CLEARS = {"yes": "under clear coat", "no": "without clear coat"}
_USUAL = {"geometry": "45:0", "light": "D65/10", "clear": "yes"}


def _instrument(screen: LibraryScreen) -> dict[str, str]:
    held = screen.session.archive.setting(_INSTRUMENT)
    return {**_USUAL, **(held if isinstance(held, dict) else {})}


def do_instrument(screen: LibraryScreen, done: Press) -> None:
    """Note how the shop's instrument reads, and whether bare cards are cleared."""
    reads = {name: done.fields.get(name, value) for name, value in _USUAL.items()}
    screen.session.archive.set_setting(_INSTRUMENT, reads)


def _grounds(screen: LibraryScreen) -> list[Panel]:
    """A bare card of each ground, the one that was read before one that was not."""
    found: dict[str, Panel] = {}
    for panel in screen.session.archive.panels():
        earlier = found.get(str(panel.recipe.ground))
        if panel.recipe.bare and (earlier is None or (panel.readings and not earlier.readings)):
            found[str(panel.recipe.ground)] = panel
    return list(found.values())


def _colours(screen: LibraryScreen) -> list[str]:
    archive = screen.session.archive
    held = archive.setting(_COLOURS, [])
    named = [str(c) for c in held] if isinstance(held, list) else []
    return list(dict.fromkeys([*(str(c) for c in archive.colours() if c.neat), *named]))


def _new(done: Press, name: str) -> str:
    """What is named; the field of each next name is another one, and so begins empty."""
    return next((v for k, v in done.fields.items() if k.startswith(name)), "")


def do_ground(screen: LibraryScreen, done: Press) -> None:
    """Name a ground: its bare card is there from now on, to be read."""
    ground = Ground.parse(_new(done, "new ground"))
    if str(ground).casefold() in {str(p.recipe.ground).casefold() for p in _grounds(screen)}:
        raise DomainError(f"{ground} is named already.", remedy="name another ground.")
    do_instrument(screen, done)
    recipe = Recipe(ground, clear=_instrument(screen)["clear"])
    screen.session.archive.add([Panel.of(f"{ground} bare"[:80], recipe)])
    screen.address = {**screen.address, "part": "begin"}
    screen.changed()
    screen.notice = f"{ground}: now read its bare card."


def do_colour(screen: LibraryScreen, done: Press) -> None:
    """Name a colour: its first four cards are asked for from now on."""
    colour = str(Colour.parse(_new(done, "new colour")))
    named = _colours(screen)
    if colour.casefold() in {c.casefold() for c in named}:
        raise DomainError(f"{colour} is named already.", remedy="name another colour.")
    screen.session.archive.set_setting(_COLOURS, [*named, colour])


def _wanted(screen: LibraryScreen, key: str, fields: Mapping[str, str]) -> Panel:
    """The card that a reading is for, if it is still the one that was shown at its place."""
    panel = _at_place(screen, key, fields)
    shown = fields.get(f"card {key}", "")
    if panel is None or (shown and shown != str(panel.recipe)):
        raise DomainError(
            "At this place stands another card meanwhile, so nothing was kept.",
            expected=shown,
            got="" if panel is None else str(panel.recipe),
            remedy="look at the cards as they are now, and type it beside its own.",
        )
    return panel


def _at_place(screen: LibraryScreen, key: str, fields: Mapping[str, str]) -> Panel | None:
    """A bare card, or one of a colour's first four; None where there is none at this place."""
    kind, _, rest = key.partition(" ")
    if kind == "ground":
        return dict(enumerate(_grounds(screen))).get(int(rest))
    which, _, number = rest.partition(".")
    colour = dict(enumerate(_colours(screen))).get(int(which))
    card = None if colour is None else dict(enumerate(_four(screen, colour))).get(int(number))
    if card is None:
        return None
    code = fields.get(f"code {rest}", "").strip() or f"{colour} {int(number) + 1}"
    if card.done:
        return screen.session.archive.panel(card.done[0])
    return Panel.of(code, card.recipe, date=dt.date.today())


def _four(screen: LibraryScreen, colour: str) -> Any:
    return first_four(
        screen.session.archive.panels(), Colour.parse(colour), clear=_instrument(screen)["clear"]
    )


def _kept(screen: LibraryScreen, panel: Panel, readings: tuple[Reading, ...]) -> None:
    whole = panel.having(readings=(*panel.readings, *readings))
    screen.session.archive.add([whole])
    screen.changed()
    screen.notice = f"{panel.code} is kept."


def do_bare(screen: LibraryScreen, done: Press) -> None:
    """Keep a reading that was typed."""
    screen.at_card = done.value
    lab = three_typed(done.fields.get(f"lab {done.value}", ""))
    if lab is None:
        raise DomainError(
            "Nothing is typed yet.",
            expected="L*, a* and b*, such as 61.2 0.3 1.9",
            got="an empty field",
            remedy="type or paste the reading, or take it from a file.",
        )
    if "geometry" in done.fields:
        do_instrument(screen, done)
    how = _instrument(screen)
    light, _, observer = how["light"].partition("/")
    view = Viewing(light, observer, how["geometry"])
    panel = _wanted(screen, done.value, done.fields)
    _kept(screen, panel, (Reading(view, "spectrophotometer", lab),))


def do_bare_file(screen: LibraryScreen, done: Press) -> None:
    """Keep the readings that a file holds of one card.

    `done`: with the file; the card is the one that was chosen for it.
    """
    screen.at_card = screen.address.get("for", "")
    panel = _wanted(screen, screen.at_card, done.fields)
    _kept(screen, panel, readings_in_file(done))


def keep_photo(screen: LibraryScreen, key: str, found: Photographed, done: Press) -> None:
    """Keep what photographs say of a card."""
    if found.reading is None:
        return
    panel = _wanted(screen, key, done.fields)
    reading = replace(found.reading.reading, picture=picture_name(found.picture))
    _kept(screen, panel, (reading,))
    keep_picture(screen.session.archive, panel.code, found.picture)


def do_step(screen: LibraryScreen, done: Press) -> None:
    """Go to a step of the beginning."""
    screen.go("begin", step=done.value)


def do_for(screen: LibraryScreen, done: Press) -> None:
    """Ask for the file of a reading."""
    screen.address = {**screen.address, "for": done.value}


def do_read(screen: LibraryScreen, done: Press) -> None:
    """Ask for the reading of one of the first cards."""
    screen.address = {**screen.address, "read": done.value}


# What is drawn


def draw(screen: LibraryScreen) -> str:
    """Return the page of a beginning."""
    grounds, colours = _grounds(screen), _colours(screen)
    read = [p for p in grounds if p.readings]
    left = read and any(not c.done for _, name in _asked(screen) for c in _four(screen, name))
    step = screen.address.get("step") or ("first" if left else "grounds")
    past = ["grounds"] * bool(read and len(read) == len(grounds)) + ["colours"] * bool(colours)
    steps = (
        ("grounds", "Grounds, read bare", "1"),
        ("colours", "Colours", "2"),
        ("first", "First cards", "3"),
    )
    empty = not len(screen.session.archive)
    head = "<p><b>A shop begins</b></p>"
    file = button("I have a file of cards", "part", "file", quiet=True) if empty else ""
    rail = f"{head}{steps_list(steps, step, past=past)}<p>{file}</p>"
    title, main, forward = {
        "grounds": _draw_grounds,
        "colours": _draw_colours,
        "first": _draw_first,
    }[step](screen)
    return screen.framed(title, main, rail=rail, forward=forward, place=f"begin {step}")


def _reading(screen: LibraryScreen, key: str, name: str, recipe: Recipe) -> str:
    """Where a reading is given: typed or pasted, from a file, off a photograph."""
    shown = f'<input type="hidden" name="card {key}" value="{esc(recipe)}">'
    label = shown + field(f"Reading of {name}", f"lab {key}", "")
    keep = button("Keep", "bare", key, spoken=f"the reading of {name}")
    chosen = screen.address.get("for") == key
    file = (
        upload("Choose the file", "bare_file", accept=TABLES)
        if chosen
        else button("From a file", "for", key, quiet=True, spoken=f"for {name}")
    )
    photo = button("Photograph", "photo", key, quiet=True, spoken=f"of {name}")
    slot = screen.photo.draw() if screen.photo_for == key else ""
    wrong = screen.trouble("bare", "bare_file") if screen.at_card == key else ""
    typed = f'<div class="wb-reading" data-enter="bare">{label}{keep}{file}{photo}</div>'
    return f"{typed}{wrong}{slot}"


def _draw_grounds(screen: LibraryScreen) -> tuple[str, str, str]:
    grounds, how = _grounds(screen), _instrument(screen)
    # Those still to be read stand first, then the next name, then the rest.
    left: list[str] = []
    read: list[str] = []
    for i, panel in enumerate(grounds):
        lab, name = card_lab(panel), str(panel.recipe.ground)
        seen = areas([lab], words=name, width=96, height=66)
        reading = (
            f"<p>{esc(numbers(lab))}</p>"
            if lab is not None
            else _reading(screen, f"ground {i}", name, panel.recipe)
        )
        inner = f"{seen}<h2>{esc(name)}</h2><div>{reading}</div>"
        (left if lab is None else read).append(
            f'<article class="wb-card wb-begin">{inner}</article>'
        )
    lights = {f"{i}/{o}": f"{i}, {o}°" for i in ILLUMINANTS[:3] for o in ("10", "2")}
    own = (
        choice("The instrument", "geometry", _GEOMETRIES, how["geometry"], do="instrument")
        + choice("Light and observer", "light", lights, how["light"], do="instrument")
        + choice("Bare cards are", "clear", _CLEARS, how["clear"], do="instrument")
    )
    new = field("Name a ground", f"new ground {len(grounds)}", "") + button(
        "Add it", "ground", go=not grounds
    )
    main = (
        "<p>Name every ground coat you spray, then read a bare card of it: no colour comes out "
        f"lighter than its ground.</p>{''.join(left)}"
        f'<div class="wb-seek" data-enter="ground">{new}</div>'
        f'{screen.trouble("ground")}<div class="wb-fields">{own}</div>{"".join(read)}'
    )
    ready = any(p.readings for p in grounds)
    return (
        "Name your grounds",
        main,
        button("Next: colours", "step", "colours", go=ready, off=not ready),
    )


def _draw_colours(screen: LibraryScreen) -> tuple[str, str, str]:
    colours = _colours(screen)
    rows = "".join(f'<article class="wb-card"><h2>{esc(c)}</h2></article>' for c in colours)
    new = field("Name a colour", f"new colour {len(colours)}", "") + button(
        "Add it", "colour", go=not colours
    )
    main = (
        "<p>The transparent colours on your shelf, neat: blends are worked out from them.</p>"
        f'<div class="wb-seek" data-enter="colour">{new}</div>{screen.trouble("colour")}{rows}'
    )
    ready = bool(colours)
    return (
        "Name your colours",
        main,
        button("Next: first cards", "step", "first", go=ready, off=not ready),
    )


def _asked(screen: LibraryScreen) -> list[tuple[int, str]]:
    """The colours that a beginning still asks cards of, each with its place."""
    sprayed = Counter(str(p.recipe.colour) for p in screen.session.archive.panels() if p.readings)
    return [(j, c) for j, c in enumerate(_colours(screen)) if sprayed[c] < _ENOUGH]


def _draw_first(screen: LibraryScreen) -> tuple[str, str, str]:
    html, left = "", 0
    for j, colour in _asked(screen):
        cards = _four(screen, colour)
        if not cards:
            continue
        to_do = sum(not card.done for card in cards)
        rows = "".join(_first(screen, card, f"{j}.{i}", colour) for i, card in enumerate(cards))
        words = f"{colour}: {f'{to_do} left' if to_do else 'all read'}"
        now = to_do > 0 and not left
        html += fold(words, rows, ident=f"colour{j}{now}", open_=now)
        left += to_do
    if left:
        html += f'<p class="wb-caution">{esc(IN_SHORT)}</p>'
    elif not html and not screen.session.archive.colours():
        html = "<p>Name a colour first, and read one ground bare.</p>"
    on = (
        '<a class="wb-press wb-go" href="match_a_sample.ipynb">To the first match</a>'
        if html and not left
        else button("To the cards", "part", "cards", quiet=True)
    )
    title = f"Spray these cards first · {left} left" if left else "The first cards"
    return title, html, on


def _first(screen: LibraryScreen, card: Any, key: str, colour: str) -> str:
    """One of a colour's first cards: what to spray, and its reading or where that is given."""
    archive, name = screen.session.archive, f"{colour} {int(key.partition('.')[2]) + 1}"
    lab = card_lab(archive.panel(card.done[0])) if card.done else None
    if lab is not None:
        given = f"<p>{esc(numbers(lab))}</p>"
    elif screen.address.get("read") == key:
        given = field("Code on its back", f"code {key}", name)
        given += _reading(screen, f"colour {key}", name, card.recipe)
    else:
        given = button("Sprayed: read it", "read", key, spoken=name)
    return (
        f'<article class="wb-card wb-begin">{areas([lab], words=name, width=96, height=66)}'
        f"<div><h2>Over {esc(card.recipe.ground)}</h2><p>{esc(coats_words(card.recipe))}</p>"
        f'<p class="wb-muted">{esc(card.teaches)}</p></div><div>{given}</div></article>'
    )
