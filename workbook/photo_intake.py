"""Photographs chosen, marked, read and confirmed: the part of a page where a picture comes in."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from matchlib.errors import DomainError, FileError, MatchlibError
from matchlib.readings.targets import PICTURES
from workbook.figures import Raw, esc, minus
from workbook.page.fields import button, check, chips, field, fold, problem, upload
from workbook.photo_marks import PhotoMarks
from workbook.session.photos_kept import KIND

if TYPE_CHECKING:
    from matchlib.archive import Archive
    from workbook.page import Page, Press
    from workbook.session.photos import Photographed, Shot

__all__ = ["PhotoIntake"]

_TICKS = {
    "matt": "The panel is matt: no clear coat",
    "surfaces": "Chart and panel lie on different surfaces",
    "linear": "This is a linear picture (proportional to light)",
}


class PhotoIntake:
    """The photographs of a panel; `use` takes what was read once a person has confirmed it.

    What `archive` knows of the phone counts in, and the phone can be taught. Where one photograph
    shows several panels, each with its code, all can be kept with their cards at once; `changed` is
    then told that the archive was.
    """

    def __init__(
        self,
        page: Page,
        use: Callable[[Photographed, Press], object],
        archive: Archive,
        changed: Callable[[], object],
    ) -> None:
        self.page, self.use, self.archive, self.changed = page, use, archive, changed
        self.marks = PhotoMarks()
        self.shots: list[Shot] = []
        self.found: list[Photographed] = []
        self.raw: list[Photographed] = []  # before what is known of the phone
        self.phone = self.notes = ""
        self.error: Exception | None = None
        self._size = (1, 1)
        self._shown: object = None  # content of the photograph that is on the page
        self._ticked: list[str] = []
        page.invite("photo", lambda: self.marks)

    def press(self, done: Press) -> None:
        """Do what is pressed here; what goes wrong is said here."""
        self.error, self.notes = None, ""
        try:
            getattr(self, f"_{done.do}")(done)
        except MatchlibError as error:
            self.error = error

    def _photo_file(self, done: Press) -> None:
        from matchlib.readings.photo import Marks
        from workbook.session.photos import Shot

        self.shots.append(Shot(done.value, done.content, Marks()))
        self._photo_read(done)

    def _photo_drop(self, _: Press) -> None:
        self.page.drop()
        self.shots, self.found, self.raw, self._shown = [], [], [], None
        self.marks.show(b"", (1, 1))

    def _photo_use(self, done: Press) -> None:
        good = [f for f in self.found if f.reading is not None and done.value in ("", f.code)]
        if not good:
            raise FileError(
                "There is no reading of a photograph yet.",
                remedy="choose one, and look what was read in it.",
            )
        self.use(good[0], done)
        self._photo_drop(done)

    def _photo_keep(self, done: Press) -> None:
        """Keep what was read of several panels with the card of each."""
        from workbook.session.photos_kept import keep_photographs

        who = done.fields.get("who", "")
        notes = keep_photographs(self.archive, self.found, phone=self.phone, who=who)
        self.changed()
        self._photo_drop(done)
        self.notes = "\n".join(notes)

    def _photo_read(self, done: Press) -> None:
        from matchlib.readings.photo import Marks
        from workbook.session.photos import photograph

        self._ticked, self.phone = done.ticked("photo_is"), _phone(done)
        if not self.shots:
            return
        corners, panels = self.marks.marked(self._size)
        common: dict[str, Any] = {
            "matt": "matt" in self._ticked,
            "one_surface": "surfaces" not in self._ticked,
            "linear": True if "linear" in self._ticked else None,
        }
        # What is marked is marked on the photograph shown; the others keep their own marks.
        own = Marks(corners, panels)
        self.shots = [
            replace(s, marks=replace(own if s.content is self._shown else s.marks, **common))
            for s in self.shots
        ]
        last, asked = self.shots[-1], list(self.shots)

        def work(_: object) -> Any:
            from matchlib.readings.photo import load_picture, marked_picture

            try:
                picture = load_picture(last.content, linear=common["linear"], name=last.name)
                small, size = marked_picture(picture, longest=1000), picture.size
            except MatchlibError:
                small, size = b"", (1, 1)
            return photograph(asked), small, size, last.content

        self.page.later("Looking for the chart and the panel …", work, self._show)

    def _show(self, result: Any) -> None:
        from matchlib.readings.photo import four_corners

        self.raw, small, self._size, content = result
        if content is not self._shown:
            first = self.raw[0]
            panels = [four_corners(outline) for outline in first.panels]
            self.marks.show(small, self._size, chart=first.chart, panels=panels)
            self._shown = content
        self._apply()

    def _photo_phone(self, done: Press) -> None:
        self.phone = _phone(done)
        self._apply()

    def _apply(self) -> None:
        """Correct what was read by the phone's past."""
        from workbook.session.photos import by_phone
        from workbook.session.photos_kept import phone_profile

        self.found = self.raw
        if self.phone:
            profile = phone_profile(self.archive, self.phone)
            self.found = [by_phone(one, profile) for one in self.raw]

    def _photo_teach(self, done: Press) -> None:
        """Let the phone learn from the panel that an instrument has read too."""
        from workbook.session.photos_kept import learn_phone
        from workbook.session.typed import three_typed

        typed = done.fields.get("photo_instrument", "")
        lab, self.phone = three_typed(typed), _phone(done)
        if lab is None or not self.phone:
            raise DomainError(
                "The phone cannot learn from this yet.",
                expected="a name for phone and chart, and the instrument's L, a and b",
                got=f"name {self.phone!r}, reading {typed[:40]!r}",
                remedy="fill in both, and press again.",
            )
        self.notes = learn_phone(self.archive, self.phone, self.raw, lab)
        self._apply()

    def draw(self) -> Raw:
        """Return the part as HTML."""
        ticks = [check(w, "photo_is", n, n in self._ticked, do="photo_read")
                 for n, w in _TICKS.items()]  # fmt: skip
        known = ", ".join(sorted(self.archive.profiles(KIND)))
        help_ = f"known: {known}" if known else "its name, where it is to be known again"
        phone: str = field(
            "Phone and chart", "photo_phone", self.phone, help=help_, do="photo_phone"
        )
        phone += field("An instrument reads it", "photo_instrument", help="L a b, to teach it")
        about = fold(
            "About the picture and the phone",
            chips("About the picture", ticks)
            + f'<div class="wb-fields">{phone}</div>'
            + button("Teach the phone", "photo_teach", quiet=True),
            ident="photo",
            open_=isinstance(self.error, DomainError),
        )
        choose = upload("Take it now", "photo_file", accept="image/*", camera=True) + upload(
            "Choose a photograph", "photo_file", accept=",".join(PICTURES)
        )
        lines = [line for each in self.found for line in each.text.splitlines()]
        ready = [found.code for found in self.found if found.reading is not None]
        if self.found:
            count = len(self.shots)
            lines.insert(0, f"{count} photographs together." if count > 1 else "One photograph.")
        notes = "".join(f"<p>{esc(minus(t))}</p>" for t in (*self.notes.splitlines(), *lines))
        presses = ""
        if self.shots:
            presses = button("Use this reading", "photo_use", go=bool(ready), off=not ready)
            if len(self.found) > 1:
                presses = button(
                    "Keep each with its card", "photo_keep", go=bool(ready), off=not ready
                )
                presses += "".join(button(f"Use {c}", "photo_use", c, quiet=True) for c in ready)
            seen = self._size != (1, 1)  # on what is no picture nothing can be marked
            if seen:
                presses += button("Read as marked", "photo_read", go=not ready, quiet=bool(ready))
            presses += button("Start again", "photo_drop", go=not seen, quiet=seen)
        return Raw(
            '<section class="wb-card" aria-label="Photograph"><h2>Photograph with a colour chart'
            f'</h2><div class="wb-bar">{choose}</div>{problem(self.error)}'
            f'<div class="{"wb-fields" * bool(self.shots)}"><div data-slot="photo"></div>'
            f'<div><div role="status">{notes}</div><div class="wb-bar">{presses}</div></div></div>'
            '<p class="wb-muted">Two or three of the same '
            f"panel, turned between them, tell paint from gloss.</p>{about}</section>"
        )


def _phone(done: Press) -> str:
    return done.fields.get("photo_phone", "").strip()
