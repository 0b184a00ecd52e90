"""What is on the paint shelf, kept with the archive, and what a job takes off it."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from matchlib.archive import Archive
    from matchlib.mixing import Bill, Supply

__all__ = ["keep_stock", "stock_limits", "stock_of", "take_off", "write_down"]

_KEY = "stock"


def stock_of(archive: Archive) -> dict[str, Supply]:
    """Return the shelf.

    Returned: by name: ``carrier``, colours, ``reducer``, ``hardener``.
    """
    from matchlib.mixing import Supply
    from matchlib.plain import from_plain

    return {n: from_plain(Supply, held) for n, held in archive.setting(_KEY, {}).items()}


def keep_stock(archive: Archive, name: str, supply: Supply | None) -> None:
    """Write what is on the shelf of one thing.

    `name`: what it is, as recipes name it; ``carrier``, ``reducer`` or ``hardener``. `supply`: None
    takes it from the list.
    """
    from matchlib.domain import clean_name
    from matchlib.plain import to_plain

    name = clean_name(name, "bottle")
    shelf = {n: s for n, s in stock_of(archive).items() if n.casefold() != name.casefold()}
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
    from matchlib.mixing import Supply, parse_volume

    known = {n.casefold(): s for n, s in stock_of(archive).items()}
    supply = known.get(" ".join(name.split()).casefold(), Supply())
    if have:
        none = have.strip() == "0"
        supply = replace(supply, stock_ml=0.0 if none else parse_volume(have, zero=True))
    if bottle:
        supply = replace(supply, bottle_ml=parse_volume(bottle))
    keep_stock(archive, name, supply if price is None else replace(supply, price=price))


def take_off(archive: Archive, bill: Bill) -> None:
    """Take off the shelf what a job took; what it lacked is counted as bought in whole bottles."""
    shelf = {name.casefold(): (name, supply) for name, supply in stock_of(archive).items()}
    for line in bill.lines:
        name, supply = shelf.get(line.name.casefold(), (line.name, None))
        if supply is not None:
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
    use = CoatUse.of_panel(parse_volume(a_coat), area_m2=1.0, coats=1).widened(area.sd)
    return {"stock": {n: s.stock_ml for n, s in shelf.items()}, "area": area, "use": use}
