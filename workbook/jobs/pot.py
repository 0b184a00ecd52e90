"""The pot of a card: what is poured, from the recipe and what a coat takes out of the cup.

What was typed of the card and the gun is the shop's, and is kept with the archive.
"""

from __future__ import annotations

import contextlib
from typing import TYPE_CHECKING, Any

from matchlib.cautions import DEFERENCE, cautions_at
from matchlib.errors import DomainError, MatchlibError
from matchlib.mixing import THIRDS, USUAL_AREAS, Third
from workbook.cup import cup_svg, cups_of
from workbook.figures import Raw, esc, table
from workbook.page.fields import button, choice, field, fold, problem
from workbook.session.back import check_poured
from workbook.session.pot import PotRequest, bottle_words, densities_of, labour_of, pot_of
from workbook.session.stock import bill_of, stock_of, take_off, write_down
from workbook.session.typed import number_typed, whole_typed

if TYPE_CHECKING:
    from collections.abc import Mapping

    from matchlib.archive import Archive
    from matchlib.domain import Recipe
    from matchlib.mixing import Pot, Supply

__all__ = [
    "KEY",
    "keep_bottle",
    "keep_typed",
    "pot_part",
    "pots_of",
    "request_of",
    "take_pot",
    "third_of",
    "typed_of",
]

KEY = "card"
"""Name of the setting."""

UNITS = ("ml", "l", "us fl oz", "us pint", "us gal")

_SHAPES = {
    "area": "an area",
    "work": "a usual job",
    "sheet": "a sheet",
    "tube": "a tube",
    "sphere": "a ball",
}
_USES = {
    "film": "the data sheet",
    "used": "a sprayed card",
}
_FIELDS = {
    "area": ("Area", "2 m2, 20 sq ft, or 1.5 m2 to 2 m2"),
    "work": ("Usual job", ", ".join(USUAL_AREAS)),
    "sheet": ("Sheet", "600 mm x 400 mm; add x 2 for both sides"),
    "tube": ("Tube: diameter and length", "such as 40 mm x 1.2 m"),
    "sphere": ("Ball: diameter", "such as 120 mm"),
    "dry_film": ("Dry film of one coat, µm", "from the data sheet, such as 12"),
    "solids": ("Volume solids, %", "of carrier and colour, such as 20"),
    "used": ("Taken out of the cup", "such as 80 ml"),
    "used_area": ("Area of that card", "such as 0.09 m2"),
    "used_coats": ("Coats on it", ""),
    "margin": ("Added for edges, %", "empty: none for a flat area, 10 for shapes"),
    "chance": ("Chance it is enough, %", "95 is usual"),
    "residue": ("Stays in cup and gun", "15 ml is usual"),
    "gun_cup": ("The gun's cup holds", "empty if it does not matter"),
    "mark": ("Measuring cup's marks", "5 ml, for whole marks"),
    "least": ("Least mix worth making", "50 ml is usual"),
    "third": ("Reducer or hardener", "hardener 10%, or reducer 1:7, of carrier and colour"),
    "pot_life": ("Pot life, minutes", "with a hardener: the data sheet says"),
    "coat_min": ("Minutes a coat", "spraying and flash-off, for the hours"),
    "rate": ("Price of an hour", "in your money"),
    "densities": ("Densities, g/ml", "carrier=0.87, cherry=0.95: by the scale too"),
    "bottle": ("Left in the colour's bottle", "such as 120 ml"),
    "poured": ("Poured: carrier and colour", "32, 4: compared with the ratio"),
}
_SIDES = ("carrier", "colour")
"""Whose density is told by the side of the ratio, whatever the colour is called."""

_RARE = tuple(_FIELDS)[tuple(_FIELDS).index("margin") :]
"""What the first pot does not ask."""

_START = {
    "shape": "sheet",
    "sheet": "300 mm x 300 mm",
    "by": "used",
    "used_coats": "1",
    "used_area": "0.09 m2",
    "used": "25 ml",
    "chance": "95",
    "residue": "15 ml",
    "unit": "ml",
}


def _number(typed: dict[str, str], name: str, *, part: float = 1.0) -> float | None:
    value = number_typed(typed.get(name, ""), f"'{_FIELDS[name][0]}'")
    return None if value is None else value / part


def request_of(typed: dict[str, str]) -> PotRequest:
    """Return what a pot is asked for, as the form has it.

    Returned: one shape, one way to tell what a coat takes. Raises `DomainError` if a number is
    none.
    """
    shape, by_film = typed.get("shape", "sheet"), typed.get("by", "film") == "film"
    chance = _number(typed, "chance", part=100.0)
    used_coats = whole_typed(typed.get("used_coats", ""), f"'{_FIELDS['used_coats'][0]}'")
    more: dict[str, Any] = {shape: typed.get(shape, "")}
    if by_film:
        more["dry_film_um"] = _number(typed, "dry_film")
        more["volume_solids"] = _number(typed, "solids", part=100.0)
    else:
        more["used"], more["used_area"] = typed.get("used", ""), typed.get("used_area", "")
        more["used_coats"] = 1 if used_coats is None else used_coats
    return PotRequest(
        margin=_number(typed, "margin", part=100.0),
        chance=0.95 if chance is None else chance,
        residue=typed.get("residue", "").strip() or "0 ml",
        gun_cup=typed.get("gun_cup", "").strip(),
        mark=typed.get("mark", "").strip(),
        least=typed.get("least", "").strip(),
        third=typed.get("third", "").strip(),
        pot_life=_number(typed, "pot_life"),
        coat_min=_number(typed, "coat_min"),
        rate=_number(typed, "rate"),
        **more,
    )


def pots_of(recipe: Recipe, typed: dict[str, str]) -> Pot:
    """Return the pots of a recipe, as the form has them.

    Returned: one pot a ratio. Raises `DomainError` if something is missing or cannot be read.
    """
    request = request_of(typed)
    colours = {name for colour in recipe.colours for name in colour.shares}
    # The shop's list holds what other jobs are mixed of, too.
    mixed = colours | {*_SIDES, request.third.partition(" ")[0].casefold()}
    own = {name: v for name, v in _densities(typed).items() if name.casefold() in mixed}
    return pot_of(recipe, request, densities=own)


def _densities(typed: dict[str, str]) -> dict[str, float]:
    return densities_of([p for p in map(str.strip, typed.get("densities", "").split(",")) if p])


def _asides(recipe: Recipe, job: dict[str, str]) -> list[str]:
    lines: list[str] = []
    if job.get("bottle", "").strip():
        bottle, unit = job["bottle"].strip(), job.get("unit", "ml")
        lines += bottle_words(recipe, bottle, unit=unit)
    poured = job.get("poured", "").replace(",", " ").split()
    if poured:
        try:
            carrier, colour = (float(v) for v in poured)
        except ValueError:
            raise DomainError(
                "These are not the quantities that were poured.",
                expected="carrier and colour in one unit, carrier first, such as 32, 4",
                got=repr(job["poured"][:40]),
                remedy="correct them, or leave them empty.",
            ) from None
        stated = check_poured(recipe, (carrier, colour))
        lines.append(f"{stated.text[:1].upper()}{stated.text[1:]}")
    return lines


def typed_of(archive: Archive) -> dict[str, str]:
    """Return what the shop's cards and coats are, as typed."""
    kept = archive.setting(KEY, {})
    return {**_START, **{str(k): str(v) for k, v in kept.items()}}


def third_of(archive: Archive) -> Third | None:
    """Return what the shop's pots hold besides carrier and colour; None where that is nothing."""
    typed = typed_of(archive).get("third", "")
    with contextlib.suppress(DomainError):  # what is typed wrong is said at the pot
        return Third.parse(typed)
    return None


def keep_typed(archive: Archive, fields: dict[str, str], *, pot: str = "") -> None:
    """Keep what was typed, once it makes sense; `pot` says of which its bottle and pouring are."""
    names = (*_FIELDS, "shape", "by", "unit")
    typed = {k: fields[f"pot_{k}"].strip() for k in names if f"pot_{k}" in fields}
    request_of(typed)
    known = {*_SIDES, *THIRDS, *(name.casefold() for name in archive.names("colour"))}
    if unknown := [name for name in _densities(typed) if name.casefold() not in known]:
        raise DomainError(
            "A density is given for something that the archive does not know.",
            expected="carrier, reducer, hardener, or a colour by its name",
            got=", ".join(unknown),
            remedy="write it as the archive does.",
        )
    archive.set_setting(KEY, {**typed, "pot": pot})


_TAKEN, _MOST_TAKEN = "pot taken off the shelf", 100


def _taken(archive: Archive) -> list[str]:
    """Which pots were taken off the shelf, the newest last."""
    held = archive.setting(_TAKEN, [])
    return held if isinstance(held, list) else [str(held)]  # one alone, as it was kept before


def take_pot(archive: Archive, recipe: Recipe, pot: str) -> None:
    """Take a pot off the shelf, once; `pot` says which it is."""
    taken = _taken(archive)
    if pot in taken:
        return
    take_off(archive, bill_of(archive, pots_of(recipe, typed_of(archive))))
    archive.set_setting(_TAKEN, [*taken, pot][-_MOST_TAKEN:])


def pot_part(
    archive: Archive, recipe: Recipe, wrong: Exception | None, *, opened: bool, pot: str = ""
) -> Raw:
    """Return what is poured, large, and all that it rests on folded; `pot` says which it is."""
    typed = typed_of(archive)
    if typed.get("pot", "") != pot:  # what was said of another pot's bottle and pouring
        typed |= {"bottle": "", "poured": ""}
    unit, guessed = typed.get("unit", "ml"), not archive.setting(KEY, {})
    lines: list[str] = []
    try:
        pots = pots_of(recipe, typed)
        big, lines = _poured(pots, unit), pots.words(unit).splitlines()
        labour = labour_of(request_of(typed))
        if stock_of(archive) or labour is not None:
            lines += bill_of(archive, pots, labour).words(unit).splitlines()
    except MatchlibError as error:
        big, wrong = "", wrong or error
    try:
        lines += _asides(recipe, typed)
    except MatchlibError as error:
        wrong = wrong or error
    cups = "".join(
        f"<div><p><b>{esc(r)}</b>: {esc(r.words)}</p>{cup_svg(r, colour)}</div>"
        for r, colour in cups_of(recipe)
    )
    controls = (
        choice("What is sprayed", "pot_shape", _SHAPES, typed["shape"], do="pot")
        + choice("What a coat takes, from", "pot_by", _USES, typed["by"], do="pot")
        + choice("Unit", "pot_unit", {u: u for u in UNITS}, unit, do="pot")
    )
    hidden = {*_SHAPES} - {typed["shape"]}
    by_film, by_used = {"dry_film", "solids"}, {"used", "used_area", "used_coats"}
    hidden |= by_film if typed["by"] == "used" else by_used
    asked = {
        name: field(label, f"pot_{name}", typed.get(name, ""), help=hint)
        for name, (label, hint) in _FIELDS.items()
        if name not in hidden
    }
    rare = "".join(asked.pop(name) for name in _RARE)
    words = "Cup, hardener, prices, what is left"
    rest = fold(words, f'<div class="wb-fields">{rare}</div>', ident="rare")
    controls += "".join(asked.values())
    items = "".join(f"<li>{esc(line)}</li>" for line in lines)
    shelf = ""
    if stock_of(archive) and big:
        shelf = (
            '<p class="wb-muted">Taken off the shelf.</p>'
            if pot in _taken(archive)
            else button("Take it off the shelf", "takepot", quiet=True)
        )
    mind = " ".join(c.first for c in cautions_at("mix"))
    more = (
        f'<p class="wb-caution">Before you open a tin: {esc(mind)} {esc(DEFERENCE)}</p>'
        f'<ul>{items}</ul><div class="wb-chips">{cups}</div>'
        f'<div data-enter="pot"><div class="wb-fields">{controls}</div>{rest}</div>'
        + button("Work it out", "pot", quiet=True)
        + fold("Stock", _stock(archive), ident="stock")
    )
    assumed = ": reckoned for 300 × 300 mm at 25 ml a coat" if guessed else ""
    return Raw(
        f'<p class="wb-big">{esc(big)}</p>{shelf}{problem(wrong)}'
        + fold(f"The pot in full{assumed}", more, ident="pot", open_=opened)
    )


def _poured(pots: Pot, unit: str) -> str:
    from matchlib.mixing import format_volume

    pours = []
    for group in pots.groups:
        parts = [f"{format_volume(p.ml, unit)} {p.name}" for p in group.pour.portions if p.ml > 0]
        pours.append("into the rest " * bool(group.pour.kept) + " + ".join(parts))
    return ", then ".join(pours)


def keep_bottle(archive: Archive, fields: Mapping[str, str]) -> None:
    """Write down a bottle of the shelf, as its fields have it."""
    typed = {n: fields.get(f"stock_{n}", "").strip() for n in ("name", "ml", "bottle", "price")}
    price = number_typed(typed["price"], "'Price of a full bottle'")
    write_down(archive, typed["name"], have=typed["ml"], bottle=typed["bottle"], price=price)


def _stock(archive: Archive) -> str:
    rows = [
        (name, f"{supply.stock_ml:g} ml", _bottle(supply),
         button("Take from the list", "unstock", name, quiet=True, spoken=name))
        for name, supply in stock_of(archive).items()
    ]  # fmt: skip
    heads = ("bottle", "left", "a full one", "")
    shown = table(heads, rows, caption="On the shelf") if rows else ""
    bottle: str = field("Bottle", "stock_name", help="carrier, or a colour")
    bottle += field("On the shelf", "stock_ml", help="such as 480 ml")
    bottle += field("A full bottle holds", "stock_bottle", help="to say how many to buy")
    bottle += field("Price of a full bottle", "stock_price", help="in your money, for the cost")
    return f'{shown}<div class="wb-fields" data-enter="stock">{bottle}</div>' + button(
        "Keep", "stock", quiet=True
    )


def _bottle(supply: Supply) -> str:
    size = "" if supply.bottle_ml is None else f"bottles of {supply.bottle_ml:g} ml"
    return size + ("" if supply.price is None else f" at {supply.price:.2f}")
