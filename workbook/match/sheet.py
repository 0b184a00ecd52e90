"""Panel: the job sheet, made when the panel is opened."""

from __future__ import annotations

import base64
import datetime as dt
import re
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from matchlib.errors import MatchlibError
from workbook.controls import ButtonRow, Choice, HtmlView, TextField
from workbook.figures import esc
from workbook.match.parts import Panel, columns
from workbook.match.pot import pots_of
from workbook.session.looking import look_at
from workbook.session.sheet import sheet_of

__all__ = ["SheetPanel"]

_TEXTS = {
    "title": ("Heading", "Job sheet"),
    "customer": ("Customer", ""),
    "panel_code": ("Code of the panel to spray", ""),
}


class SheetPanel(Panel):
    """One press from anywhere: opening the panel makes the sheet."""

    name = "sheet"
    title = "Job sheet"

    def build(self) -> Sequence[Any]:
        """Make the panel's widgets."""
        job = self.bench.work.job
        self._made_for: Any = None
        self.fields = {
            name: TextField(label=label, value=job.get(f"sheet.{name}", usual))
            for name, (label, usual) in _TEXTS.items()
        }
        paper = job.get("sheet.paper", "A4")
        self.paper = Choice(
            ["A4", "Letter"], label="Paper", value=paper if paper in ("A4", "Letter") else "A4"
        )
        self.buttons = ButtonRow(
            [{"name": "make", "label": "Make the job sheet", "primary": True}], label="Job sheet"
        )
        self.buttons.on_press(self.safely(self._make))
        self.view = HtmlView(live="polite", label="The job sheet")
        for control in (*self.fields.values(), self.paper):
            control.observe(self.safely(self._typed), "value")
        return [columns(*self.fields.values(), self.paper), self.buttons, self.said, self.view]

    def _typed(self) -> None:
        job = {k: v for k, v in self.bench.work.job.items() if not k.startswith("sheet.")}
        job |= {f"sheet.{name}": field.value for name, field in self.fields.items()}
        self.bench.note(job={**job, "sheet.paper": self.paper.value})

    def draw(self) -> None:
        """Show the bench as it is now."""
        work = self.bench.work
        if work.recipe is None:
            self.view.html = "<p>Choose a recipe first, under Suggestions or What if.</p>"
            self.buttons.enable("make", False)
            return
        self.buttons.enable("make")
        if self._made_for != self._asked():
            self._make()

    def _asked(self) -> Any:
        work = self.bench.work
        return (work.recipe, work.readings, work.order, dict(work.weights), dict(work.job))

    def _make(self) -> None:
        bench, work = self.bench, self.bench.work
        recipe, viewing, paper = bench.need_recipe(), bench.viewing, self.paper.value
        asked = self._asked()
        words = {name: field.value.strip() for name, field in self.fields.items()}
        without = ""
        try:
            pot = pots_of(recipe, dict(work.job)) if recipe.schedule is not None else None
        except MatchlibError as error:
            pot = None
            without = f"Without quantities, for the pot is not filled in: {error.problem}"
        model, panels = bench.need_model(), bench.session.archive.panels()

        def work_on() -> bytes:
            from workbook.jobsheet import jobsheet_pdf

            sheet = sheet_of(
                model,
                recipe,
                target=work.aim,
                target_name=work.target_name,
                tolerance=work.order,
                pot=pot,
                panels=panels,
                title=words["title"] or "Job sheet",
                customer=words["customer"],
                panel_code=words["panel_code"],
                unit=work.job.get("unit", "ml"),
            )
            look = look_at(
                model,
                recipe,
                target=work.readings or None,
                aim=work.aim,
                viewing=viewing,
                panels=panels,
            )
            sheet = replace(
                sheet, evenness=look.evenness, metamerism=look.metamerism, date=dt.date.today()
            )
            return jobsheet_pdf(sheet, paper=paper)

        def then(data: bytes) -> None:
            self._made_for = asked
            self._drawn(data, words, without)

        self.task.start("Printing the job sheet", work_on, then)

    def _drawn(self, data: bytes, words: dict[str, str], without: str) -> None:
        named = words["panel_code"] or f"{words['title'] or 'job'} {dt.date.today().isoformat()}"
        name = re.sub(r"[^\w.-]+", "-", named).strip("-.")[:80] or "job-sheet"
        place = self._kept(name, data)
        where = (
            f"It is also kept as {place}."
            if place is not None
            else "It could not be kept beside the archive; download it."
        )
        link = base64.b64encode(data).decode("ascii")
        self.view.html = (
            f"<p>The job sheet is ready, {len(data) / 1000:.0f} kB, {esc(self.paper.value)}.</p>"
            f'<p><a href="data:application/pdf;base64,{link}" download="{esc(name)}.pdf">'
            f"Download {esc(name)}.pdf</a></p><p>{esc(where)}</p>"
            + (f"<p>{esc(without)}</p>" if without else "")
        )

    def _kept(self, name: str, data: bytes) -> Path | None:
        from matchlib.readings.writing import save_bytes

        folder = self.bench.folder
        if folder is None:
            return None
        place = folder / "job sheets" / f"{name}.pdf"
        try:
            place.parent.mkdir(exist_ok=True)
            save_bytes(data, place)
        except (OSError, MatchlibError):
            return None
        return place
