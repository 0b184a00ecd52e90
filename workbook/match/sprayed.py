"""Panel: a test panel was sprayed and read; what to change now."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from matchlib.errors import TargetError
from matchlib.forecast import angles_of
from matchlib.tails import chance_words
from workbook.controls import ButtonRow, FileField, HtmlView, NumberField, TextField
from workbook.desk import Typed
from workbook.figures import esc, number, swatch_pair, table
from workbook.match.angles import AngleReadings, angle_table
from workbook.match.keeping import Tried
from workbook.match.parts import Panel, columns
from workbook.match.target import lab_or_file
from workbook.session import draft_panel, lab_of, reading_of_lab

if TYPE_CHECKING:
    from matchlib.correction import Advice, Scored
    from matchlib.domain import Reading

__all__ = ["SprayedPanel"]

_WHO = "match notebook"
_MOST_OFFERED = 4


class SprayedPanel(Panel):
    """Takes the reading, corrects, offers the changes."""

    name = "sprayed"
    title = "I sprayed this: what to change"

    def build(self) -> Sequence[Any]:
        """Make the panel's widgets."""
        self._offered: list[Scored] = []
        self._advised_for: Any = None
        self.chosen = HtmlView(label="What was to be sprayed")
        self.code = TextField(label="Code on the panel's back")
        self.light, self.red, self.yellow = (
            NumberField(label=label, min=low, max=high)
            for label, low, high in (
                ("Read L*", 0, 100),
                ("Read a*", -128, 128),
                ("Read b*", -128, 128),
            )
        )
        self.others = AngleReadings(lambda: self.typed.changed())  # noqa: PLW0108 made below
        self.typed = Typed(
            "sprayed",
            {"code": self.code, "L*": self.light, "a*": self.red, "b*": self.yellow},
            {"angles": (self.others.typed, self.others.fill)},
        )
        self.typed.sit(self.bench.forms)
        self.file = FileField(
            label="Or the instrument's file", accept=".csv,.tsv,.txt,.xlsx,.cgats,.cxf,.xml"
        )
        self.file.on_file(self.safely(self._file))
        self.buttons = ButtonRow(
            [
                {"name": "sprayed", "label": "I sprayed this", "primary": True},
                {"name": "keep", "label": "Keep these panels in the archive"},
                {"name": "forget", "label": "Begin again with this target"},
            ],
            label="The panel just sprayed",
        )
        self.buttons.on_press(lambda name: self.safely(getattr(self, f"_{name}"))())
        self.view = HtmlView(live="polite", label="What to change")
        self.view.on_press(lambda name: self.safely(lambda: self._take(name))())
        return [
            self.chosen,
            # The three numbers stay together where the screen has no room for four fields.
            columns(self.code, columns(self.light, self.red, self.yellow)),
            self.others.box,
            self.file,
            self.buttons,
            self.said,
            self.view,
        ]

    # Taking the reading

    def _sprayed(self) -> None:
        values = [self.light.value, self.red.value, self.yellow.value]
        if any(v is None for v in values):
            raise TargetError(
                "The panel's reading is not whole.",
                expected="numbers for L*, a* and b*",
                got=", ".join("nothing" if v is None else f"{v:g}" for v in values),
                remedy="read the panel, or choose the instrument's file.",
            )
        lab = [float(v) for v in values if v is not None]
        self._add((reading_of_lab(lab, self.bench.viewing), *self.others.readings()))

    def _file(self) -> None:
        path = lab_or_file(self.file.name, self.file.content)
        try:
            readings = self.bench.session.angles_of_file(path)
        finally:
            path.unlink()
            path.parent.rmdir()
        self._add(readings)

    def _add(self, readings: Sequence[Reading]) -> None:
        self.bench.need_target()
        recipe, work = self.bench.need_recipe(), self.bench.work
        code = self.code.value.strip() or self._next_code()
        # Refused here, not when it is kept.
        draft_panel(code=code, recipe=recipe, readings=tuple(readings))
        lack = [v.viewing.geometry for v in work.readings]
        lack = [g for g in lack if g not in {r.viewing.geometry for r in readings}]
        if len(work.readings) > 1 and lack:
            raise TargetError(
                f"The panel was not read at {' and '.join(lack)}.",
                expected="a reading at every angle of the target",
                got=", ".join(r.viewing.geometry for r in readings),
                remedy="read the panel at the target's other angles too.",
            )
        if code in {t.code for t in work.tried}:
            raise TargetError(
                f"A panel {code} was already sprayed for this target.",
                remedy="give this one its own code.",
            )
        first, *more = readings
        fresh = Tried(code, recipe, first, more=tuple(more))
        self.bench.change(f"panel {code}", tried=(*work.tried, fresh))
        self.code.value = ""
        self.light.value = self.red.value = self.yellow.value = None
        self.others.clear()
        self.typed.done()

    def _next_code(self) -> str:
        known = {p.code for p in self.bench.session.archive.panels(include_deleted=True)}
        known |= {t.code for t in self.bench.work.tried}
        day = dt.date.today().isoformat()
        return next(c for k in range(1, 10_000) if (c := f"{day} {k}") not in known)

    def _forget(self) -> None:
        self.bench.change("the panels sprayed", tried=())
        self.said.tell("Forgotten; panels kept in the archive stay there.")

    def _keep(self) -> None:
        """Keep what was sprayed in the archive, oldest first."""
        session, before = self.bench.session, self.bench.work.tried
        fresh = [t for t in before if not t.kept]
        if not fresh:
            raise TargetError("There is no new panel to keep.", remedy="spray and read one first.")
        taken = [t.code for t in fresh if t.code in {p.code for p in session.archive.panels()}]
        if taken:
            raise TargetError(
                f"The archive already has a panel {taken[0]}.",
                remedy="begin again and give the panel its own code.",
            )
        today = dt.date.today()
        panels = [
            draft_panel(code=t.code, recipe=t.recipe, readings=t.readings, date=today).panel
            for t in fresh
        ]
        earlier = len(session.history())
        session.add(panels, who=_WHO)
        numbers = [c.number for c in session.history()[earlier:]]
        self.bench.kept_panels("keeping panels in the archive", numbers, [t.code for t in fresh])
        names = ", ".join(t.code for t in fresh)
        self.said.tell(f"Kept in the archive: {names}.")

    # Showing

    def draw(self) -> None:
        """Show the bench as it is now."""
        work = self.bench.work
        self.others.show([r.viewing for r in work.angles])
        where = self.bench.where_first
        for control, axis in ((self.light, "L*"), (self.red, "a*"), (self.yellow, "b*")):
            control.label = f"Read {axis}{where}"
        self.buttons.enable("sprayed", work.recipe is not None and work.target is not None)
        self.buttons.enable("keep", any(not t.kept for t in work.tried))
        self.buttons.enable("forget", bool(work.tried))
        if work.target is None:
            self.chosen.html = "<p>Choose a target first, under Target.</p>"
        elif work.recipe is None:
            self.chosen.html = "<p>Choose a recipe first, under Suggestions or What if.</p>"
        else:
            self.chosen.html = (
                f"<p>Chosen to be sprayed: <strong>{esc(work.recipe.words)}</strong></p>"
            )
        if not work.tried or work.target is None:
            self.view.html, self._advised_for = "", None
            return
        shelf = self.bench.session.shelf()
        asked = (work.aim, work.tried, shelf)
        if asked != self._advised_for:
            self._advise(asked)

    def _advise(self, asked: Any) -> None:
        session, work, aim = self.bench.session, self.bench.work, self.bench.need_aim()
        limits = self.bench.limits()
        # Kept panels come before fresh ones, for keeping always takes all that are there.
        codes = [t.code for t in work.tried if t.kept]
        fresh = [(t.recipe, t.readings) for t in work.tried if not t.kept]

        def think() -> Advice:
            return session.correct(
                aim, codes=codes, sprayed=fresh, limits=limits, step=self.task.step
            )

        def then(advice: Advice) -> None:
            self._advised_for = asked
            self._drawn(advice)

        self.task.start("Learning from the panel just sprayed", think, then)

    def _drawn(self, advice: Advice) -> None:
        work, target = self.bench.work, self.bench.need_target()
        last, where = work.tried[-1], self.bench.where_first
        pair = swatch_pair(
            target,
            lab_of(last.at(self.bench.viewing.geometry)),
            names=(f"Target{where}", f"Panel {last.code}{where}"),
            judge=work.order,
            width=346,
            height=150,
        )
        words = "".join(f"<p>{esc(line)}</p>" for line in advice.words.splitlines())
        passes = advice.rescue.state == "passes"
        self._offered = []
        tables = ""
        if not passes:
            for title, found in (
                ("Save this panel: coats on top of it", advice.rescue.options),
                ("Spray a fresh panel: small changes", advice.changes),
                ("Spray a fresh panel: other recipes", advice.fresh),
            ):
                tables += self._table(title, found)
        history = [
            (
                t.code,
                str(t.recipe),
                reading.viewing.geometry,
                *(number(v) for v in lab_of(reading)),
                "yes" if t.kept else "no",
            )
            for t in work.tried
            for reading in t.readings
        ]
        heads = ["panel", "recipe", "angle", "L*", "a*", "b*", "in the archive"]
        aim = work.aim
        if aim is not None and len(aim.aims) > 1:
            labs = [advice.last.views[i].lab for i in advice.goal.places(advice.last)]
            caption = f"Panel {last.code} at each angle"
            words += angle_table(angles_of(aim, labs), aim.tolerance, caption=caption, what="read")
        sprayed = table(heads, history, caption="Sprayed for this target", right=["L*", "a*", "b*"])
        self.view.html = (
            f'<div class="cpw-figures">{pair}<div style="flex:1 1 320px;max-width:560px">{words}'
            f"</div></div>{tables}{sprayed}"
        )

    def _table(self, title: str, found: Sequence[Scored]) -> str:
        rows = []
        for scored in found[:_MOST_OFFERED]:
            k = len(self._offered)
            self._offered.append(scored)
            words = scored.words[:1].upper() + scored.words[1:]
            press = _press(k, words)
            rows.append(
                (words, chance_words(scored.probability), number(scored.difference, 2), press)
            )
        if not rows:
            return ""
        unit = self.bench.work.order.unit
        heads = ["what to do", "chance", unit, "then"]
        return str(table(heads, rows, caption=title, right=["chance", unit]))

    def _take(self, name: str) -> None:
        act, _, k = name.partition(":")
        if act != "take" or not k.isdigit() or int(k) >= len(self._offered):
            return
        recipe = self._offered[int(k)].recipe
        self.bench.change("the chosen recipe", recipe=recipe)
        self.said.tell(f"Chosen: {recipe.words}.")


def _press(k: int, words: str) -> Any:
    from workbook.figures import Raw

    return Raw(
        f'<button data-press="take:{k}" style="white-space:nowrap" '
        f'aria-label="{esc(f"Use this: {words}")}">Use this</button>'
    )
