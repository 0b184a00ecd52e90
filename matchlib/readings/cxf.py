"""CxF3 (ISO 17972) → table, through colour-cxf.

Reflectances of this format are on the scale 0-1 by definition (100 % is 1.0). A recipe rides along
as tags named as the columns of the table of readings (Ground, Colour, Schedule …); other tags are
kept as notes. A document type declaration is refused before the parser sees the file, and with it
every external entity and every entity expansion (see OWASP, "XML External Entity Prevention").
"""

from __future__ import annotations

import logging
import warnings
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from matchlib.domain.reading import ILLUMINANTS
from matchlib.errors import FileError
from matchlib.readings._cells import heading
from matchlib.readings._grid import MAX_ROWS, Cell, CellFault, Row, is_blank, too_many_rows
from matchlib.readings._header import Table
from matchlib.readings._unzip import has_doctype
from matchlib.readings._words import is_note, known_name

__all__ = ["MAX_CXF_BYTES", "cxf_missing", "read_cxf"]

# The parser logs what it leaves out; without a handler that would land on the user's screen.
logging.getLogger("xsdata.logger").addHandler(logging.NullHandler())

MAX_CXF_BYTES = 8 * 2**20
_MEASURED = {"L", "a", "b", "X", "Y", "Z", "scale"}
_NO_STEP = CellFault(
    "a spectrum whose wavelengths the file does not state",
    "export it with its wavelength range (start and increment)",
)


@dataclass(slots=True)
class _Value:
    """The colour values of one object under one specification."""

    specification: str
    lab: tuple[Cell, ...] = ()
    spectrum: tuple[Cell, ...] = ()
    start: int | None = None
    name: str = ""


def read_cxf(data: bytes) -> Table:
    """Read the objects of a CxF3 file."""
    if len(data) > MAX_CXF_BYTES:
        raise FileError(
            "This CxF file is too large.",
            expected=f"at most {MAX_CXF_BYTES // 2**20} MiB",
            got=f"{len(data) / 2**20:.0f} MiB",
            remedy="export fewer objects.",
        )
    if has_doctype(data):
        raise FileError(
            "This XML file declares a document type, through which entities could reach other "
            "files or fill the memory.",
            expected="CxF3, which has none",
            remedy="do not trust the file; ask for it without the declaration.",
        )
    document = _parse(data)
    specifications = _specifications(document)
    objects = getattr(getattr(document.resources, "object_collection", None), "object_value", None)
    rows: list[tuple[int, dict[str, Cell]]] = []
    for number, thing in enumerate(objects or [], 1):
        for value in list(_values(thing)) or _unread(thing):
            rows.append((number, _row(thing, value, specifications)))
        if len(rows) > MAX_ROWS:
            raise too_many_rows()
    if not rows:
        raise FileError(
            "This CxF file holds no reflectance and no Lab.",
            expected="objects with a ReflectanceSpectrum or a ColorCIELab",
            remedy="export the measurements with their spectra.",
        )
    header = tuple(dict.fromkeys(name for _, cells in rows for name in cells))
    body = tuple(Row(number, tuple(map(cells.get, header))) for number, cells in rows)
    return Table(tuple(map(heading, header)), body, row_word="object", scale="unit", strict=True)


def cxf_missing() -> FileError:
    """Say which extra reads and writes CxF."""
    return FileError(
        "CxF files need a package that is not installed.",
        remedy="install the extra cxf: pip install 'candy-panel-workbook[cxf]'.",
    )


def _parse(data: bytes) -> Any:
    try:
        import colour_cxf
    except ImportError as error:
        raise cxf_missing() from error
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # what is no number stays text, and is refused by row
            return colour_cxf.read_cxf(data)
    except Exception as error:
        # The parser raises whatever the broken part happens to trip over.
        raise FileError(
            "This is not a CxF3 file.",
            expected="the XML of ISO 17972-1",
            got=" ".join(str(error).split())[:120] or type(error).__name__,
            remedy="export it again as CxF3.",
        ) from error


def _specifications(document: Any) -> dict[str, Any]:
    collection = getattr(document.resources, "color_specification_collection", None)
    listed = getattr(collection, "color_specification", None) or []
    return {str(s.id): s for s in listed}


def _values(thing: Any) -> Iterator[_Value]:
    by_key: dict[tuple[str, str], _Value] = {}
    for choice in getattr(thing.color_values, "choice", None) or []:
        kind = type(choice).__name__
        if kind not in ("ReflectanceSpectrum", "ColorCielab"):
            continue
        specification, name = str(choice.color_specification or ""), str(choice.name or "")
        key = (specification, name)
        full = by_key.get(key)
        if full is not None and (full.spectrum if kind == "ReflectanceSpectrum" else full.lab):
            yield by_key.pop(key)  # a repeat measurement under the same specification
        value = by_key.setdefault(key, _Value(specification, name=name))
        if kind == "ColorCielab":
            value.lab = (choice.l, choice.a, choice.b)
        else:
            listed = choice.value if isinstance(choice.value, list) else [choice.value]
            value.spectrum = tuple(listed)
            value.start = choice.start_wl
    yield from by_key.values()


def _row(thing: Any, value: _Value, specifications: dict[str, Any]) -> dict[str, Cell]:
    specification = specifications.get(value.specification)
    cells: dict[str, Cell] = {"panel": str(thing.name or "").strip() or str(thing.id or "")}
    illuminant, observer = _tristimulus(specification)
    known_light = not illuminant or illuminant in ILLUMINANTS
    if known_light or not value.spectrum:
        cells |= {k: v for k, v in (("illuminant", illuminant), ("observer", observer)) if v}
        cells |= dict(zip("Lab", value.lab, strict=False))
    geometry = _geometry(specification, value.name)
    if geometry:
        cells["geometry"] = geometry
    if value.spectrum:
        cells |= _spectrum(value, specification)
    for collection in thing.tag_collection or []:
        for tag in collection.tag or []:
            name = str(tag.name or "").strip()
            if name and known_name(name) not in _MEASURED and not is_blank(tag.value):
                cells.setdefault(known_name(name) or _note_name(name), str(tag.value))
    return cells


def _unread(thing: Any) -> list[_Value]:
    """An object without a colour whose tags say that it was never read."""
    tags = [t for collection in thing.tag_collection or [] for t in collection.tag or []]
    values = {str(t.name).casefold(): str(t.value).casefold() for t in tags}
    return [_Value("")] if values.get("source") == "none" else []


def _note_name(name: str) -> str:
    # a tag named by a bare number would be taken for a wavelength
    return name if is_note(name) else f"tag {name}"


def _spectrum(value: _Value, specification: Any) -> dict[str, Cell]:
    limits = getattr(getattr(specification, "measurement_spec", None), "wavelength_range", None)
    start = value.start if value.start is not None else getattr(limits, "start_wl", None)
    step = getattr(limits, "increment", None)
    if not isinstance(start, int) or not isinstance(step, int) or not 0 < step <= 100:
        return {"400": _NO_STEP}
    if not 300 <= start <= 900 or start + step * (len(value.spectrum) - 1) > 900:
        return {"400": _NO_STEP}
    return {str(start + step * i): v for i, v in enumerate(value.spectrum)}


def _tristimulus(specification: Any) -> tuple[str, str]:
    tristimulus = getattr(specification, "tristimulus_spec", None)
    illuminant = getattr(tristimulus, "illuminant_or_custom_illuminant", None)
    observer = getattr(getattr(tristimulus, "observer", None), "value", None)
    return _word(getattr(illuminant, "value", None)), _word(observer).removesuffix("_Degree")


def _geometry(specification: Any, name: str) -> str:
    measurement = getattr(specification, "measurement_spec", None)
    choice: Any = getattr(getattr(measurement, "geometry_choice", None), "choice", None)
    kind = type(choice).__name__
    if kind == "EsphereType":
        return {"Specular_Included": "di:8", "Specular_Excluded": "de:8"}.get(_word(choice), "d:8")
    if kind == "SingleAngleType":
        angles = [_whole(choice.illumination_angle), _whole(choice.measurement_angle)]
        return ":".join(angles)
    if kind == "MultiAngleType":
        listed = choice.brdfangle or []
        named = [a for a in listed if str(a.notation or "") == name] if len(listed) > 1 else listed
        if len(named) != 1:
            return "several angles in one reading"
        return f"{_whole(named[0].illumination_angle)}as{_whole(named[0].aspecular)}"
    return _word(choice)


def _whole(angle: Any) -> str:
    return f"{angle:g}" if isinstance(angle, int | float) else str(angle)


def _word(value: Any) -> str:
    value = getattr(value, "value", value)
    return "" if value is None else str(value)
