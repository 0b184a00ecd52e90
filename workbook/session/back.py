"""The back of a panel as it is typed in: read, said back in words, questioned before it is kept."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, ClassVar

from matchlib.domain import (
    BEFORE_CLEAR,
    Panel,
    Reading,
    Recipe,
    day_of,
    lot_words,
    lots_text,
)
from matchlib.errors import DomainError
from matchlib.plain import recipe_cells

if TYPE_CHECKING:
    from matchlib.mixing import RatioQuestion, StatedCheck

__all__ = ["Draft", "air_words", "check_poured", "date_of", "draft_panel"]


@dataclass(frozen=True, slots=True)
class Draft:
    """A panel not yet kept, with what should be asked first.

    `questions`: ratios that look the wrong way round. `stated`: the written ratio beside the
    quantities that were poured.
    """

    SHOWN: ClassVar = (
        ("panel", "panel.code"),
        ("", lambda draft: recipe_cells(draft.panel.recipe)),
        ("words", "panel.recipe.words"),
        ("readings", lambda draft: len(draft.panel.readings)),
        *("questions", "stated"),
    )

    panel: Panel
    questions: tuple[RatioQuestion, ...] = ()
    stated: StatedCheck | None = None

    @property
    def doubtful(self) -> bool:
        """Whether something should be asked before the panel is kept."""
        return bool(self.questions) or (self.stated is not None and not self.stated.agree)

    @property
    def text(self) -> str:
        """The panel read back in words, with the questions."""
        panel = self.panel
        lines = [f"{panel.code}: {panel.recipe.words}."]
        back = [
            f"{name} {value}".strip()
            for name, value in (
                ("date", panel.date.isoformat() if panel.date else ""),
                ("sprayer", panel.sprayer),
                ("", lot_words(panel.lot)),
                ("lots", lots_text(panel.stages[-1].lots)),
                ("batch of the ground", panel.batch),
                ("booth", air_words(panel.temperature, panel.humidity)),
                ("sprayed with", panel.setup.words),
                ("coats of clear", str(panel.stages[-1].clear_coats or "")),
                ("drawer", panel.drawer),
                ("customer", panel.customer),
                ("note", panel.note),
            )
            if value
        ]
        if back:
            whole = "; ".join(back)
            lines.append(f"{whole[:1].upper()}{whole[1:]}.")
        lines += [_reading_words(reading) for reading in panel.readings] or ["No reading yet."]
        if self.stated is not None:
            lines.append(self.stated.text[0].upper() + self.stated.text[1:])
        lines += [f"Ask first: {q.text}" for q in self.questions]
        return "\n".join(lines)


def air_words(temperature: float | None, humidity: float | None) -> str:
    """Say the air of the booth; empty where it was not noted."""
    warm = "" if temperature is None else f"{temperature:g} °C"
    damp = "" if humidity is None else f"{humidity:g} %RH"
    return ", ".join(filter(None, (warm, damp)))


def date_of(text: str) -> dt.date | None:
    """Read the date on a back.

    `text`: year-month-day; may be left empty. Returned: None where nothing is written.
    """
    return day_of(text) if text.strip() else None


def draft_panel(
    *,
    code: str,
    recipe: Recipe,
    readings: tuple[Reading, ...] = (),
    before_clear: bool = False,
    poured: tuple[float, float] | None = None,
    **back: Any,
) -> Draft:
    """Make a panel of what was typed, and ask what should be asked.

    `before_clear`: whether its readings are from before the clear coat of its recipe. `poured`: as
    `check_poured` takes it. `**back`: what else is on it, as `Panel.of` takes it.
    """
    from matchlib.mixing import ratio_questions

    if before_clear:
        readings = tuple(replace(reading, state=BEFORE_CLEAR) for reading in readings)
    panel = Panel.of(code=code, recipe=recipe, readings=readings, **back)
    stated = None if poured is None else check_poured(recipe, poured)
    return Draft(panel, ratio_questions(step.ratio for step in recipe.steps), stated)


def check_poured(recipe: Recipe, poured: tuple[float, float]) -> StatedCheck:
    """Hold what was poured against a recipe's ratio.

    `poured`: carrier and colour, in one unit, carrier first.
    """
    from matchlib.mixing import check_stated

    steps = recipe.steps
    if len({step.ratio for step in steps}) != 1:
        raise DomainError(
            "Quantities can be compared with one ratio only.",
            expected="a recipe whose coats all have one ratio",
            got=str(recipe.schedule) if recipe.schedule else "a bare ground",
            remedy="leave the quantities out, or add each pot by itself.",
        )
    carrier, colour = poured
    return check_stated(steps[0].ratio, carrier=carrier, colour=colour)


def _reading_words(reading: Reading) -> str:
    if reading.lab is None:
        low, high = reading.wavelengths[0], reading.wavelengths[-1]
        what = f"a spectrum of {low:g} to {high:g} nm"
    else:
        what = "L {:.2f}, a {:.2f}, b {:.2f}".format(*reading.lab)
    state = f", {reading.state}" if reading.state else ""
    return f"Read by {reading.source}: {what} ({reading.viewing}{state})."
