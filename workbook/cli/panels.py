"""Commands that look at what is in the archive: panels, one panel, coverage, repeatability."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Any

import click

from workbook.cli.common import ArchiveOptions, show, show_json
from workbook.cli.options import Argument, Option
from workbook.cli.printing import csv_text, number, table
from workbook.cli.wanted import tell_fit

if TYPE_CHECKING:
    from matchlib.domain import LoggedCoat, Panel, Reading, Stage
    from matchlib.domain.blend import Blend
    from workbook.session import Session

__all__: list[str] = []

_SORTS = ("code", "date", "ground", "colour", "coats", "strength", "L")
_COLUMNS = (
    *("panel", "stages", "ground", "colour", "schedule", "clear", "date", "sprayer", "lot"),
    *("customer", "readings", "L", "a", "b"),
)


@dataclass(frozen=True, slots=True)
class FilterOptions:
    """Which panels are listed.

    `ground`, `colour`, `sprayer`, `lot`, `customer`: names in any capitals; a blend is found by
    each of its parts, and as a whole. `since`, `until`: days of spraying. `unread`: only those that
    were never read.
    """

    ground: Annotated[str, Option(help="On this ground, or a blend with it.")] = ""
    colour: Annotated[str, Option(help="Of this colour, or a blend with it.")] = ""
    sprayer: Annotated[str, Option(help="By whom.")] = ""
    lot: Annotated[str, Option(help="Of this lot of the colour.")] = ""
    customer: Annotated[str, Option(help="Part of the customer's name.")] = ""
    since: Annotated[str, Option(help="Sprayed on this day or later.")] = ""
    until: Annotated[str, Option(help="Sprayed on this day or before.")] = ""
    unread: Annotated[bool, Option(help="Only those never read.")] = False

    def chosen(self, panels: tuple[Panel, ...]) -> list[Panel]:
        """Return the panels that suit."""
        from matchlib.domain import Colour, Ground, name_key
        from workbook.session.back import date_of

        since, until = date_of(self.since), date_of(self.until)
        ground, colour = _sought(self.ground, Ground), _sought(self.colour, Colour)

        def suits(panel: Panel) -> bool:
            recipes = [stage.recipe for stage in panel.stages]
            grounds = {key for r in recipes for key in (r.ground, *r.ground.shares)}
            colours = {key for r in recipes for c in r.colours for key in (c, *c.shares)}
            # Two painters in turn: each coat that was noted has its own.
            coats: list[Stage | LoggedCoat] = [*panel.stages]
            coats += [entry for stage in panel.stages for entry in stage.log]
            sprayers = {name_key(one.sprayer) for one in coats}
            lots = {name_key(one.lot) for one in coats}
            named = (
                (ground, grounds),
                (colour, colours),
                (name_key(self.sprayer), sprayers),
                (name_key(self.lot), lots),
            )
            return (
                all(not sought or sought in keys for sought, keys in named)
                and name_key(self.customer) in name_key(panel.customer)
                and (since is None or (panel.date is not None and panel.date >= since))
                and (until is None or (panel.date is not None and panel.date <= until))
                and not (self.unread and any(stage.readings for stage in panel.stages))
            )

        return [panel for panel in panels if suits(panel)]


def _sought(text: str, kind: type[Blend]) -> Blend | str:
    """A blend that is sought as a whole, or the key of a name that may be a part of one."""
    from matchlib.domain import name_key

    return kind.parse(text) if "+" in text else name_key(text)


def _panels(
    *,
    which: FilterOptions,
    sort: Annotated[
        str, Option(help=f"By {', '.join(_SORTS)}; as they came without.", metavar="COLUMN")
    ] = "",
    csv_: Annotated[bool, Option(help="Print the list as CSV.")] = False,
    asked: ArchiveOptions,
) -> None:
    """List the panels of the archive, as each stands now."""
    if sort and sort not in _SORTS:
        raise click.BadParameter(f"sort by {', '.join(_SORTS)}, not {sort!r}")
    if csv_ and asked.json_:
        raise click.BadParameter("give --csv or --json, not both")
    with asked.opened() as session:
        chosen = which.chosen(session.archive.panels())
    rows = [_row(panel) for panel in chosen]
    if sort:
        order = [_sort_key(panel, row, sort) for panel, row in zip(chosen, rows, strict=True)]
        rows = [row for _, row in sorted(zip(order, rows, strict=True), key=lambda pair: pair[0])]
    if asked.json_:
        show_json(rows)
    elif csv_:
        show(csv_text(_COLUMNS, rows))
    elif rows:
        shown = [n for n in _COLUMNS if any(row[n] not in ("", None) for row in rows)]
        cells = [
            tuple(number(v) if isinstance(v := row[n], float) else str(v or "") for n in shown)
            for row in rows
        ]
        show(table(shown, cells, right="".join("r" if n in "Lab" else " " for n in shown)))
    else:
        show("No such panel.")


def _row(panel: Panel) -> dict[str, Any]:
    recipe = panel.recipe
    last = panel.stages[-1].last_read
    lab = _lab(last[-1]) if last else (None, None, None)
    return {
        "panel": panel.code,
        "stages": len(panel.stages),
        **recipe.cells,
        "colour": " then ".join(map(str, recipe.colours)),
        "date": panel.date.isoformat() if panel.date else "",
        "sprayer": panel.sprayer,
        "lot": panel.lot,
        "customer": panel.customer,
        "readings": panel.times_read,
        **dict(zip("Lab", lab, strict=True)),
    }


def _sort_key(panel: Panel, row: dict[str, Any], by: str) -> tuple[Any, ...]:
    value: Any = {
        "code": panel.code.casefold(),
        "coats": panel.recipe.coats,
        "strength": panel.recipe.strength,
    }.get(by, row.get(by))
    missing = value in (None, "")
    return (missing, 0 if missing else value, panel.code)


def _lab(reading: Reading) -> tuple[float, float, float]:
    from matchlib.colorimetry.lab import lab_of_reading

    light, red, yellow = (round(v, 3) for v in lab_of_reading(reading))
    return light, red, yellow


def _panel(
    *,
    code: Annotated[str, Argument(help="Code of the panel.")],
    asked: ArchiveOptions,
) -> None:
    """Show one panel: its back, its stages coat by coat, its readings, what the model says of it.

    Beside each reading stands how far it is from what the model expects of its recipe. Trust is
    how far the fit follows the back: near 0 where the reading and the back contradict each other.
    """
    from matchlib.errors import FitError

    with asked.opened() as session:
        panel = session.archive.panel(code)
        gone = panel.code not in {p.code for p in session.archive.panels()}
        jobs = [j.number for j in session.archive.jobs() if panel.code in j.panels]
        try:
            tell_fit(session)
            rows, trust = _expected(session, panel)
        except FitError:
            rows, trust = [], None
    if asked.json_:
        from matchlib.plain import to_plain

        show_json(
            {**to_plain(panel), "removed": gone, "jobs": jobs, "predicted": rows, "trust": trust}
        )
        return
    lines = [f"Panel {panel.code}: {panel.recipe.words}" + (" (removed)" if gone else "")]
    for what in ("batch", "customer", "note", "drawer"):
        if getattr(panel, what):
            lines.append(f"{what.capitalize()}: {getattr(panel, what)}")
    lines += [f"{name}: {value}" for name, value in panel.extra]
    lines += [f"Sprayed for job {', '.join(map(str, jobs))}"] if jobs else []
    before = None
    away = {(row["stage"], row["place"]): row["delta_e00"] for row in rows}
    for nth, stage in enumerate(panel.stages, 1):
        lines += _stage_lines(nth, stage, before, away)
        before = stage
    if trust is not None:
        lines.append(f"Trust in its back: {trust:.0%}")
    show("\n".join(lines))


def _expected(session: Session, panel: Panel) -> tuple[list[dict[str, Any]], float | None]:
    """What the model expects of each reading, by stage and place; and its trust in the panel."""
    from matchlib.colorimetry import delta_e00
    from matchlib.errors import MatchlibError

    found = []
    for nth, stage in enumerate(panel.stages, 1):
        for place, reading in enumerate(stage.readings):
            recipe = stage.recipe_at(reading)
            try:
                lab = session.model.predict_recipes([recipe], reading.viewing)[0]
            except MatchlibError:
                continue  # a panel that was removed may name what no other panel shows
            away = round(float(delta_e00(_lab(reading), lab)), 3)
            expected = [round(float(v), 3) for v in lab]
            found.append({"stage": nth, "place": place, "expected": expected, "delta_e00": away})
    trust = session.model.trust_.get(panel.code)
    return found, None if trust is None else round(trust, 3)


def _stage_lines(
    nth: int, stage: Stage, before: Stage | None, away: dict[tuple[int, int], float]
) -> list[str]:
    from matchlib.domain import lot_words, lots_text
    from matchlib.plural import counted
    from workbook.session.back import air_words

    clears = stage.clear_coats
    added = stage.recipe if before is None else stage.recipe.after(before.recipe)
    what = "cleared" if added is None else added.words
    facts = [stage.date.isoformat() if stage.date else "", stage.sprayer]
    facts += [lot_words(stage.lot), lots_text(stage.lots)]
    facts += [air_words(stage.temperature, stage.humidity)]
    facts += [stage.setup.words, "" if clears is None else f"{counted(clears, 'coat')} of clear"]
    where = ", ".join(t for t in facts if t)
    lines = [f"Stage {nth}: {what}" + (f" ({where})" if where else "")]
    for coat in stage.log:
        parts = [coat.at.isoformat(sep=" ", timespec="minutes") if coat.at else ""]
        parts += [str(coat.ratio or ""), coat.sprayer, lot_words(coat.lot)]
        parts += [air_words(coat.temperature, coat.humidity)]
        lines.append(f"  coat {coat.coat}: " + ", ".join(p for p in parts if p))
    for place, reading in enumerate(stage.readings):
        light, red, yellow = _lab(reading)
        how = [str(reading.viewing), reading.source, reading.instrument, reading.state]
        how += [reading.date.isoformat()] if reading.date else []
        far = away.get((nth, place))
        lines.append(
            f"  read L {light:g}, a {red:g}, b {yellow:g} ({', '.join(s for s in how if s)})"
            + ("" if far is None else f"; ΔE00 {far:.2f} from what its recipe should read")
        )
    return lines


def _coverage(
    *,
    colour: Annotated[str, Option(help="Count strengths of this colour only.")] = "",
    asked: ArchiveOptions,
) -> None:
    """Count what was sprayed over what, how strong, and what never was."""
    from matchlib.overview import BANDS, coverage

    with asked.opened() as session:
        panels = session.archive.panels()
    found = coverage(panels)
    grounds = [str(g) for g in found.grounds]
    bands = [name for name, _ in BANDS]
    counts = (
        ("by strength", bands, found.by_strength(colour or None).tolist()),
        ("by colour", [str(c) for c in found.colours], found.by_colour.tolist()),
    )
    if asked.json_:
        show_json(
            {
                "panels": len(panels),
                "readings": sum(p.times_read for p in panels),
                "never": list(found.never),
                **{
                    what.replace(" ", "_"): [
                        {"ground": g, **dict(zip(names, row, strict=True))}
                        for g, row in zip(grounds, rows, strict=True)
                    ]
                    for what, names, rows in counts
                },
            }
        )
        return
    for what, names, rows in counts:
        cells = [
            (ground, *(str(n or "") for n in row))
            for ground, row in zip(grounds, rows, strict=True)
        ]
        show(table((f"panels {what}", *names), cells, right=" " + "r" * len(names)) + "\n")
    never = ", ".join(found.never)
    every = "Every neat pair was sprayed." if found.colours else "No panel has colour on it yet."
    show(f"Never sprayed: {never}." if never else every)


def _repeatability(*, asked: ArchiveOptions) -> None:
    """Say how well the shop repeats itself: by reading, panel, sprayer and lot; and the floor."""
    from matchlib.validation import repeatability

    with asked.opened() as session:
        tell_fit(session)
        found = repeatability(session.archive.panels(), session.model)
    asked.answer(found, "\n".join([*(c.words for c in found.components), found.words]))
