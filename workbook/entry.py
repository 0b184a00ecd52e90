"""The back of a panel as a form: typed, said back, drawn as a cup, questioned, kept.

A ratio that looks the wrong way round is asked about before anything is kept; the form never turns
it round by itself.
"""

from __future__ import annotations

import base64
import datetime as dt
import tempfile
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import ipywidgets as widgets  # type: ignore[import-untyped]  # it ships no types

from matchlib.domain import USUAL_OVERLAP, GunSetup, read_lots
from matchlib.errors import DomainError
from workbook.controls import (
    ButtonRow,
    CheckList,
    Choice,
    FileField,
    HtmlView,
    NumberField,
    TextField,
)
from workbook.cup import cup_svg
from workbook.desk import Desk, Said, Typed, flow, heading, offer
from workbook.figures import Raw, esc, swatch
from workbook.photo_intake import PhotoIntake
from workbook.session.photos_kept import keep_picture, picture_name

if TYPE_CHECKING:
    from matchlib.domain import Recipe
    from workbook.session import Draft, Forms
    from workbook.session.photos import Photographed

__all__ = ["EntryForm"]

_OTHER = "another, typed below"
_BARE = "no colour: a bare ground"
_SURE = "Right as written all the same"
_FORM = "panel's back"
_SETUP = ("tip", "pressure", "fan", "distance", "overlap")


class EntryForm:
    """A form for one new panel after another.

    Parameters
    ----------
    desk : Desk
        The archive it goes into.
    """

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self.code = TextField(label="Panel code", help="As on its back; a new one.")
        self.ground = Choice(label="Ground")
        self.ground_other = TextField(label="Another ground", help="A blend: silver 3 + black 1.")
        self.colour = Choice(label="Colour")
        self.colour_other = TextField(label="Another colour", help="A blend: teal 2 + violet 1.")
        self.ratio = TextField(label="Mix ratio", help="Carrier first: 6:1 is 6 parts carrier.")
        self.coats = NumberField(label="Coats", min=1, max=60)
        self.schedule = TextField(label="Or a schedule", help="For step-ups: 2@6:1 2@3:1.")
        self.clear = Choice(["yes", "no"], label="Clear coat", texts=["with clear coat", "none"])
        self.light = NumberField(label="L*", min=0, max=200)
        self.red = NumberField(label="a*", min=-200, max=200)
        self.yellow = NumberField(label="b*", min=-200, max=200)
        self.source = Choice(["spectrophotometer", "photo"], label="Read by")
        self.file = FileField(
            label="Or a file with its readings", accept=".csv,.txt,.cgats,.cxf,.xlsx"
        )
        today = dt.date.today().isoformat()
        self.date = TextField(label="Sprayed on", value=today, help="Year-month-day.")
        self.sprayer = TextField(label="Sprayer")
        self.lot = TextField(label="Lot of the colour")
        self.note = TextField(label="Note")
        self.customer = TextField(label="Customer", help="Left out of exports unless asked for.")
        self.warm = NumberField(label="Booth air", min=-20, max=70, unit="°C")
        self.damp = NumberField(label="Booth humidity", min=0, max=100, unit="%")
        self.batch = TextField(label="Batch of the ground")
        self.lots = TextField(label="Other lots", help="carrier: 12; honey: 4")
        self.gun = TextField(label="Gun")
        self.tip = NumberField(label="Tip", min=0.1, max=5, unit="mm")
        self.pressure = NumberField(label="Pressure", min=0.1, max=10, unit="bar")
        self.fan = NumberField(label="Fan", min=5, max=800, unit="mm")
        self.distance = NumberField(label="Distance", min=20, max=800, unit="mm")
        self.overlap = NumberField(label="Overlap", value=USUAL_OVERLAP, min=0, max=95, unit="%")
        self.clear_coats = NumberField(label="Coats of clear", min=0, max=10)
        self.drawer = TextField(label="Drawer")
        self.carrier = NumberField(label="Carrier poured", min=0, help="In one unit with the next.")
        self.poured = NumberField(label="Colour poured", min=0, help="Checked against the ratio.")
        self.sure = CheckList(options=[_SURE], label="Asked")
        self.back = HtmlView(live="polite", label="Said back")
        self.actions = ButtonRow(
            [
                {"name": "keep", "label": "Keep this panel", "primary": True},
                {"name": "turn", "label": "Turn the ratio round", "disabled": True},
                {"name": "label", "label": "Print its label", "disabled": True},
                {"name": "undo", "label": "Undo", "disabled": True},
            ],
            label="Panel",
        )
        self.said = Said("Entry form: message")
        self.paper = Choice(["A4", "Letter", "A5", "A6", "A7"], label="Label sheet")
        self.first = NumberField(label="First free label on the sheet", value=1, min=1, max=10)
        self.download = HtmlView(label="Label to print")
        self.photo = PhotoIntake()
        self._picture = b""  # of the panel being entered, small
        self._readings: tuple[Any, ...] = ()
        self._draft: Draft | None = None
        self._names()
        desk.on_change(self._names)
        desk.on_change(self._offer)
        for control in self._fields.values():
            control.observe(self._typed, "value")
        self.sure.observe(self._show, "value")
        self.file.on_file(self._take_file)
        self.photo.on_use(self._take_photo)
        self.actions.on_press(self._press)
        self.typed = Typed(_FORM, self._fields, {"readings": (self._file_out, self._file_in)})
        desk.on_sit(self._sat)
        self._typed()

    @property
    def _fields(self) -> dict[str, Any]:
        names = (
            *("code", "ground", "ground_other", "colour", "colour_other", "ratio", "coats"),
            *("schedule", "clear", "light", "red", "yellow", "source", "date", "sprayer", "lot"),
            *("note", "customer", "warm", "damp", "carrier", "poured"),
            *("batch", "lots", "gun", *_SETUP, "clear_coats", "drawer"),
        )
        return {name: getattr(self, name) for name in names}

    def _file_out(self) -> list[dict[str, Any]]:
        from matchlib.plain import to_plain

        return [to_plain(reading) for reading in self._readings]

    def _file_in(self, held: list[dict[str, Any]]) -> None:
        from matchlib.domain import Reading
        from matchlib.plain import from_plain

        self._readings = tuple(from_plain(Reading, plain) for plain in held)

    def _sat(self, forms: Forms) -> None:
        self.typed.sit(forms)
        self._offer()
        self._show()

    def _last(self) -> tuple[str, int] | None:
        """The panel kept last at this bench that is still as it was kept, and its change."""
        archive = self.desk.session.archive
        for step in reversed(self.desk.forms.done(_FORM)):
            code, number = str(step.get("code")), step.get("number")
            if number not in {c.undoes for c in archive.history(code)}:
                return code, int(number or 0)
            self.desk.forms.took_back(_FORM)  # undone elsewhere
        return None

    def _offer(self) -> None:
        on = self._last() is not None
        self.actions.enable("undo", on)
        self.actions.enable("label", on)

    @property
    def view(self) -> widgets.Widget:
        """The whole form."""
        form = widgets.VBox(
            [
                flow(self.code, self.date, self.sprayer, self.lot),
                flow(self.ground, self.ground_other, self.colour, self.colour_other),
                flow(self.ratio, self.coats, self.schedule, self.clear),
                heading("What was poured, if it was noted", level=4),
                flow(self.carrier, self.poured, self.warm, self.damp),
                heading("What repeats the card", level=4),
                flow(self.gun, *(getattr(self, n) for n in _SETUP), least=120),
                flow(self.batch, self.lots, self.clear_coats, self.drawer),
                heading("Its reading, if there is one yet", level=4),
                flow(self.light, self.red, self.yellow, self.source, least=150),
                flow(self.file, self.note, self.customer),
                self.photo.box,
                heading("Said back", level=4),
                self.back,
                self.sure,
                self.actions,
                self.said,
                flow(self.paper, self.first),
                self.download,
            ]
        )
        self.source.layout.flex = "1 1 230px"  # its longest word is seen whole
        return widgets.VBox(
            [heading("The back of a panel", "Type it in; it is read back before it is kept."), form]
        )

    def _names(self) -> None:
        archive = self.desk.session.archive
        offer(self.ground, [*map(str, archive.grounds()), _OTHER])
        offer(self.colour, [*map(str, archive.colours()), _OTHER, _BARE])

    # What was typed

    def _recipe(self) -> Recipe:
        from workbook.session import recipe_of

        other = self.ground.value == _OTHER
        ground = self.ground_other.value if other else self.ground.value
        colour = "" if self.colour.value == _BARE else self.colour.value
        if colour == _OTHER:
            colour = self.colour_other.value
            if not colour.strip():
                raise DomainError("The colour is not named yet.", remedy="type its name.")
        if not ground.strip():
            raise DomainError("The ground is not named yet.", remedy="type its name.")
        given = bool(colour)
        return recipe_of(
            ground=ground,
            colour=colour,
            schedule=self.schedule.value if given else "",
            ratio=self.ratio.value if given else "",
            coats=_whole(self.coats.value) if given else None,
            clear=self.clear.value,
        )

    def draft(self) -> Draft:
        """Return the panel as typed, with what should be asked.

        Returns
        -------
        Draft
            Not kept.

        Raises
        ------
        MatchlibError
            If something is missing or wrong.
        """
        from workbook.session import date_of, draft_panel

        lab = (self.light.value, self.red.value, self.yellow.value)
        given = [v for v in lab if v is not None]
        if given and len(given) < 3:
            raise DomainError(
                "The reading is not whole.",
                expected="L*, a* and b*, or none of them",
                got=f"{len(given)} of 3 numbers",
                remedy="type the rest, with a full stop as the decimal point.",
            )
        poured = (self.carrier.value, self.poured.value)
        both = poured if poured[0] is not None and poured[1] is not None else None
        return draft_panel(
            code=self.code.value,
            recipe=self._recipe(),
            lab=(given[0], given[1], given[2]) if given else None,
            source=self.source.value,
            readings=self._readings,
            date=date_of(self.date.value),
            sprayer=self.sprayer.value,
            lot=self.lot.value,
            note=self.note.value,
            customer=self.customer.value,
            temperature=self.warm.value,
            humidity=self.damp.value,
            batch=self.batch.value,
            drawer=self.drawer.value,
            lots=read_lots(self.lots.value),
            clear_coats=None if self.clear_coats.value is None else int(self.clear_coats.value),
            setup=GunSetup(self.gun.value, *(getattr(self, n).value for n in _SETUP)),
            poured=both,  # type: ignore[arg-type]  # neither is None here
        )

    def _typed(self, _: object = None) -> None:
        # An answer holds for what it was given to, not for what is typed afterwards.
        self.sure.value = []
        self._show()

    def _show(self, _: object = None) -> None:
        self.sure.layout.display = "none"
        self.actions.enable("turn", False)
        try:
            self._draft = draft = self.draft()
        except ValueError as error:
            self._draft = None
            self.back.html = f'<p class="cpw-muted">Not complete: {esc(error)}</p>'
            return
        turned = any(q.other is not None for q in draft.questions)
        if draft.doubtful:
            self.sure.layout.display = ""
            self.actions.enable("turn", turned and not self.schedule.value.strip())
        self.back.html = _picture(draft)

    # What is pressed

    def _press(self, name: str) -> None:
        with self.said.guard():
            {"keep": self.keep, "turn": self.turn, "label": self.label, "undo": self.undo}[name]()

    def keep(self) -> None:
        """Keep the panel, unless a question is open."""
        draft = self.draft()
        if draft.doubtful and not self.sure.value:
            asked = [q.text for q in draft.questions]
            asked += [draft.stated.text] if draft.stated and not draft.stated.agree else []
            raise DomainError(
                " ".join(asked), remedy=f"change it, or tick '{_SURE}'; nothing was kept"
            )
        result = self.desk.session.add([draft.panel], who=draft.panel.sprayer)
        code = draft.panel.code
        if self._picture:
            keep_picture(self.desk.session.archive, code, self._picture, who=draft.panel.sprayer)
        last = [c for c in self.desk.session.history(code) if c.action != "undone"][-1]
        self.desk.forms.did(_FORM, code=code, number=last.number)
        self._readings, self._picture = (), b""  # they were this panel's, not the next one's
        self.photo.clear()
        self.typed.done()
        self._show()
        self._offer()
        self.said.tell(f"{result.words} {code}: {draft.panel.recipe.words}.")
        self.desk.changed()

    def turn(self) -> None:
        """Write the ratio the other way round, as was asked."""
        draft = self.draft()
        other = next((q.other for q in draft.questions if q.other is not None), None)
        if other is not None:
            self.ratio.value = str(other)
            self.said.tell(f"The ratio is now {other}: {other.words}.")

    def undo(self) -> None:
        """Take back the panel kept last at this bench, be it before a restart."""
        last = self._last()
        if last is None:
            return
        code, number = last
        self.desk.forms.took_back(_FORM)
        try:
            self.desk.session.undo(number, who=self.sprayer.value, why="undone in the entry form")
        finally:
            self._offer()
        self.said.tell(f"{code} was put aside again; the history keeps both.")
        self.desk.changed()

    def label(self) -> None:
        """Make the label of the panel kept last."""
        last = self._last()
        if last is None:
            return
        code = last[0]
        with tempfile.TemporaryDirectory() as folder:
            file = self.desk.session.labels(
                [code],
                Path(folder) / "label.pdf",
                sheet=self.paper.value,
                first=_whole(self.first.value) or 1,
                cut_lines=True,
            )
            data = base64.b64encode(file.read_bytes()).decode("ascii")
        self.download.html = (
            f'<p><a download="label.pdf" href="data:application/pdf;base64,{data}">'
            f"Label of {esc(code)} (PDF, {esc(self.paper.value)})</a></p>"
        )
        self.said.tell(f"The label of {code} is ready below; print it at full size.")

    def _take_file(self, name: str, content: bytes) -> None:
        from matchlib.readings import read_target

        with self.said.guard(), tempfile.TemporaryDirectory() as folder:
            file = Path(folder) / Path(name).name
            file.write_bytes(content)
            self._readings = tuple(read_target(file))
            count = len(self._readings)
            self.said.tell(f"{count} reading{'s' * (count != 1)} taken from {file.name}.")
            self._typed()
            self.typed.changed()

    def _take_photo(self, done: list[Photographed]) -> None:
        (first, *_) = done
        if first.reading is not None:
            reading = first.reading.reading
            self._picture = first.picture
            self._readings = (replace(reading, picture=picture_name(first.picture)),)
            self.said.tell("The reading of the photograph is this panel's, until it is kept.")
            self._typed()
            self.typed.changed()


def _picture(draft: Draft) -> str:
    recipe = draft.panel.recipe
    lines = draft.text.splitlines()
    words = "".join(
        f'<p class="cpw-warn"><strong>{esc(line)}</strong></p>'
        if line.startswith("To ask")
        else f"<p>{esc(line)}</p>"
        for line in lines
    )
    if draft.stated is not None and not draft.stated.agree:
        words += '<p class="cpw-bad">The ratio and what was poured disagree.</p>'
    cups = []
    steps = () if recipe.schedule is None else recipe.schedule.steps
    for ratio in dict.fromkeys(step.ratio for step in steps):
        drawing = Raw(cup_svg(ratio, colour=recipe.colour))
        cups.append(
            f"<figure>{drawing}<figcaption>{esc(f'{ratio}: {ratio.words}')}</figcaption></figure>"
        )
    labs = [r.lab for r in draft.panel.readings if r.lab is not None]
    if labs:
        cups.append(swatch(labs[0], "Reading", size=110))
    return f"{words}<div class='cpw-figures'>{''.join(cups)}</div>"


def _whole(value: float | None) -> int | None:
    if value is None:
        return None
    if value != int(value):
        raise DomainError(
            "This is not a whole number.",
            expected="such as 4",
            got=f"{value:g}",
            remedy="count coats and labels whole.",
        )
    return int(value)
