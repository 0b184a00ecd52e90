"""The back of a card, new or amended: typed, said back, questioned, and only then kept.

A ratio that looks the wrong way round is asked about before anything is kept; nothing turns it
round by itself.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from matchlib.colorimetry.lab import lab_of_reading
from matchlib.domain import (
    BEFORE_CLEAR,
    USUAL_OVERLAP,
    GunSetup,
    Panel,
    Reading,
    Recipe,
    Viewing,
    lots_text,
    read_lots,
)
from matchlib.errors import ArchiveError, DomainError, MatchlibError
from matchlib.plural import counted
from workbook.cup import cup_svg, cups_of
from workbook.figures import areas, esc, minus, numbers, table
from workbook.page.fields import button, check, choice, field, fold, problem, upload
from workbook.session.back import Draft, date_of, draft_panel
from workbook.session.intake import sent_file
from workbook.session.photos_kept import keep_picture, picture_name
from workbook.session.typed import number_typed, three_typed, whole_typed

if TYPE_CHECKING:
    from workbook.library.app import LibraryScreen
    from workbook.page import Press
    from workbook.session.photos import Photographed

__all__ = ["TABLES", "CardForm", "draw", "readings_in_file", "take_photo"]

TABLES = ".csv,.tsv,.txt,.xlsx,.ods,.cgats,.cxf,.xml"
_SURE = "Right as written all the same"
_SETUP = {
    "tip": "Tip, mm",
    "pressure": "Pressure, bar",
    "fan": "Fan, mm",
    "distance": "Distance, mm",
    "overlap": "Overlap, %",
}
_PLAIN = {
    "batch": "Batch of the ground",
    "drawer": "Drawer",
    "customer": "Customer",
    "note": "Note",
}


@dataclass
class CardForm:
    """A back as it is being typed; `of`: the card as it was when that began."""

    of: Panel | None = None
    fields: dict[str, str] | None = None
    readings: tuple[Reading, ...] = ()
    picture: bytes = b""


def do_typed(screen: LibraryScreen, done: Press) -> None:
    """Say the back again as it is typed."""
    screen.entry.fields = dict(done.fields)


def do_keep(screen: LibraryScreen, done: Press) -> None:
    """Keep the back, unless a question is open."""
    do_typed(screen, done)
    code = _check(screen)
    entry = screen.entry
    draft = _draft(dict(done.fields), entry.readings)
    if draft.doubtful and not done.ticked("sure"):
        asked = [q.text for q in draft.questions]
        asked += [draft.stated.text] if draft.stated and not draft.stated.agree else []
        remedy = f"change it, or tick '{_SURE}'; nothing was kept"
        raise DomainError(" ".join(asked), remedy=remedy)
    panel = draft.panel
    if code:
        notice = _amended(screen, code, panel)
    else:
        result = screen.session.archive.add([panel], who=panel.sprayer)
        notice = f"{result.words} {panel.code}: {panel.recipe.words}."
    keep_picture(screen.session.archive, panel.code, entry.picture)
    screen.entry = CardForm()
    screen.changed()
    screen.go("cards", card=panel.code)
    screen.notice = notice


def _check(screen: LibraryScreen) -> str:
    """Return the code of the card on screen, if the card is as it was when its back was opened."""
    entry, code = screen.entry, screen.address.get("card", "")
    if code and entry.of not in (None, screen.session.archive.panel(code)):
        entry.of = entry.fields = None
        raise ArchiveError(
            f"{code} was changed meanwhile, so this press did nothing. The page now "
            "shows how it stands.",
            remedy="look again, and write once more what is different.",
        )
    return code


def do_turn(screen: LibraryScreen, done: Press) -> None:
    """Write the ratio the other way round, as was asked."""
    do_typed(screen, done)
    draft = _draft(dict(done.fields), screen.entry.readings)
    other = next((q.other for q in draft.questions if q.other is not None), None)
    if other is not None:
        screen.entry.fields = {**done.fields, "ratio": str(other)}
        screen.notice = f"The ratio is now {other}: {other.words}."


def do_reading(screen: LibraryScreen, done: Press) -> None:
    """Take readings from a file that an instrument wrote."""
    do_typed(screen, done)
    screen.entry.readings = readings_in_file(done)
    count = len(screen.entry.readings)
    screen.notice = f"{counted(count, 'reading')} taken from {done.value}."


def take_photo(screen: LibraryScreen, found: Photographed) -> None:
    """Take the reading of photographs."""
    if found.reading is not None:
        screen.entry.picture = found.picture
        name = picture_name(found.picture)
        screen.entry.readings = (replace(found.reading.reading, picture=name),)


def readings_in_file(done: Press) -> tuple[Reading, ...]:
    """Return the readings of one card in a file that a browser sent."""
    from matchlib.readings import read_target

    with sent_file(done.value, done.content) as file:
        return tuple(read_target(file))


def _draft(fields: dict[str, str], readings: tuple[Reading, ...]) -> Draft:
    """The card as typed, with what should be asked."""

    def get(name: str) -> str:
        return fields.get(name, "").strip()

    numbers = {name: number_typed(get(name), words) for name, words in _SETUP.items()}
    carrier, colour = (number_typed(get(n), n) for n in ("carrier", "poured"))
    lab = three_typed(get("lab"))
    own = (Reading(Viewing(geometry=get("geometry") or "45:0"), get("source"), lab),) if lab else ()
    if not get("ground"):
        raise DomainError("The ground is not named yet.", remedy="type its name.")
    named = bool(get("colour"))
    plain: dict[str, Any] = {name: get(name) for name in _PLAIN}
    return draft_panel(
        code=get("code"),
        recipe=Recipe.of(
            ground=get("ground"),
            colour=get("colour"),
            **_laid(get("ratio"), get("coats")) if named else {},
            clear=get("clear") or "no",
        ),
        readings=own + readings,
        before_clear=get("state") == BEFORE_CLEAR,
        date=date_of(get("date")),
        sprayer=get("sprayer"),
        lot=get("lot"),
        temperature=number_typed(get("temperature"), "Booth air"),
        humidity=number_typed(get("humidity"), "Humidity"),
        lots=read_lots(get("lots")),
        clear_coats=whole_typed(get("clear_coats"), "Coats of clear"),
        setup=GunSetup(get("gun"), *(numbers[name] for name in _SETUP)),
        poured=(carrier, colour) if carrier is not None and colour is not None else None,
        **plain,
    )


def _laid(ratio: str, coats: str) -> dict[str, Any]:
    """A recipe's ratio and coats as typed: a number of coats, or a step-up with its ratios."""
    if "@" in coats:
        return {"schedule": coats}
    return {"ratio": ratio, "coats": whole_typed(coats, "Coats")}


def _amended(screen: LibraryScreen, code: str, typed: Panel) -> str:
    """Write what differs over the back of a card that is there; say what was done."""
    archive = screen.session.archive
    stored = archive.panel(code)
    last, new = stored.stages[-1], typed.stages[-1]
    changes: dict[str, Any] = {}
    for name in ("code", *_PLAIN):
        if getattr(stored, name) != getattr(typed, name):
            changes[name] = getattr(typed, name)
    own = ("recipe", "date", "sprayer", "lot", "temperature", "humidity", "setup", "lots")
    for name in (*own, "clear_coats"):
        if getattr(last, name) != getattr(new, name):
            changes[name] = getattr(new, name)
    if new.readings:
        changes["readings"] = (*last.readings, *new.readings)
    number = archive.amend(stored.code, who=typed.sprayer, why="amended on its page", **changes)
    if number is None:
        return f"Nothing on the back of {stored.code} was different."
    return f"{typed.code} now reads: {typed.recipe.words}."


def do_takeout(screen: LibraryScreen, done: Press) -> None:
    """Take a reading out of a card, or put the card aside.

    `done`: with the number of the reading in the last stage; empty for the card.
    """
    code, archive = _check(screen), screen.session.archive
    reading = int(done.value) if done.value else None
    stage = len(archive.panel(code).stages) if reading else None
    archive.delete(code, stage=stage, reading=reading, why="taken out on its page")
    screen.entry.of = None
    screen.changed()
    if reading is None:
        screen.go("cards", card="")
    screen.notice = f"{'A reading of ' * bool(reading)}{code} was put aside; Undo brings it back."


def _values(screen: LibraryScreen, panel: Panel | None) -> dict[str, str]:
    """What the form begins with."""
    if panel is None:
        return {
            "clear": "yes",
            "date": dt.date.today().isoformat(),
            "overlap": f"{USUAL_OVERLAP:g}",
            "geometry": screen.session.geometry,
        }
    stage, setup = panel.stages[-1], panel.setup
    steps = panel.recipe.steps
    numbers = {name: getattr(setup, name) for name in _SETUP}
    numbers |= {n: getattr(stage, n) for n in ("temperature", "humidity", "clear_coats")}
    return {
        "code": panel.code,
        **{k: v for k, v in panel.recipe.cells.items() if k != "schedule"},
        "ratio": str(steps[0].ratio) if len(steps) == 1 else "",
        "coats": str(steps[0].coats) if len(steps) == 1 else str(panel.recipe.schedule or ""),
        "date": panel.date.isoformat() if panel.date else "",
        "sprayer": panel.sprayer,
        "lot": panel.lot,
        "lots": lots_text(stage.lots),
        "gun": setup.gun,
        "geometry": screen.session.geometry,
        **{name: "" if v is None else f"{v:g}" for name, v in numbers.items()},
        **{name: getattr(panel, name) for name in _PLAIN},
    }


def draw(screen: LibraryScreen) -> str:
    """Return the page of a back."""
    code, archive, entry = screen.address.get("card", ""), screen.session.archive, screen.entry
    panel = archive.panel(code) if code else None
    entry.of = entry.of or panel
    at = {**_values(screen, panel), **(entry.fields or {})}

    def get(name: str) -> str:
        return at.get(name, "")

    def bald(label: str, name: str, **more: Any) -> str:
        return field(label, name, get(name), **more)

    def typed(label: str, name: str, **more: Any) -> str:
        return bald(label, name, do="typed", **more)

    main = (
        typed("Code of the card", "code", help="as on its back")
        + typed(
            "Ground", "ground", help="a blend: silver 3 + black 1", known=archive.names("ground")
        )
        + typed("Colour", "colour", help="empty: a bare ground", known=archive.names("colour"))
        + typed("Mix ratio", "ratio", help="carrier first: 6:1")
        + typed("Coats", "coats", help="3; a step-up: 2@6:1 2@3:1")
        + typed("Clear coat", "clear", help="yes, no, or its name", known=archive.names("clear"))
    )
    read = (
        typed("It reads: L a b", "lab", help="such as 27.1 45.9 28.5")
        + choice("Read by", "source", _SOURCES, get("source") or "spectrophotometer")
        + choice("Geometry", "geometry", _GEOMETRIES, get("geometry"))
        + choice("It was read", "state", _STATES, get("state"))
    )
    others = upload("Take it from a file", "reading", accept=TABLES) + button(
        "Photograph it", "photo", "back", quiet=True
    )
    when = bald("Sprayed on", "date", kind="date") + bald("Sprayer", "sprayer")
    when += bald("Lot of the colour", "lot")
    rest = "".join(bald(words, name) for name, words in _PLAIN.items())
    rest += bald("Booth air, °C", "temperature") + bald("Booth humidity, %", "humidity")
    rest += bald("Gun", "gun") + "".join(bald(words, name) for name, words in _SETUP.items())
    rest += bald("Other lots", "lots", help="carrier: 12; honey: 4")
    rest += bald("Coats of clear", "clear_coats")
    rest += bald("Carrier poured", "carrier") + bald("Colour poured", "poured")
    slot = screen.photo.draw() if screen.photo_for else ""
    html = (
        f'<div class="wb-fields">{main}{read}{when}</div>'
        f'<p class="wb-bar">{others}</p>{slot}{_taken(entry)}{_stored(panel)}'
        + fold(
            "Drawer, customer, booth, gun, what was poured",
            f'<div class="wb-fields">{rest}</div>',
            ident="rest",
        )
        + screen.trouble("keep", "typed", "turn", "reading", "takeout")
    )
    title = f"The back of {code}" if code else "A new card"
    waits = screen.photo_for == "back" and bool(screen.photo.shots)  # its reading is used first
    keep = button(f"Keep {'it' if code else 'this card'}", "keep", go=not waits)
    leave = button("Back to the cards", "part", "cards", quiet=True)
    both = f'<span class="wb-pair">{leave}{keep}</span>'
    return screen.framed(title, html, back=_back(entry, at, bool(code)), forward=both)


_SOURCES = {"spectrophotometer": "spectrophotometer", "photo": "photograph"}
_STATES = {"": "as the card is now", BEFORE_CLEAR: "before its clear coat"}
_GEOMETRIES = {
    "45:0": "45:0",
    "di:8": "di:8, gloss in",
    "de:8": "de:8, gloss out",
    **{f"45as{a}": f"45as{a}" for a in (-15, 15, 25, 45, 75, 110)},
}


def _taken(entry: CardForm) -> str:
    if not entry.readings:
        return ""
    words = "; ".join(
        f"{' '.join(dict.fromkeys((r.source, r.viewing.geometry)))}: {numbers(lab_of_reading(r))}"
        for r in entry.readings
    )
    return f'<p class="wb-said" role="status">To be kept with it: {esc(words)}</p>'


def _stored(panel: Panel | None) -> str:
    """The readings of the card that is amended, each to be taken out."""
    if panel is None:
        return ""
    rows = [
        (f"{r.source}, {r.viewing}", numbers(lab_of_reading(r)),
         button("Take out", "takeout", i, quiet=True, spoken=f"reading {i}"))
        for i, r in enumerate(panel.readings, 1)
    ]  # fmt: skip
    shown = table(("read by", "reads", ""), rows, caption="Readings of it as it is now")
    aside = button(f"Put {panel.code} aside", "takeout", "", quiet=True)
    return str(
        fold(f"Its readings ({len(panel.readings)})", shown + f"<p>{aside}</p>", ident="readings")
    )


def _back(entry: CardForm, at: dict[str, str], amending: bool) -> str:
    """The back said again, with what is to be asked."""
    try:
        draft = _draft(at, entry.readings)
    except MatchlibError as error:
        return f"<h2>Said back</h2><p class='wb-muted'>Not whole yet. {esc(error)}</p>"
    except ValueError as error:
        return problem(error)
    recipe = draft.panel.recipe
    lines = [t for t in draft.text.splitlines() if not (amending and t == "No reading yet.")]
    words = "".join(f"<p>{esc(minus(line))}</p>" for line in lines)
    cups = ""
    for ratio, colour in cups_of(recipe):
        cups += f"<figure>{cup_svg(ratio, colour)}</figure>"
    labs = [lab_of_reading(r) for r in draft.panel.readings]
    seen = areas([labs[0]], words="as read", width=236, height=90) if labs else ""
    asked = ""
    if draft.doubtful:
        asked = check(_SURE, "sure", "yes", False)
        if any(q.other is not None for q in draft.questions) and "@" not in at.get("coats", ""):
            asked += button("Turn the ratio round", "turn")
    return f"<h2>Said back</h2>{seen}{words}{cups}<div class='wb-stack'>{asked}</div>"
