"""Photographs chosen, marked, read and confirmed: the part of a page where a picture comes in."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import ipywidgets as w

from matchlib.errors import FileError
from workbook.controls import ButtonRow, CheckList, FileField, HtmlView, Progress
from workbook.desk import Said, Task
from workbook.figures import esc
from workbook.photo_marks import PhotoMarks

if TYPE_CHECKING:
    from workbook.session.photos import Photographed, Shot

__all__ = ["PICTURES", "PhotoIntake"]

PICTURES = ".jpg,.jpeg,.heic,.heif,.webp,.png,.tif,.tiff,.dng"
"""Endings of what is read as a photograph."""
_TICKS = {
    "matt": "The panel is matt: no clear coat",
    "surfaces": "Chart and panel lie on different surfaces",
    "linear": "This is a linear picture (proportional to light)",
}


class PhotoIntake:
    """A part of a page: photographs of one panel, or of several with their codes.

    Parameters
    ----------
    coded : bool
        Whether a photograph may show several panels, each with its code.
    """

    def __init__(self, *, coded: bool = False) -> None:
        self.file = FileField(
            label="Photograph with a colour chart",
            accept=PICTURES,
            most_bytes=120_000_000,
            help="Two or three of the same panel, turned between them, tell paint from gloss: "
            "choose them one after the other.",
        )
        self.ticks = CheckList(
            options=list(_TICKS), texts=list(_TICKS.values()), label="What is so"
        )
        self.marks = PhotoMarks(coded=coded)
        self.said = Said("Photograph: message", live="assertive")
        self.view = HtmlView(label="What the photographs say", live="polite")
        self.actions = ButtonRow(
            [
                {"name": "use", "label": "Use this reading", "primary": True, "disabled": True},
                {"name": "read", "label": "Read as marked", "disabled": True},
                {"name": "drop", "label": "Start again", "disabled": True},
            ],
            label="Photographs",
        )
        self.busy = Progress(label="Reading the photograph")
        self.task = Task(self.busy, self.said.complain)
        self.shots: list[Shot] = []
        self.found: list[Photographed] = []
        self._size = (1, 1)
        self._shown: object = None  # content of the photograph that is on the page
        self._waiting: list[Callable[[list[Photographed]], object]] = []
        self.file.on_file(self._took)
        self.actions.on_press(self._press)
        self.ticks.observe(lambda _: self._read() if self.shots else None, "value")
        self.box = w.VBox(
            [self.file, self.ticks, self.busy, self.said, self.marks, self.view, self.actions],
            layout=w.Layout(overflow="visible"),
        )

    def on_use(self, call: Callable[[list[Photographed]], object]) -> None:
        """Call with what was read, once a person has confirmed it.

        Parameters
        ----------
        call : callable
            Takes a list of `Photographed`, each with a reading.
        """
        self._waiting.append(call)

    def clear(self) -> None:
        """Forget the photographs, for another panel."""
        self.shots, self.found, self._shown = [], [], None
        self.marks.show(b"", (1, 1))
        self.view.html = ""
        self.said.tell("")
        self._offer()

    def confirm(self) -> None:
        """Hand on what was read, as the press of a person does.

        Raises
        ------
        FileError
            If nothing was read yet.
        """
        good = [found for found in self.found if found.reading is not None]
        if not good:
            raise FileError(
                "There is no reading of a photograph yet.",
                remedy="choose one, and look what was read in it.",
            )
        for call in list(self._waiting):
            call(good)

    def _took(self, name: str, content: bytes) -> None:
        from workbook.session.photos import Shot

        self.shots.append(Shot(name, content))
        self._read()

    def _press(self, name: str) -> None:
        if name == "drop":
            self.clear()
        elif name == "read":
            self._read()
        elif name == "use":
            with self.said.guard():
                self.confirm()

    def _read(self) -> None:
        from workbook.session.photos import Marks

        corners, panels = self.marks.marked(self._size)
        ticked = set(self.ticks.value)
        common = {
            "matt": "matt" in ticked,
            "one_surface": "surfaces" not in ticked,
            "linear": True if "linear" in ticked else None,
        }
        # What is marked is marked on the last photograph; the others keep their own marks.
        last = self.shots[-1]
        own = replace(last, marks=Marks(corners, panels)) if self._shown is last.content else last
        shots = [*self.shots[:-1], own]
        self.shots = [replace(s, marks=replace(s.marks, **common)) for s in shots]
        asked = list(self.shots)

        def work() -> Any:
            from matchlib.errors import MatchlibError
            from matchlib.readings.photo import load_picture, marked_picture
            from workbook.session.photos import photograph

            try:
                picture = load_picture(
                    asked[-1].content, linear=common["linear"], name=asked[-1].name
                )
                small, size = marked_picture(picture, longest=1000), picture.size
            except MatchlibError:
                small, size = b"", (1, 1)
            return photograph(asked), small, size, last.content

        self.said.tell("")
        self.task.start("Looking for the chart and the panel", work, self._show)

    def _show(self, result: Any) -> None:
        from matchlib.readings.photo import four_corners

        self.found, small, self._size, content = result
        if content is not self._shown:
            first = self.found[0]
            panels = [four_corners(outline) for outline in first.panels]
            self.marks.show(small, self._size, chart=first.chart, panels=panels)
            self._shown = content
        lines = [line for each in self.found for line in each.text.splitlines()]
        count = len(self.shots)
        head = f"{count} photographs together." if count > 1 else "One photograph."
        self.view.html = "".join(f"<p>{esc(line)}</p>" for line in (head, *lines))
        self._offer()

    def _offer(self) -> None:
        self.actions.enable("use", any(f.reading is not None for f in self.found))
        self.actions.enable("read", bool(self.shots))
        self.actions.enable("drop", bool(self.shots))
