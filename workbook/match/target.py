"""Panel: what is to be matched."""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from matchlib.errors import FileError, TargetError
from workbook.controls import Button, Choice, FileField, HtmlView, NumberField, TextField
from workbook.desk import Typed
from workbook.figures import ORIENTATION, esc, swatch
from workbook.match.angles import AngleWeights
from workbook.match.parts import Panel, columns, hide, rows
from workbook.match.typed_angles import TypedAngles
from workbook.photo_intake import PhotoIntake
from workbook.session import lab_of
from workbook.session.order import aim_words

if TYPE_CHECKING:
    from matchlib.domain import Reading
    from workbook.session.photos import Photographed

__all__ = ["TargetPanel", "lab_or_file"]

_WAYS = {
    "lab": "Type its Lab",
    "file": "Take it from an instrument's file",
    "photo": "Estimate it from a photograph with a colour chart",
    "panel": "Take a panel of the archive",
    "sample": "Take a customer's sample kept beside the archive",
}
_SCALES = {"": "as the file says", "unit": "0 to 1", "percent": "percent"}
_TABLES = ".csv,.tsv,.txt,.xlsx,.cgats,.cxf,.xml"


def lab_or_file(name: str, content: bytes) -> Path:
    """Put what a browser sent into a file of its own, for readers that take paths.

    Parameters
    ----------
    name : str
        As the browser called it; only its last part counts.
    content : bytes
        All of it.

    Returns
    -------
    Path
        In a new temporary folder, which the caller removes.

    Raises
    ------
    FileError
        If nothing was sent.
    """
    if not content:
        raise FileError("No file was chosen yet, or it is empty.", remedy="choose one first.")
    plain = Path(name.replace("\\", "/")).name
    kept = "".join(c for c in plain if c.isalnum() or c in "._- ")[-80:].lstrip(". ") or "file"
    place = Path(tempfile.mkdtemp(prefix="workbook-")) / kept
    place.write_bytes(content)
    return place


class TargetPanel(Panel):
    """Typed, read, photographed, or taken from what there is."""

    name = "target"
    title = "Target: what is to be matched"

    def build(self) -> Sequence[Any]:
        """Make the panel's widgets."""
        bench = self.bench
        self.way = Choice(list(_WAYS), texts=list(_WAYS.values()), label="How the target is given")
        self.lab = TypedAngles(
            bench.need_model().words_.geometries[0],
            lambda: self.typed.changed(),  # noqa: PLW0108 made below
        )
        self.illuminant = Choice(_illuminants(), label="Light the numbers hold under", value="D65")
        self.observer = Choice(["10", "2"], texts=["10°", "2°"], label="Observer")
        self.file = FileField(label="Instrument's file", accept=_TABLES, most_bytes=20_000_000)
        self.which = TextField(label="Which sample, if the file holds several")
        self.scale = Choice(
            list(_SCALES), texts=list(_SCALES.values()), label="Reflectances in the file are"
        )
        self.decimal = Choice(
            [".", ","], texts=["full stop (45.2)", "comma (45,2)"], label="Decimal sign in the file"
        )
        self.photo = PhotoIntake()
        codes = [p for p in bench.session.archive.panels() if p.readings]
        self.panel = Choice(
            [p.code for p in codes], texts=[f"{p.code}: {p.recipe}" for p in codes], label="Panel"
        )
        self.samples = self._samples()
        self.sample = Choice(
            [str(p) for p in self.samples],
            texts=[p.stem.replace("-", " ") for p in self.samples],
            label="Customer's sample",
            help="" if self.samples else "There is no folder 'samples' beside this archive.",
        )
        self.use = Button("Use this target", primary=True)
        self.use.on_press(self.safely(self._use))
        self.file.on_file(self.safely(self._use))
        self.photo.on_use(self._from_photo)
        table = columns(self.which, self.scale, self.decimal)
        self.forms = {
            "lab": rows(self.lab.box, columns(self.illuminant, self.observer)),
            "file": rows(self.file, table),
            "photo": self.photo.box,
            "panel": self.panel,
            "sample": self.sample,
        }
        self.way.observe(self.safely(self._turn), "value")
        self._turn()
        self.view = HtmlView(label="The target")
        self.weights = AngleWeights(self.safely(self._weighed))
        self._fill()
        self.typed = Typed(
            "target",
            {
                **{"way": self.way, "illuminant": self.illuminant, "observer": self.observer},
                **{"which": self.which, "scale": self.scale, "decimal": self.decimal},
                **{"panel": self.panel, "sample": self.sample},
            },
            {"angles": (self.lab.plain, self.lab.fill)},
        )
        self.typed.sit(bench.forms)
        return [self.way, *self.forms.values(), self.use, self.said, self.view, self.weights.box]

    @property
    def light(self) -> NumberField:
        """L* of the first angle that is typed."""
        return self.lab.rows[0].lab[0]

    @property
    def red(self) -> NumberField:
        """Its a*."""
        return self.lab.rows[0].lab[1]

    @property
    def yellow(self) -> NumberField:
        """Its b*."""
        return self.lab.rows[0].lab[2]

    def _samples(self) -> list[Path]:
        folder = self.bench.folder
        if folder is None or not (folder / "samples").is_dir():
            return []
        kinds = _TABLES.split(",")
        return sorted(p for p in (folder / "samples").iterdir() if p.suffix.casefold() in kinds)

    def _turn(self) -> None:
        for name, form in self.forms.items():
            hide(form, name != self.way.value)
        # A photograph has a button of its own, beside what it shows.
        hide(self.use, self.way.value == "photo")

    def _fill(self) -> None:
        work = self.bench.work
        self._weights = dict(work.weights)
        if work.target is None:
            return
        self.lab.show(work.readings, work.weights)
        self.illuminant.value = work.target.viewing.illuminant
        self.observer.value = work.target.viewing.observer

    def _use(self) -> None:
        way = self.way.value
        if way == "photo":
            self.photo.confirm()
            return
        readings, name = getattr(self, f"_from_{way}")()
        self._take(readings, name, weights=self.lab.weights if way == "lab" else None)

    def _take(
        self,
        readings: Sequence[Reading],
        name: str,
        more: str = "",
        *,
        weights: dict[str, float] | None = None,
    ) -> None:
        # A new target is a new job: what was sprayed for the last one says nothing of it.
        first, *others = readings
        have = {r.viewing.geometry for r in readings}
        given = self.bench.work.weights if weights is None else weights
        weights = {a: w for a, w in given.items() if a in have and others}
        self.bench.change(
            f"target {name}",
            target=first,
            angles=tuple(others),
            weights=weights,
            target_name=name,
            tried=(),
        )
        self._fill()
        self.typed.done()
        said = f"The target is {name}."
        if others:
            said += f" It is to be met at {len(readings)} angles together."
        aim, model = self.bench.work.aim, self.bench.model
        if aim is not None and model is not None:
            more = "\n".join(line for line in (more, aim_words(model, aim)) if line)
        self.said.tell(f"{said}\n{more}" if more else said)

    def _weighed(self) -> None:
        self.bench.change("weights of the angles", weights=self.weights.weights)

    def _from_lab(self) -> tuple[tuple[Reading, ...], str]:
        light, observer = self.illuminant.value, self.observer.value
        return self.lab.readings(illuminant=light, observer=observer), "typed Lab"

    def _from_file(self) -> tuple[tuple[Reading, ...], str]:
        path = lab_or_file(self.file.name, self.file.content)
        try:
            readings = self.bench.session.angles_of_file(
                path,
                panel=self.which.value.strip() or None,
                decimal=self.decimal.value,
                scale=self.scale.value or None,
            )
        finally:
            path.unlink()
            path.parent.rmdir()
        return readings, self.which.value.strip() or path.stem

    def _from_panel(self) -> tuple[tuple[Reading, ...], str]:
        code = self.panel.value
        if not code:
            raise TargetError("No panel of this archive has a reading.", remedy="import some.")
        return self.bench.session.angles_of_panel(code), f"panel {code}"

    def _from_sample(self) -> tuple[tuple[Reading, ...], str]:
        path = Path(self.sample.value)
        if path not in self.samples:
            raise TargetError(
                "There is no such sample.",
                remedy="put files of readings into a folder 'samples' beside the archive.",
            )
        return self.bench.session.angles_of_file(path), path.stem.replace("-", " ")

    def _from_photo(self, done: Sequence[Photographed]) -> None:
        (first, *_) = done
        if first.reading is not None:
            name = f"the photograph {', '.join(dict.fromkeys(first.files))}"
            self._take((first.reading.reading,), name, first.reading.text())

    def draw(self) -> None:
        """Show the bench as it is now."""
        work, lab = self.bench.work, self.bench.target_lab
        if work.weights != self._weights:
            self._weights = dict(work.weights)
            self.lab.weigh(work.weights)
        self.weights.show([r.viewing.geometry for r in work.readings], work.weights)
        if lab is None or work.target is None:
            self.view.html = "<p>No target yet.</p>"
            return
        name, several = _headed(work.target_name), len(work.readings) > 1
        shown = "".join(
            str(
                swatch(
                    lab_of(reading),
                    f"{name}, {reading.viewing.geometry}" if several else name,
                    note=_note(reading),
                    size=180 if several else 220,
                )
            )
            for reading in work.readings
        )
        self.view.html = (
            f'<div class="cpw-figures">{shown}</div>' if several else shown
        ) + f'<p class="cpw-muted">{esc(ORIENTATION)}</p>'


def _headed(name: str) -> str:
    """A name as a heading: only its first letter is made large, Lab and codes stay as they are."""
    return name[:1].upper() + name[1:]


def _note(reading: Reading) -> str:
    how = "a spectrum" if reading.spectral else "Lab"
    source = "photograph, an estimate" if reading.source == "photo" else reading.source
    return f"{how} by {source}, {reading.viewing}"


def _illuminants() -> list[str]:
    from matchlib.domain.reading import ILLUMINANTS

    return list(ILLUMINANTS)
