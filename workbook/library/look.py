"""The cards themselves: arranged, sought, looked at; and shown to a customer."""

from __future__ import annotations

import base64
import datetime as dt
from typing import TYPE_CHECKING

from matchlib.errors import MatchlibError, TargetError
from matchlib.overview import ORDERS, arranged, card_lab, nearest
from workbook.figures import areas, card_grid, esc, number
from workbook.page import Press, frame
from workbook.page.fields import button, check, chips, choice, field, fold, problem
from workbook.page.pictures import coats, coats_words, recipe_title
from workbook.session.library import look_at_card, match_card
from workbook.session.typed import three_typed, whole_typed

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matchlib.domain import Lab, Panel
    from workbook.library.app import LibraryScreen

__all__ = ["ARRANGED", "PAGE", "draw"]

PAGE = 240
"""Cards drawn at once."""

ARRANGED = ("by", "ground", "colour", "near", "only")
"""What of the address says which cards are shown, and how."""

_ONLY = {"year": "sprayed this year", "photo": "with a photograph"}
_PAPERS = ("A4", "Letter", "A5", "A6", "A7")


def do_arrange(screen: LibraryScreen, done: Press) -> None:
    """Keep in the address what was asked for."""
    asked = {name: done.fields.get(name, "") for name in ("by", "ground", "colour", "near")}
    asked["only"] = " ".join(done.ticked("only"))
    asked["by"] = "" if asked["by"] == "hue" else asked["by"]
    screen.address = {**screen.address, **asked}
    screen.shown = PAGE
    _wanted(screen)  # said now, if it is no colour


def do_card(screen: LibraryScreen, done: Press) -> None:
    """Look at a card, or no longer at it."""
    chosen = "" if screen.address.get("card") == done.value else done.value
    screen.address = {**screen.address, "card": chosen}
    screen.begun = None


def do_more(screen: LibraryScreen, _: Press) -> None:
    """Show more cards."""
    screen.shown += PAGE


def do_match(screen: LibraryScreen, done: Press) -> None:
    """Begin a job with this card as its target."""
    screen.begun = match_card(screen.session.archive, done.value)


def do_amend(screen: LibraryScreen, done: Press) -> None:
    """Write another back for a card."""
    screen.do_part(Press("part", "back"))
    screen.address = {**screen.address, "card": done.value}


def do_label(screen: LibraryScreen, done: Press) -> None:
    """Hand over a card's label."""
    from workbook.label import label_pdf

    first = whole_typed(done.fields.get("first", ""), "First free label")
    made = label_pdf(
        screen.session.archive.panel(done.value),
        sheet=done.fields.get("paper", "A4"),
        first=1 if first is None else first,
        cut_lines=True,
    )
    screen.page.offer(f"label {done.value}.pdf", made)
    screen.notice = f"The label of {done.value} was handed to the browser; print it at full size."


def _wanted(screen: LibraryScreen) -> Lab | None:
    """The colour that cards are wanted near to."""
    near = screen.address.get("near", "").strip()
    if not near:
        return None
    by_code = {p.code.casefold(): p for p in screen.session.archive.panels()}
    panel = by_code.get(near.casefold())
    if panel is None:
        return three_typed(near)
    lab = card_lab(panel)
    if lab is None:
        raise TargetError(
            f"{panel.code} was never read, so no card can lie near it.",
            expected="a card that was read, or L*, a* and b*",
            got=panel.code,
            remedy="read it first, or type a colour.",
        )
    return lab


def _some(screen: LibraryScreen) -> list[Panel]:
    asked = screen.address
    only = asked.get("only", "").split()
    year = dt.datetime.now(dt.UTC).year
    archive, ground, colour = screen.session.archive, asked.get("ground"), asked.get("colour")
    # A blend is one however its parts are written, and a colour is found in every layer.
    grounds = {str(g): g for g in archive.grounds()}
    colours = {str(c): c for c in archive.colours()} | {"bare": None}
    return [
        p
        for p in archive.panels()
        if (not ground or p.recipe.ground == grounds.get(ground))
        and (not colour or colours.get(colour) in (p.recipe.colours or (None,)))
        and ("year" not in only or (p.date is not None and p.date.year == year))
        and ("photo" not in only or any(r.picture or r.source == "photo" for r in p.readings))
    ]


def draw(screen: LibraryScreen) -> str:
    """Return the page of the cards."""
    archive, asked, some = screen.session.archive, screen.address, _some(screen)
    public = screen.part == "show"
    try:
        lab = _wanted(screen)
    except MatchlibError as error:
        lab, screen.error, screen.at = None, error, "arrange"
    if lab is None:
        cards, notes = arranged(some, asked.get("by") or "hue"), {}
    else:
        near = nearest(some, lab)
        cards = tuple((p, own) for p, own, _ in near)
        notes = {p.code: f"ΔE {number(away)}" for p, _, away in near}
    code = asked.get("card", "")
    if public:
        return _for_customer(screen, cards, code)
    count = f"{len(cards)} of {len(archive)}" if len(cards) < len(archive) else f"{len(archive)}"
    title = f"Library · {count} card{'s' * (len(archive) != 1)}"
    more = ""
    if len(cards) > screen.shown:
        more = button(f"Show more of the {len(cards)}", "more", quiet=True)
    grid = card_grid(cards[: screen.shown], chosen=code, notes=notes)
    adding = (
        button("Show to a customer", "part", "show", quiet=True)
        + button("Grounds and colours", "part", "begin", quiet=True)
        + button("Take in a file", "part", "file", quiet=True)
        + button("Add a card", "part", "back")
    )
    return screen.framed(
        title,
        f'{_bar(screen, lab)}{grid}<p class="wb-bar">{more}</p>',
        back=_card(screen, code) if code else "",
        place="library",
        forward=f'<span class="wb-pair">{adding}</span>',
    )


def _bar(screen: LibraryScreen, lab: Lab | None) -> str:
    archive, asked = screen.session.archive, screen.address
    grounds = {"": "all", **{str(g): str(g) for g in archive.grounds()}}
    colours = {str(c): str(c) for c in archive.colours()}
    colours = {"": "all", **colours, "bare": "bare grounds"}
    orders = {name: words for name, (words, _) in ORDERS.items()}
    by = "near" if lab is not None else asked.get("by") or "hue"
    if lab is not None:
        orders = {"near": "nearest first"}
    only = asked.get("only", "").split()
    ticks = [check(words, "only", k, k in only, do="arrange") for k, words in _ONLY.items()]
    fields = (
        field("Near a colour", "near", asked.get("near", ""), kind="search", hint="Lab or code")
        + choice("Order", "by", orders, by, do="arrange")
        + choice("Ground", "ground", grounds, asked.get("ground", ""), do="arrange")
        + choice("Colour", "colour", colours, asked.get("colour", ""), do="arrange")
    )
    seek = button("Find", "arrange", quiet=True)
    return (
        f'<div class="wb-seek" data-enter="arrange">{fields}{seek}{chips("Only some", ticks)}</div>'
        f"{screen.trouble('arrange')}"
    )


def _card(screen: LibraryScreen, code: str) -> str:
    """The back of the card that is looked at."""
    try:
        seen = look_at_card(screen.session.archive, code, screen.model)
    except MatchlibError as error:
        return problem(error)
    recipe, panel = seen.panel.recipe, seen.panel
    drawn = coats(seen.coats, size=26) if len(seen.coats) > 1 else ""
    reads = "never read"
    if seen.lab is not None:
        times = len(panel.readings)
        twice = {0: ", before this stage", 1: ""}.get(times, f", read {times} times")
        reads = "L* {} a* {} b* {}".format(*(number(v) for v in seen.lab)) + twice
    lines = "<br>".join(esc(line) for line in (reads, *seen.back[:4], seen.trust) if line)
    log = "".join(f"<p>{esc(line)}</p>" for line in (*seen.log, *seen.back[4:]))
    log += "".join(f"<p>Sprayed for job {j.number}, {esc(j.name)}.</p>" for j in seen.jobs)
    pictures = "".join(
        f'<img class="wb-photo" alt="Photograph of {esc(panel.code)}" '
        f'src="data:image/jpeg;base64,{base64.b64encode(data).decode("ascii")}">'
        for _, data in seen.pictures
    )
    papers = choice("Label paper", "paper", {p: p for p in _PAPERS}, "A4")
    first = field("First free label", "first", "1")
    begun = ""
    if screen.begun is not None:
        begun = (
            f'<p class="wb-said" role="status">Job {screen.begun.number} is begun.</p>'
            f'<a class="wb-press wb-go" href="match_a_sample.ipynb?job={screen.begun.number}">'
            f"Go on with job {screen.begun.number}</a>"
        )
    presses = (
        (begun or button("Match this colour", "match", panel.code, go=True, off=not panel.readings))
        + button("Amend the back", "amend", panel.code)
        + button("Print its label", "label", panel.code)
        + button("Close", "card", panel.code, quiet=True)
    )
    return (
        f"{areas([seen.lab], words=panel.code, width=236, height=150)}<h2>{esc(panel.code)}</h2>"
        f"<p>{recipe_title(recipe)}<br>{esc(coats_words(recipe))}</p>{drawn}"
        f"<p class='wb-muted'>{lines}</p>"
        f"<div class='wb-stack'>{presses}</div>{screen.trouble('match', 'label')}"
        + fold("Stages, readings and log", f'<div class="wb-muted">{log}</div>', ident="log")
        + (
            fold(f"Photographs ({len(seen.pictures)})", pictures, ident="pictures")
            if pictures
            else ""
        )
        + fold("Label", papers + first, ident="label")
    )


def _for_customer(
    screen: LibraryScreen, cards: Sequence[tuple[Panel, Lab | None]], code: str
) -> str:
    """The cards without recipes, customers or anybody's name."""
    labs = {p.code: lab for p, lab in cards}
    large = ""
    if code in labs:
        large = (
            areas([labs[code]], words=code, width=520, height=300)
            + f"<h2>{esc(code)}</h2><p>{button('Close', 'card', code, quiet=True)}</p>"
        )
    read = [(p, lab) for p, lab in cards if lab is not None]
    grid = card_grid(read[: screen.shown], chosen=code, public=True)
    more = button("More colours", "more", quiet=True) if len(read) > screen.shown else ""
    return frame(
        "Our colours",
        f'<p class="wb-muted">A screen cannot show a colour as it is: ask for the card.</p>'
        f'{large}{grid}<p class="wb-bar">{more}</p>',
        place="show",
        forward=button("Back to the workshop", "part", "cards", quiet=True),
    )
