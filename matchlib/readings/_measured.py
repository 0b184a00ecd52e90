"""A row → its readings: Lab, XYZ or spectra, the light and geometry they hold under."""

from __future__ import annotations

import datetime as dt
import math
import re
from itertools import pairwise

from matchlib.domain import Reading, Viewing
from matchlib.domain.reading import ILLUMINANTS, NEEDED, OBSERVERS, NotWholeError
from matchlib.errors import FileError, MatchlibError
from matchlib.readings._cells import read_text
from matchlib.readings._columns import Group
from matchlib.readings._grid import Cell, Row
from matchlib.readings._lookup import Lookup
from matchlib.readings._rows import VIEWING
from matchlib.readings._scale import ReflectanceScale
from matchlib.readings._twice import LIGHTS, Pair, StatedTwice, lab_from_xyz
from matchlib.readings._words import LIGHT_NAMES, viewing_words
from matchlib.readings.questions import Choice, Question, Undecided

__all__ = ["MeasuredReader"]

_PAIRS = 200
_SOURCES = {
    **dict.fromkeys(
        ("spectro", "instrument", "meter", "device", "spec", "spectral"), "spectrophotometer"
    ),
    **dict.fromkeys(
        ("phone", "camera", "picture", "image", "photograph", "mobile", "scan"), "photo"
    ),
    **dict.fromkeys(("no reading", "not read", "unread"), "none"),
}
_GEOMETRIES = (
    ("45:0", "45°/0° (or 0/45), no gloss in the reading"),
    ("di:8", "sphere, specular included (SCI)"),
    ("de:8", "sphere, specular excluded (SCE)"),
)
_SPECULAR = "The sphere's readings do not say whether the specular gloss was included. Was it?"


class MeasuredReader:
    """Reads the measured part of the rows of one table.

    `usual` is what holds without an answer; None where one must answer, for readings that are to
    be kept, and of a sphere's also whether the gloss was included.
    """

    def __init__(self, lookup: Lookup, *, usual: Viewing | None = None) -> None:
        self.lookup, self._usual = lookup, usual
        self.gaps: dict[str, list[int]] = {}
        self.both: list[int] = []
        self.source_unstated = False
        self.scale = ReflectanceScale(lookup)
        pairs = self._pairs()
        self.twice = StatedTwice(pairs, self._stated_light() if pairs else None)

    def readings(self, row: Row) -> list[Reading]:
        """Return the readings of a row, one for each group of columns that holds one."""
        source = self.source(row)
        found = []
        for group in self.lookup.columns.groups:
            reading = self._reading(row, group, "spectrophotometer" if source == "none" else source)
            if reading is not None:
                found.append(reading)
        if source == "none" and found:
            raise FileError(
                "The source says that there is no reading, but here is one.",
                remedy="name the source, spectrophotometer or photo.",
            )
        return found

    def source(self, row: Row) -> str:
        """Return ``spectrophotometer``, ``photo`` or ``none``, as the row says or is assumed."""
        text = self.lookup.text(row, "source").casefold()
        if not text:
            by = self.lookup.text(row, "instrument").casefold()
            if "phone" in by.split() or _SOURCES.get(by) == "photo":
                return "photo"
            self.source_unstated = True
            return "spectrophotometer"
        return _SOURCES.get(text, text)

    def viewing(self, row: Row, group: Group | None = None, *, spectral: bool = False) -> Viewing:
        """Return light, observer and geometry of a row; what is not said and matters is asked."""
        stated = self._said(row, group)
        waiting = None
        if spectral:
            stated = {"illuminant": "D65", "observer": "10", **stated}
            light, field = _light_of(stated)
            if light not in ILLUMINANTS or field not in OBSERVERS:
                text = f"{light}, {field}° is no light known here; a spectrum holds under any"
                self.gaps.setdefault(f"{text}, and is shown under D65, 10°", []).append(row.number)
                stated |= {"illuminant": "D65", "observer": "10"}
        elif not ("illuminant" in stated and "observer" in stated):
            try:
                light = self._light(row, stated, group)
                stated |= dict(zip(("illuminant", "observer"), light.split("/"), strict=True))
            except Undecided as key:
                waiting = key  # the geometry is asked in the same breath
        geometry = "".join(stated.get("geometry", "").split()).replace("/", ":").casefold()
        if not geometry or (self._usual is None and geometry in ("d:8", "8:d", "d:0", "0:d")):
            geometry = self._geometry(row, geometry)
        if waiting:
            raise waiting
        return Viewing(*_light_of(stated), geometry)

    def _said(self, row: Row, group: Group | None) -> dict[str, str]:
        facts = self.lookup.facts
        stated: dict[str, str] = {k: v for k, v in facts.items() if k in VIEWING}
        for name in VIEWING:
            stated |= self._own_words(row, name)
        return stated | (group.viewing if group else {})

    def _own_words(self, row: Row, name: str) -> dict[str, str]:
        cell = self.lookup.own(row, name)
        if cell is None:
            return {}
        if name == "geometry" and isinstance(cell, dt.time | dt.timedelta | dt.datetime):
            raise FileError(
                "The geometry has become a clock time in the spreadsheet.",
                expected="text such as 45:0",
                got=repr(read_text(cell, name)),
                remedy="format the column geometry as text and type the values again.",
            )
        text = read_text(cell, name)
        words = viewing_words(text)
        if name == "geometry" and "geometry" not in words and re.fullmatch(r"-?\d{2,3}", text):
            words = {"geometry": f"45as{int(text)}"}
        return words if name in words else {name: text}

    def _light(self, row: Row, viewing: dict[str, str], group: Group | None) -> str:
        places = group.places if group else {}
        names = [n for n in ("Lab" if "L" in places else "XYZ") if n in places]
        lab = [read_text(row.at(places[n]), "") for n in names]
        seen = f"{self.lookup.where(row)}: {', '.join(lab)} as seen so"
        stated = (viewing.get("illuminant"), viewing.get("observer"))
        possible = [
            x for x in LIGHTS if all(s in (None, n) for s, n in zip(stated, x, strict=True))
        ]
        choices = []
        for light in possible or LIGHTS:
            means = seen if possible else ""
            if possible and (apart := self.twice.medians.get(light)) is not None:
                means += f"; ΔE00 {apart:.2f} from the file's own {self.twice.beside}"
            choices.append(Choice("/".join(light), f"{light[0]}, {light[1]}° observer", means))
        usual = self._usual and "/".join(
            viewing.get(n, getattr(self._usual, n)) for n in ("illuminant", "observer")
        )
        question = Question(
            "light",
            "Under which light and observer do the L, a, b (or X, Y, Z) of this file hold? The "
            "file does not say. (The instrument's settings do; the printing trade has D50 and "
            "2°, ISO 13655, most others D65 and 10°.)",
            choices,
            usual if usual in [c.key for c in choices] else None,
        )
        return self.lookup.asking.answer(question, row.number)

    def _geometry(self, row: Row, written: str) -> str:
        where = f"{self.lookup.where(row)}: read at"
        listed = [Choice(k, w, f"{where} {k}") for k, w in _GEOMETRIES]
        question = Question(
            "geometry",
            "With which geometry was the instrument reading, and was the specular gloss in it? The "
            "file does not say.",
            listed,
            self._usual.geometry if self._usual else None,
        )
        if written:
            question = Question("specular", _SPECULAR, listed[1:])
        return self.lookup.asking.answer(question, row.number)

    def _reading(self, row: Row, group: Group, source: str) -> Reading | None:
        lab_cells = [n for n in group.places if n in "Lab"]
        has_lab = any(row.at(group.places[n]) is not None for n in lab_cells)
        has_xyz = not has_lab and any(row.at(i) is not None for i in group.places.values())
        held = self._held(row, group)
        if not (has_lab or has_xyz or held):
            return None
        sd = self.lookup.optional(row, "sd")
        if held:
            viewing = self.viewing(row, group, spectral=True)
            try:
                reading = Reading(viewing, source, None, *self._spectrum(row, held, viewing), sd=sd)
                self._note_gaps(row, reading.wavelengths)
                if has_lab:
                    # an impossible Lab is no less wrong beside a spectrum
                    Reading(viewing, source, self._triple(row, group, "Lab"))
                    self.both.append(row.number)
                return reading
            except NotWholeError as error:  # the row may have Lab instead
                if not has_lab and not has_xyz:
                    raise
                why = f"{error.problem.rstrip('.')} ({error.got})"
                text = f"L, a, b were taken, not the spectrum: {why}"
                self.gaps.setdefault(text, []).append(row.number)
        lab = self._triple(row, group, "Lab" if has_lab else "XYZ")
        viewing = self._settled(self.viewing(row, group), row)
        return Reading(viewing, source, lab if has_lab else lab_from_xyz(lab, viewing), sd=sd)

    def _held(self, row: Row, group: Group) -> list[tuple[float, Cell]]:
        return [(nm, c) for nm, i in group.spectral if (c := row.at(i)) is not None]

    def _triple(self, row: Row, group: Group, names: str) -> tuple[float, float, float]:
        if names == "Lab" and "C" in group.places:
            lightness, chroma, hue = self._triple(row, group, "LCh")
            angle = math.radians(hue)  # CIE 15:2018, 8.2.1.2
            return lightness, chroma * math.cos(angle), chroma * math.sin(angle)
        x, y, z = (
            self.lookup.number(None if (i := group.places.get(n)) is None else row.at(i), n)
            for n in names
        )
        return x, y, z

    def _spectrum(
        self, row: Row, held: list[tuple[float, Cell]], viewing: Viewing
    ) -> tuple[tuple[float, ...], tuple[float, ...]]:
        found = [(nm, self.lookup.number(c, f"{nm:g} nm")) for nm, c in held]
        scale = self.scale.of(row)
        top = 1.3 if viewing.aspecular is None else 10.0
        peak = max(v for _, v in found)
        if scale == "unit" and peak > top:
            raise FileError(
                "The reflectance contradicts the scale 0-1.",
                expected=f"at most {top:g}",
                got=f"{peak:g}, which looks like percent",
                remedy="declare percent, if the file is in percent.",
            )
        divisor = 100.0 if scale == "percent" else 1.0
        return tuple(w for w, _ in found), tuple(v / divisor for _, v in found)

    def _note_gaps(self, row: Row, nm: tuple[float, ...]) -> None:
        steps = [(b - a, a, b) for a, b in pairwise(nm)]
        widest, start, end = max(steps)
        if widest > min(steps)[0] + 1e-6:
            text = f"nothing between {start:g} and {end:g} nm, which will be interpolated"
            self.gaps.setdefault(text, []).append(row.number)
        low, high = NEEDED
        if nm[0] > low or nm[-1] < high:
            text = (
                f"the spectrum covers {nm[0]:g} to {nm[-1]:g} nm; towards {low:g} and {high:g} nm "
                "its end value is held, as ASTM E308 does"
            )
            self.gaps.setdefault(text, []).append(row.number)

    def _settled(self, viewing: Viewing, row: Row) -> Viewing:
        """The viewing of Lab alone, where the file's own spectra say that its light is wrong."""
        chosen = self.twice.answer(self.lookup.asking, row.number, needed=True)
        if chosen in (None, "stated"):
            return viewing
        name, field = str(chosen).split("/")
        return Viewing(name, field, viewing.geometry)

    def disagreeing(self) -> list[int]:
        """Return the rows whose Lab and spectra disagree, and ask which light the Lab is for."""
        if not self.both:
            return []
        self.twice.answer(self.lookup.asking, None, needed=False)
        return self.twice.far

    def _pairs(self) -> list[Pair]:
        pairs: list[Pair] = []
        for row in self.lookup.table.rows:
            for group in self.lookup.columns.groups:
                beside = group.spectral or "X" in group.places
                if len(pairs) >= _PAIRS or not beside or "L" not in group.places:
                    continue
                held = self._held(row, group)
                try:
                    lab = self._triple(row, group, "Lab")
                    Reading(Viewing(), "spectrophotometer", lab)
                    if group.spectral:
                        nm, values = self._spectrum(row, held, Viewing())
                        Reading(Viewing(), "spectrophotometer", None, nm, values)
                    else:
                        nm, values = (), self._triple(row, group, "XYZ")
                        lab_from_xyz(values, Viewing())
                except (ValueError, Undecided):
                    continue
                pairs.append(Pair(row.number, nm, values, lab))
        return pairs

    def _stated_light(self) -> tuple[str, str] | None:
        """The light and observer that the table names, where it names one for all rows."""
        named: set[tuple[str, str]] = set()
        for row in self.lookup.table.rows[:_PAIRS]:
            for group in self.lookup.columns.groups:
                try:
                    stated = self._said(row, group)
                except MatchlibError:
                    return None
                if "illuminant" not in stated or "observer" not in stated:
                    return None
                named.add(_light_of(stated))
        light = named.pop() if len(named) == 1 else None
        return light if light and light[0] in ILLUMINANTS and light[1] in OBSERVERS else None


def _light_of(stated: dict[str, str]) -> tuple[str, str]:
    light = stated["illuminant"].strip()
    field = re.sub(r"\s*(?:°|deg(?:rees?)?)$", "", stated["observer"].strip(), flags=re.IGNORECASE)
    return LIGHT_NAMES.get(light.casefold(), light), field.removesuffix(".0")
