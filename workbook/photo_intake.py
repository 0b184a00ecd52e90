"""Photographs chosen, marked, read and confirmed: the part of a page where a picture comes in."""

from __future__ import annotations

import asyncio
import contextvars
import threading
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING, Any

import ipywidgets as w

from matchlib.errors import DomainError, FileError, MatchlibError
from workbook.controls import ButtonRow, CheckList, FileField, Progress, Words
from workbook.photo_marks import PhotoMarks

if TYPE_CHECKING:
    from matchlib.archive import Archive
    from workbook.session.photos import Photographed, Shot

__all__ = ["PICTURES", "PhotoIntake"]

PICTURES = ".jpg,.jpeg,.heic,.heif,.webp,.png,.tif,.tiff,.dng"
"""Endings of what is read as a photograph."""
_TICKS = {
    "matt": "The panel is matt: no clear coat",
    "surfaces": "Chart and panel lie on different surfaces",
    "linear": "This is a linear picture (proportional to light)",
}


_WIDE = {
    "style": {"description_width": "initial"},
    "layout": w.Layout(width="auto", min_height="48px"),
}


class PhotoIntake:
    """A part of a page: photographs of one panel or, where `coded`, of several by their codes.

    With an `archive`, what it knows of the phone counts in, and the phone can be taught.
    """

    def __init__(self, *, coded: bool = False, archive: Archive | None = None) -> None:
        self.file = FileField(
            label="Photograph with a colour chart",
            accept=PICTURES,
            most_bytes=120_000_000,
            help="Two or three of the same panel, turned between them, tell paint from gloss: "
            "choose them one after the other.",
        )
        self.ticks = CheckList(
            options=list(_TICKS), texts=list(_TICKS.values()), label="About the picture"
        )
        self.archive = archive
        self.phone = w.Combobox(
            options=[] if archive is None else sorted(archive.profiles("phone")),
            description="Phone and chart",
            placeholder="its name, where it is to be known again",
            continuous_update=False,
            **_WIDE,
        )
        self.instrument = w.Text(
            description="An instrument reads it",
            placeholder="L a b, to teach the phone by this panel",
            **_WIDE,
        )
        self.marks = PhotoMarks(coded=coded)
        self.notice = Words(label="Photograph: message", live="assertive")
        self.view = Words(label="What the photographs say")
        self.actions = ButtonRow(
            [
                {"name": "use", "label": "Use this reading", "primary": True, "disabled": True},
                {"name": "read", "label": "Read as marked", "disabled": True},
                {"name": "drop", "label": "Start again", "disabled": True},
                *([] if archive is None else [{"name": "teach", "label": "Teach the phone"}]),
            ],
            label="Photographs",
        )
        self.busy = Progress(label="Reading the photograph")
        self.thread: threading.Thread | None = None
        self._number = 0  # of the reading whose outcome is still wanted
        try:
            # Widgets are changed by the kernel's own thread, as if by a press.
            self._loop: asyncio.AbstractEventLoop | None = asyncio.get_running_loop()
        except RuntimeError:
            self._loop = None
        self.shots: list[Shot] = []
        self.found: list[Photographed] = []
        self.raw: list[Photographed] = []  # before what is known of the phone
        self._size = (1, 1)
        self._shown: object = None  # content of the photograph that is on the page
        self._waiting: list[Callable[[list[Photographed]], object]] = []
        self.file.on_file(self._took)
        self.actions.on_press(self._press)
        self.busy.on_cancel(self._cancel)
        self.ticks.observe(lambda _: self._read() if self.shots else None, "value")
        self.phone.observe(lambda _: self._apply(), "value")
        known = [] if archive is None else [self.phone, self.instrument]
        parts = [self.file, self.ticks, self.busy, self.notice, self.marks, self.view]
        self.box = w.VBox([*parts, *known, self.actions], layout=w.Layout(overflow="visible"))

    def on_use(self, call: Callable[[list[Photographed]], object]) -> None:
        """Call with what was read, each with a reading, once a person has confirmed it."""
        self._waiting.append(call)

    def clear(self) -> None:
        """Forget the photographs, for another panel."""
        self.shots, self.found, self.raw, self._shown = [], [], [], None
        self.marks.show(b"", (1, 1))
        self.view.text = ""
        self._say("")
        self._offer()

    def confirm(self) -> None:
        """Hand on what was read, as the press of a person does; there must be something."""
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
        elif name in ("use", "teach"):
            try:
                self.confirm() if name == "use" else self._teach()
            except Exception as error:
                self._complain(error)

    def _read(self) -> None:
        from workbook.session.photos import Marks

        corners, panels = self.marks.marked(self._size)
        ticked = set(self.ticks.value)
        common: dict[str, Any] = {
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

        self._say("")
        self._start(work)

    def _teach(self) -> None:
        """Let the phone learn from the panel that an instrument has read too."""
        from workbook.session.photos_kept import learn_phone, phone_profile
        from workbook.session.typed import three_typed

        lab, name = three_typed(self.instrument.value), self.phone.value.strip()
        if self.archive is None or lab is None or not name:
            raise DomainError(
                "The phone cannot learn from this yet.",
                expected="a name for phone and chart, and the instrument's L, a and b",
                got=f"name {name!r}, reading {self.instrument.value[:40]!r}",
                remedy="fill in both, and press again.",
            )
        profile = phone_profile(self.archive, name)
        told = learn_phone(self.archive, profile, self.raw, lab)
        self.phone.options, self.instrument.value = sorted(self.archive.profiles("phone")), ""
        self._apply()
        self._say(told)

    def _apply(self) -> None:
        """Tell what was read, as the phone's past corrects it."""
        from workbook.session.photos import by_phone
        from workbook.session.photos_kept import phone_profile

        name, self.found = self.phone.value.strip(), self.raw
        if self.archive is not None and name:
            profile = phone_profile(self.archive, name)
            self.found = [by_phone(one, profile) for one in self.raw]
        lines = [line for each in self.found for line in each.text.splitlines()]
        count = len(self.shots)
        head = f"{count} photographs together." if count > 1 else "One photograph."
        self.view.text = "\n".join((head, *lines)) if self.raw else ""
        self._offer()

    def _start(self, work: Callable[[], Any]) -> None:
        """Read in a thread; whatever was being read before is dropped."""
        self._number += 1
        number = self._number
        # The kernel files what a widget sends under the message it answers, and takes that from
        # the context; elsewhere it would be filed under a channel that may be closed by then, and
        # the page's replies to it would go nowhere.
        asked = contextvars.copy_context()
        self.busy.start("Looking for the chart and the panel")

        def run() -> None:
            try:
                end = partial(self._show, work())
            except Exception as error:
                end = partial(self._complain, error)
            if self._loop is not None and self._loop.is_running():
                self._loop.call_soon_threadsafe(self._end, number, end, context=asked)
            else:
                asked.run(self._end, number, end)

        self.thread = threading.Thread(target=run, daemon=True)
        self.thread.start()

    def _end(self, number: int, end: Callable[[], object]) -> None:
        if number == self._number:
            self.busy.finish()
            try:
                end()
            except Exception as error:
                self._complain(error)

    def _cancel(self) -> None:
        self._number += 1
        self.busy.finish("Stopped; nothing was changed.")

    def _say(self, words: str, *, wrong: bool = False) -> None:
        with self.notice.hold_sync():
            self.notice.text, self.notice.wrong = words, wrong

    def _complain(self, error: Exception) -> None:
        inside = f"This went wrong inside the workbook ({type(error).__name__}: {error})."
        words = str(error) if isinstance(error, MatchlibError) else inside
        self._say(f"Not done. {words}", wrong=True)

    def _show(self, result: Any) -> None:
        from matchlib.readings.photo import four_corners

        self.raw, small, self._size, content = result
        if content is not self._shown:
            first = self.raw[0]
            panels = [four_corners(outline) for outline in first.panels]
            self.marks.show(small, self._size, chart=first.chart, panels=panels)
            self._shown = content
        self._apply()

    def _offer(self) -> None:
        self.actions.enable("use", any(f.reading is not None for f in self.found))
        self.actions.enable("read", bool(self.shots))
        self.actions.enable("drop", bool(self.shots))
