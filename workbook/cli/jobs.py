"""How the command line takes a job: its shape, and what a coat takes out of the cup."""

from __future__ import annotations

from typing import Annotated

import typer

__all__ = [
    "AreaOption",
    "ChanceOption",
    "DensityOption",
    "DryFilmOption",
    "GunCupOption",
    "MarginOption",
    "MarkOption",
    "ResidueOption",
    "SheetOption",
    "SmallOption",
    "SolidsOption",
    "SphereOption",
    "TransferOption",
    "TubeOption",
    "UnitOption",
    "UsedAreaOption",
    "UsedCoatsOption",
    "UsedOption",
]

AreaOption = Annotated[str, typer.Option(help="Flat area: '2 m2', '20 sq ft'.")]
SheetOption = Annotated[str, typer.Option(help="'600 mm x 400 mm', and ' x 2' for both sides.")]
TubeOption = Annotated[str, typer.Option(help="Diameter and length: '40 mm x 1.2 m'.")]
SphereOption = Annotated[str, typer.Option(help="Diameter: '120 mm'.")]
MarginOption = Annotated[float | None, typer.Option(help="Share added for edges: 0.1.")]
DryFilmOption = Annotated[
    float | None, typer.Option("--dry-film", help="Dry film of one coat, µm (data sheet).")
]
SolidsOption = Annotated[
    float | None, typer.Option("--solids", help="Volume solids of the mix as sprayed: 0.2.")
]
TransferOption = Annotated[
    tuple[float, float] | None,
    typer.Option(help="Range of transfer efficiency.", metavar="LOW HIGH"),
]
SmallOption = Annotated[bool, typer.Option("--small", help="Small work: much misses it.")]
UsedOption = Annotated[
    str,
    typer.Option(help="What a panel took out of the cup, '80 ml'; replaces film and solids."),
]
UsedAreaOption = Annotated[str, typer.Option("--used-area", help="Area of that panel.")]
UsedCoatsOption = Annotated[int, typer.Option("--used-coats", help="Coats on that panel.")]
ChanceOption = Annotated[float, typer.Option(help="Chance of not running out.")]
ResidueOption = Annotated[str, typer.Option(help="What stays in cup and gun.")]
GunCupOption = Annotated[str, typer.Option("--gun-cup", help="What the gun's cup holds.")]
MarkOption = Annotated[str, typer.Option(help="A measuring cup's mark, for whole marks.")]
DensityOption = Annotated[
    list[str] | None, typer.Option(help="carrier=0.87, and one for each colour: weights too.")
]
UnitOption = Annotated[str, typer.Option(help="ml, l, 'us fl oz', 'us pint', 'us gal'.")]
