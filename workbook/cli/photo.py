"""The command for photographs: a panel's colour off pictures with a reference chart in them."""

from __future__ import annotations

from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import click

from workbook.cli.common import LabOption, SignedOptions, note, numbers_of
from workbook.cli.options import Argument, Option

if TYPE_CHECKING:
    from matchlib.readings.photo import Marks
    from workbook.session.photos import Photographed

__all__: list[str] = []


@dataclass(frozen=True, slots=True)
class MarkOptions:
    """What is known of a photograph: where panel and chart are, and how it was taken."""

    panel: Annotated[
        list[str] | None,
        Option(
            help="Where a panel is, with its code: 'P7=1200,300,400,400' is left, top, width and "
            "height in the picture. Give it again for each panel. Looked for where not given.",
            metavar="CODE=X,Y,W,H",
        ),
    ] = None
    corners: Annotated[
        str,
        Option(
            help="Outer corners of the chart's corner patches, around: 'x,y x,y x,y x,y'. Looked "
            "for where not given."
        ),
    ] = ""
    chart: Annotated[
        str | None,
        Option(help="CSV of the chart's own L,a,b: 24 rows, from the brown patch."),
    ] = None
    linear: Annotated[bool, Option(help="The file's numbers are proportional to light.")] = False
    two_surfaces: Annotated[bool, Option(help="Chart and panel lie on different surfaces.")] = False
    matt: Annotated[bool, Option(help="The panel is matt: a ground without clear coat.")] = False

    def marks(self) -> Marks:
        """Return them as the reader of photographs takes them."""
        from matchlib.readings.photo import Marks
        from matchlib.readings.photo.listed import read_chart

        places = {}
        for number, text in enumerate(self.panel or [], start=1):
            before, _, where = text.rpartition("=")
            code = before.strip() or f"panel {number}"
            if code in places:
                raise click.BadParameter(f"--panel names {code!r} twice")
            places[code] = numbers_of(where, 4, f"--panel takes 4 numbers, not {where!r}")
        wrong = f"--corners takes 8 numbers, not {self.corners!r}"
        flat = numbers_of(self.corners, 8, wrong) if self.corners else None
        return Marks(
            corners=None if flat is None else [flat[i : i + 2] for i in range(0, 8, 2)],
            panels=places,
            chart=None if self.chart is None else read_chart(Path(self.chart)),
            linear=self.linear or None,
            one_surface=not self.two_surfaces,
            matt=self.matt,
        )


def _photo(
    *,
    files: Annotated[
        list[str],
        Argument(
            help="Pictures of one panel beside a 24-patch chart, best two or three with the panel "
            "turned between them; or a folder, with --codes."
        ),
    ],
    marks: MarkOptions,
    codes: Annotated[
        str | None,
        Option(help="CSV with columns file and panel: which picture shows which panel."),
    ] = None,
    phone: Annotated[
        str, Option(help="Name of the phone and chart, by which the archive knows them.")
    ] = "",
    lab: LabOption = None,
    light: Annotated[str, Option(help="What light it was taken in, with --lab.")] = "",
    picture: Annotated[
        str | None, Option(help="Write the picture with what was found drawn on it (JPEG).")
    ] = None,
    keep: Annotated[bool, Option(help="Keep the readings with the archive's panels.")] = False,
    asked: SignedOptions,
) -> None:
    """Estimate panels' colours from photographs with a reference chart in them.

    With --phone, what the archive knows of this phone counts in; with --lab, an instrument's
    reading of the same panel, the phone's profile learns from both.
    """
    from matchlib.readings.photo.listed import read_codes
    from workbook.session.photos import Shot, by_phone, photograph, photograph_table
    from workbook.session.photos_kept import keep_photographs, learn_phone, phone_profile

    if (lab is not None and not phone) or (keep and codes is None and not marks.panel):
        raise click.BadParameter("--lab needs --phone, and --keep the panels' codes")
    if codes is not None and (len(files) > 1 or marks.panel):
        raise click.BadParameter("--codes takes one folder, and no --panel")
    known = marks.marks()
    notes = []
    with ExitStack() as stack:
        session = None
        if phone or keep:
            session = stack.enter_context(asked.opened(write=keep or lab is not None))
        if codes is not None:
            named = read_codes(Path(codes), Path(files[0]))
            done = photograph_table(named, known)
        else:
            done = photograph([Shot(Path(f).name, Path(f), known) for f in files])
        if session and phone:
            if lab is not None:
                told = learn_phone(session.archive, phone, done, lab, light=light, who=asked.who)
                notes.append(told)
            profile = phone_profile(session.archive, phone)
            done = [by_phone(each, profile) for each in done]
        if session and keep:
            notes += keep_photographs(session.archive, done, phone=phone, who=asked.who)
    if picture is not None:
        written = _write_pictures(done, Path(picture))
        note(f"Written: {', '.join(written)}." if written else "There is no picture to write.")
    asked.answer({"panels": done, "told": notes}, "\n".join([*(d.text for d in done), *notes]))
    if all(d.reading is None for d in done):
        raise click.exceptions.Exit(1)


def _write_pictures(done: list[Photographed], path: Path) -> list[str]:
    """One file a panel, numbered where there are several."""
    from matchlib.readings.writing import save_bytes

    shown = [d for d in done if d.picture]
    written = []
    for number, each in enumerate(shown, start=1):
        place = path if len(shown) == 1 else path.with_stem(f"{path.stem}-{number}")
        save_bytes(each.picture, place)
        written.append(str(place))
    return written
