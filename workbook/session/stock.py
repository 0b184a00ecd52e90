"""What is on the paint shelf, kept with the archive, and what a job takes off it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from matchlib.archive import Archive
    from matchlib.mixing import Bill, Labour, Pot, Supply

__all__ = ["bill_of", "keep_stock", "stock_limits", "stock_of", "take_off", "write_down"]

_KEY = "stock"


def stock_of(archive: Archive) -> dict[str, Supply]:
    """Return the shelf.

    Returned: by name: ``carrier``, colours, ``reducer``, ``hardener``; a colour that was renamed or
    joined since by the name of today.
    """
    from matchlib.archive.naming import as_spelled
    from matchlib.domain import name_key
    from matchlib.mixing import Supply
    from matchlib.plain import from_plain

    written = archive.setting(_KEY, {})
    shelf: dict[str, tuple[str, Supply]] = {}
    for name, today in as_spelled(archive, "colour", written).items():
        supply, key = from_plain(Supply, written[name]), name_key(today)
        if key in shelf:
            first = shelf[key][1]
            supply = replace(
                first,
                stock_ml=first.stock_ml + supply.stock_ml,
                bottle_ml=first.bottle_ml or supply.bottle_ml,
                price=supply.price if first.price is None else first.price,
            )
        shelf[key] = (name if name_key(name) == key else today, supply)
    return dict(shelf.values())


def keep_stock(archive: Archive, name: str, supply: Supply | None) -> None:
    """Write what is on the shelf of one thing.

    `name`: what it is, as recipes name it; ``carrier``, ``reducer`` or ``hardener``. `supply`: None
    takes it from the list.
    """
    from matchlib.domain import clean_name, name_key
    from matchlib.plain import to_plain

    name = clean_name(name, "bottle")
    shelf = {n: s for n, s in stock_of(archive).items() if name_key(n) != name_key(name)}
    if supply is not None:
        shelf[name] = supply
    archive.set_setting(_KEY, to_plain(dict(sorted(shelf.items()))) or None)


def write_down(
    archive: Archive, name: str, *, have: str = "", bottle: str = "", price: float | None = None
) -> None:
    """Write down what is said of one thing on the shelf; what is not said stays as it was.

    `have`, `bottle`: what is there and what a full bottle holds, as ``300 ml``. `price`: of a full
    bottle.
    """
    from matchlib.domain import name_key
    from matchlib.mixing import Supply, parse_volume

    known = {name_key(n): s for n, s in stock_of(archive).items()}
    supply = known.get(name_key(name), Supply())
    if have:
        none = have.strip() == "0"
        supply = replace(supply, stock_ml=0.0 if none else parse_volume(have, zero=True))
    if bottle:
        supply = replace(supply, bottle_ml=parse_volume(bottle))
    keep_stock(archive, name, supply if price is None else replace(supply, price=price))


def _on_shelf(archive: Archive, names: Sequence[str]) -> dict[str, tuple[str, Supply]]:
    """What the shelf has of names in any spelling: how it is listed there, and how much."""
    from matchlib.archive.naming import as_spelled
    from matchlib.domain import name_key

    shelf = {name_key(listed): (listed, supply) for listed, supply in stock_of(archive).items()}
    today = as_spelled(archive, "colour", names)
    return {name: shelf[key] for name in names if (key := name_key(today[name])) in shelf}


def bill_of(archive: Archive, pots: Pot, labour: Labour | None = None) -> Bill:
    """Return what to buy for a job by the shelf, and what it costs."""
    from matchlib.mixing import bill

    held = _on_shelf(archive, [need.name for need in pots.needs])
    return bill(pots, {name: supply for name, (_, supply) in held.items()}, labour=labour)


def take_off(archive: Archive, bill: Bill) -> None:
    """Take off the shelf what a job took; what it lacked is counted as bought in whole bottles."""
    held = _on_shelf(archive, [line.name for line in bill.lines])
    for line in bill.lines:
        if line.name in held:
            name, supply = held[line.name]
            keep_stock(archive, name, supply.less(line.need_ml, bought=line.bottles or 0))


def stock_limits(archive: Archive, *, work: str, a_coat: str) -> dict[str, Any]:
    """Return the limits of a search that may use no more than is on the shelf.

    `work`: what is sprayed: an area, ``2 m2``, or a usual job, ``door``. `a_coat`: what a coat
    takes out of the cup on a square metre, ``60 ml``, as `mix` says it. Returned: fields of
    `Limits`; a colour that is not on the list is not limited.
    """
    from matchlib.errors import DomainError
    from matchlib.mixing import CoatUse, parse_volume
    from workbook.session.pot import PotRequest, area_of

    shelf = stock_of(archive)
    if not shelf:
        raise DomainError(
            "What is on the shelf is not written down.",
            expected="the colours and how much of each is left",
            got="an empty list",
            remedy="workbook stock --name teal --have '300 ml', for each colour that may run out.",
        )
    measured = any(c.isdigit() for c in work)
    area = area_of(PotRequest(area=work) if measured else PotRequest(work=work))
    use = CoatUse.of_panel(parse_volume(a_coat), area_m2=1.0, coats=1)
    return {"stock": {n: s.stock_ml for n, s in shelf.items()}, "area": area, "use": use}
