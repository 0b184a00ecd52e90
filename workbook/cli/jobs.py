"""How the command line takes a job: its shape, and what a coat takes out of the cup."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, ClassVar

from workbook.cli.options import Option
from workbook.session.pot import PotRequest, densities_of, pot_of

if TYPE_CHECKING:
    from matchlib.domain import Recipe
    from matchlib.mixing import Pot

__all__ = ["JobOptions"]


@dataclass(frozen=True, slots=True)
class JobOptions(PotRequest):
    """A job, and how its quantities are told.

    `density`: such as ``carrier=0.87``. `unit`: in which volumes are told.
    """

    TOLD: ClassVar = {
        "area": Option(help="'2 m2', '20 sq ft', or '1.5 m2 to 2 m2'."),
        "work": Option(help="A usual job: helmet, fender, door, hood, whole car …; a range."),
        "sheet": Option(help="'600 mm x 400 mm', and ' x 2' for both sides."),
        "tube": Option(help="Diameter and length: '40 mm x 1.2 m'."),
        "sphere": Option(help="Diameter: '120 mm'."),
        "margin": Option(help="Share added for edges: 0.1."),
        "dry_film_um": Option("--dry-film", help="Dry film of one coat, µm (data sheet)."),
        "volume_solids": Option("--solids", help="Volume solids of carrier and colour: 0.2."),
        "transfer": Option(help="Range of transfer efficiency.", metavar="LOW HIGH"),
        "small": Option(help="Small work: much misses it."),
        "used": Option(help="What a panel took out of the cup, '80 ml'; replaces film and solids."),
        "used_area": Option(help="Area of that panel."),
        "used_coats": Option(help="Coats on that panel."),
        "chance": Option(help="Chance of not running out."),
        "residue": Option(help="What stays in cup and gun."),
        "gun_cup": Option(help="What the gun's cup holds."),
        "mark": Option(help="A measuring cup's mark, for whole marks."),
        "least": Option(help="Least mix worth making.  [default: 50 ml]"),
        "third": Option(help="'hardener 10%' or 'reducer 1:7', of carrier and colour together."),
        "pot_life": Option(help="Minutes, from the data sheet."),
        "coat_min": Option("--coat-minutes", help="To spray a coat and let it flash off."),
        "set_up_min": Option("--set-up-minutes", help="To mix, mask and clean up."),
        "rate": Option(help="Price of an hour, in your money."),
    }

    density: Annotated[
        list[str] | None,
        Option(help="carrier=0.87, and again for each colour: weights too.", metavar="NAME=NUMBER"),
    ] = None
    unit: Annotated[str, Option(help="ml, l, 'us fl oz', 'us pint', 'us gal'.")] = "ml"

    def pots(self, recipe: Recipe) -> Pot:
        """Return the pots of the job."""
        return pot_of(recipe, self, densities=densities_of(self.density or []))
