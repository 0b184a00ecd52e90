"""A card of the library looked at: its stages, its log, its photographs; and matched anew."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from matchlib.colorimetry.lab import lab_of_reading
from matchlib.domain import lot_words, lots_text
from matchlib.errors import MatchlibError, TargetError
from matchlib.overview import card_lab
from workbook.session.targets import last_tried

if TYPE_CHECKING:
    from matchlib.archive import Archive
    from matchlib.domain import Lab, LoggedCoat, Panel, Stage
    from matchlib.job import Job
    from matchlib.regression import FilmPredictor

__all__ = ["CardLook", "look_at_card", "match_card"]

_APART = 3.0  # ΔE00 from which on a back is worth a second look (common practice, no source)


@dataclass(frozen=True, slots=True)
class CardLook:
    """A card as it is shown.

    `lab`: how it reads now. `back`: what is written on its back beside the recipe, a line each.
    `log`: stage by stage: what was sprayed and read, and what was noted of each coat. `pictures`:
    photographs kept with it, small: name and JPEG. `jobs`: for which it was sprayed. `coats`:
    CIELAB of the bare ground and after each coat, by the law; empty without a model. `trust`: how
    far law and reading are apart, in words; empty where that is not known.
    """

    panel: Panel
    lab: Lab | None
    back: tuple[str, ...]
    log: tuple[str, ...]
    pictures: tuple[tuple[str, bytes], ...]
    jobs: tuple[Job, ...]
    coats: tuple[Lab, ...] = ()
    trust: str = ""


def look_at_card(archive: Archive, code: str, model: FilmPredictor | None = None) -> CardLook:
    """Gather what there is of a card."""
    panel = archive.panel(code)
    pictures = tuple(
        (a.name, a.data) for a in archive.attachments(panel.code) if a.name.endswith(".jpg")
    )
    jobs = tuple(j for j in archive.jobs() if panel.code in j.panels)
    coats, trust = _by_law(panel, model)
    return CardLook(panel, card_lab(panel), _back(panel), _log(panel), pictures, jobs, coats, trust)


def _by_law(panel: Panel, model: FilmPredictor | None) -> tuple[tuple[Lab, ...], str]:
    from matchlib.domain import three
    from matchlib.overview import panel_residuals

    if model is None:
        return (), ""
    try:
        found = panel_residuals(model, [panel])
        labs = model.predict_recipes(panel.recipe.coat_by_coat(), model.usual_view)
    except MatchlibError:
        return (), ""  # a name that the model has not met says nothing of the others
    off = found[0].difference if found else None
    trust = "" if off is None else f"prediction and reading agree within ΔE00 {off:.1f}"
    if off is not None and off > _APART:
        trust = f"prediction and reading are ΔE00 {off:.1f} apart: look at its back"
    return tuple(three(lab) for lab in labs), trust


def _back(panel: Panel) -> tuple[str, ...]:
    day = f"{panel.date:%d %B %Y}".lstrip("0") if panel.date else ""
    sprayed = " ".join(
        (f"on {day}" if day else "", f"by {panel.sprayer}" if panel.sprayer else "")
    ).strip()
    climate = [f"{panel.temperature:g} °C"] if panel.temperature is not None else []
    climate += [f"{panel.humidity:g} % humidity"] if panel.humidity is not None else []
    rows = [
        f"sprayed {sprayed}" if sprayed else "",
        lot_words(panel.lot),
        f"other lots: {lots_text(panel.stages[-1].lots)}" if panel.stages[-1].lots else "",
        f"batch of the ground {panel.batch}" if panel.batch else "",
        ", ".join(climate),
        panel.setup.words,
        f"drawer {panel.drawer}" if panel.drawer else "",
        f"customer {panel.customer}" if panel.customer else "",
        panel.note,
        *(f"{name}: {value}" for name, value in panel.extra),
    ]
    return tuple(row for row in rows if row)


def _log(panel: Panel) -> tuple[str, ...]:
    rows = []
    for number, stage in enumerate(panel.stages, 1):
        of = f"Stage {number}: " if len(panel.stages) > 1 else ""
        rows.append(f"{of}{stage.recipe.words}.")
        rows += [_coat_words(entry) for entry in stage.log]
        rows += _reading_lines(stage)
    return tuple(rows)


def _coat_words(entry: LoggedCoat) -> str:
    at = entry.at and f"{entry.at:%H:%M}"
    said = (f"Coat {entry.coat}", at, entry.ratio, entry.sprayer, lot_words(entry.lot))
    return ", ".join(str(value) for value in said if value)


def _reading_lines(stage: Stage) -> list[str]:
    rows = []
    for reading in stage.readings:
        lab = "L* {:.1f} a* {:.1f} b* {:.1f}".format(*lab_of_reading(reading))
        kind = ", a spectrum" if reading.spectral else ""
        when = f", {reading.state}" if reading.state else ""
        rows.append(f"Read by {reading.source}: {lab}{kind} ({reading.viewing}{when})")
    return rows or ["Not read yet."]


def match_card(archive: Archive, code: str) -> Job:
    """Begin a job with a card as its target."""
    from matchlib.job import Job

    panel = archive.panel(code)
    if not panel.readings:
        raise TargetError(
            f"{panel.code} was never read, so it cannot be matched.",
            expected="a reading of the card as it is now",
            got="none",
            remedy="read it, and write the reading on its back.",
        )
    readings = last_tried(panel)[1]
    job = Job(f"like {panel.code}", customer=panel.customer).aimed(readings)
    return archive.keep_job(job, why=f"to match {panel.code}")
