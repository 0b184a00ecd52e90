"""Panel: the pot, from recipe and job to what is poured, with the cup drawn."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from matchlib.cautions import cautions_at
from matchlib.errors import DomainError, MatchlibError
from matchlib.mixing import USUAL_AREAS, bill
from workbook.controls import Choice, HtmlView, TextField
from workbook.cup import cup_svg
from workbook.figures import esc
from workbook.match.parts import Panel, columns, hide, taking
from workbook.session import (
    Job,
    bottle_words,
    densities_of,
    draft_panel,
    labour_of,
    pot_of,
)
from workbook.session.stock import stock_of

if TYPE_CHECKING:
    from matchlib.domain import Recipe
    from matchlib.mixing import Pot

__all__ = ["UNITS", "PotPanel", "job_of", "pots_of"]

UNITS = ("ml", "l", "us fl oz", "us pint", "us gal")

_SHAPES = {
    "area": "an area",
    "work": "a usual job",
    "sheet": "a sheet",
    "tube": "a tube",
    "sphere": "a ball",
}
_USES = {
    "film": "film and solids from the data sheet",
    "used": "what a sprayed panel took out of the cup",
}
_FIELDS = {
    "area": ("Area", "2 m2, 20 sq ft, or 1.5 m2 to 2 m2"),
    "work": ("Usual job", ", ".join(USUAL_AREAS)),
    "sheet": ("Sheet", "600 mm x 400 mm; add x 2 for both sides"),
    "tube": ("Tube: diameter and length", "40 mm x 1.2 m"),
    "sphere": ("Ball: diameter", "120 mm"),
    "dry_film": ("Dry film of one coat, µm", "from the data sheet, such as 12"),
    "solids": ("Volume solids, %", "of carrier and colour, such as 20"),
    "used": ("Taken out of the cup", "80 ml"),
    "used_area": ("Area of that panel", "0.06 m2"),
    "used_coats": ("Coats on it", "4"),
    "margin": ("Added for edges, %", "empty: none for a flat area, 10 for shapes"),
    "chance": ("Chance it is enough, %", "95 is usual"),
    "residue": ("Stays in cup and gun", "15 ml"),
    "gun_cup": ("The gun's cup holds", "empty if it does not matter"),
    "mark": ("Measuring cup's marks", "5 ml, for whole marks"),
    "least": ("Least mix worth making", "50 ml is usual"),
    "third": ("Reducer or hardener", "hardener 10%, or reducer 1:7, of carrier and colour"),
    "pot_life": ("Pot life, minutes", "with a hardener: the data sheet says"),
    "coat_min": ("Minutes a coat", "spraying and flash-off, for the hours"),
    "rate": ("Price of an hour", "in your money"),
    "densities": ("Densities, g/ml", "carrier=0.87, cherry=0.95: by the scale too"),
    "bottle": ("Left in the colour's bottle", "120 ml"),
    "poured": ("Poured: carrier and colour", "32, 4: compared with the ratio"),
}
_START = {
    "shape": "sheet",
    "sheet": "600 mm x 400 mm",
    "by": "film",
    "chance": "95",
    "residue": "15 ml",
    "unit": "ml",
}


def _number(job: dict[str, str], name: str, *, part: float = 1.0) -> float | None:
    text = job.get(name, "").strip()
    if not text:
        return None
    try:
        return float(text) / part
    except ValueError:
        raise DomainError(
            f"This is not a number for '{_FIELDS[name][0]}'.",
            expected="a number with a full stop, such as 12.5",
            got=repr(text[:40]),
            remedy="correct it, or leave it empty.",
        ) from None


def job_of(typed: dict[str, str]) -> Job:
    """Return a job as the form has it.

    Parameters
    ----------
    typed : dict of str to str
        Fields by name.

    Returns
    -------
    Job
        One shape, one way to tell what a coat takes.

    Raises
    ------
    DomainError
        If a number is none.
    """
    shape, by_film = typed.get("shape", "sheet"), typed.get("by", "film") == "film"
    chance = _number(typed, "chance", part=100.0)
    used_coats = _number(typed, "used_coats")
    more: dict[str, Any] = {}
    if by_film:
        more["dry_film_um"] = _number(typed, "dry_film")
        more["volume_solids"] = _number(typed, "solids", part=100.0)
    else:
        more["used"], more["used_area"] = typed.get("used", ""), typed.get("used_area", "")
        more["used_coats"] = 1 if used_coats is None else int(used_coats)
    return Job(
        **{shape: typed.get(shape, "")},
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
    """Return the pots of a recipe for the job as the form has it.

    Parameters
    ----------
    recipe : Recipe
        With a schedule.
    typed : dict of str to str
        Fields by name.

    Returns
    -------
    Pot
        One pot a ratio.

    Raises
    ------
    DomainError
        If something is missing or cannot be read.
    """
    pairs = [p.strip() for p in typed.get("densities", "").split(",") if p.strip()]
    return pot_of(recipe, job_of(typed), densities=densities_of(pairs))


class PotPanel(Panel):
    """Works as it is typed; nothing needs to be pressed."""

    name = "pot"
    title = "The pot: what to pour"

    def build(self) -> Sequence[Any]:
        """Make the panel's widgets."""
        job = {**_START, **self.bench.work.job}
        self.shape = Choice(list(_SHAPES), texts=list(_SHAPES.values()), label="What is sprayed")
        self.by = Choice(list(_USES), texts=list(_USES.values()), label="What a coat takes, from")
        self.unit = Choice(list(UNITS), label="Unit of volume")
        for choice, name in ((self.shape, "shape"), (self.by, "by"), (self.unit, "unit")):
            if job.get(name) in choice.options:
                choice.value = job[name]
        self.fields = {
            name: TextField(label=label, help=help_, value=job.get(name, ""))
            for name, (label, help_) in _FIELDS.items()
        }
        self.cups = HtmlView(label="What is in the cup")
        self.view = HtmlView(live="polite", label="What to pour")
        for control in (self.shape, self.by, self.unit, *self.fields.values()):
            control.observe(self.safely(self._typed), "value")
        field = self.fields
        # Each takes its share of the line, so that none is left over on a line of its own.
        for control in (self.shape, self.unit, *field.values()):
            taking(control, "200px")
        taking(self.by, "300px")
        shapes = columns(self.shape, *(field[s] for s in _SHAPES), field["margin"])
        uses = columns(
            self.by, *(field[n] for n in ("dry_film", "solids", "used", "used_area", "used_coats"))
        )
        pots = columns(
            *(field[n] for n in ("chance", "residue", "gun_cup", "mark", "least")), self.unit
        )
        thirds = columns(*(field[n] for n in ("third", "pot_life", "coat_min", "rate")))
        more = columns(*(field[n] for n in ("densities", "bottle", "poured")))
        self._turn()
        return [self.cups, self.said, self.view, shapes, uses, pots, thirds, more]

    def _turn(self) -> None:
        for name in _SHAPES:
            hide(self.fields[name], name != self.shape.value)
        by_film = self.by.value == "film"
        for name in ("dry_film", "solids"):
            hide(self.fields[name], not by_film)
        for name in ("used", "used_area", "used_coats"):
            hide(self.fields[name], by_film)

    def _typed(self) -> None:
        job = {name: field.value for name, field in self.fields.items() if field.value.strip()}
        job |= {"shape": self.shape.value, "by": self.by.value, "unit": self.unit.value}
        others = {k: v for k, v in self.bench.work.job.items() if "." in k}
        self.bench.note(job={**others, **job})
        self._turn()
        self.draw()

    def draw(self) -> None:
        """Show the bench as it is now."""
        recipe = self.bench.work.recipe
        if recipe is None or recipe.schedule is None:
            self.cups.html = "<p>Choose a recipe first, under Suggestions or What if.</p>"
            self.view.html = ""
            self.said.tell("")
            return
        job = {**_START, **self.bench.work.job}
        ratios = dict.fromkeys(s.ratio for s in recipe.schedule.steps)
        cups = "".join(
            '<div style="flex:0 1 340px">'
            f"<p><strong>{esc(ratio)}: {esc(ratio.words)}</strong></p>"
            f"{cup_svg(ratio, colour=recipe.colour, width=280)}</div>"
            for ratio in ratios
        )
        self.cups.html = (
            f"<p>For <strong>{esc(recipe.words)}</strong>. In the cup, from the bottom up:</p>"
            f'<div class="cpw-figures">{cups}</div>'
        )
        lines: list[str] = []
        missing: list[str] = []
        try:
            pots = pots_of(recipe, job)
            lines += pots.words(self.unit.value).splitlines()
            shelf = stock_of(self.bench.session.archive)
            labour = labour_of(job_of(job))
            if shelf or labour is not None:
                lines += bill(pots, shelf, labour=labour).words(self.unit.value).splitlines()
        except MatchlibError as error:
            missing.append(str(error))
        try:
            lines += self._asides(recipe, job)
        except MatchlibError as error:
            missing.append(str(error))
        self.said.warn("\n".join(missing))
        items = "".join(f"<li>{esc(line)}</li>" for line in lines)
        warned = " ".join(c.first for c in cautions_at("mix"))
        self.view.html = (
            f"<h3>To pour</h3><ul>{items}</ul><p>Before you open a tin: {esc(warned)}</p>"
            if items
            else ""
        )

    def _asides(self, recipe: Recipe, job: dict[str, str]) -> list[str]:
        lines = []
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
            stated = draft_panel(code="pot", recipe=recipe, poured=(carrier, colour)).stated
            if stated is not None:
                lines.append(f"{stated.text[:1].upper()}{stated.text[1:]}")
        return lines
