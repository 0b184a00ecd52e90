"""Panels → CxF3 (ISO 17972) that reads back as the same panels, through colour-cxf.

One object a reading, what is on the back as tags; a stage without readings is an object without a
colour.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from matchlib import __version__
from matchlib.domain import Panel, Reading
from matchlib.errors import FileError
from matchlib.readings._rows import ReadingRow, reading_rows
from matchlib.readings._words import is_note, known_name
from matchlib.readings.cxf import cxf_missing
from matchlib.readings.writing import table_of

__all__ = ["cxf_of"]

_NOT_TAGS = {"panel", "L", "a", "b", "scale"}
_OBSERVERS = {"2": "VALUE_2_DEGREE", "10": "VALUE_10_DEGREE"}


def cxf_of(panels: Iterable[Panel]) -> bytes:
    """Return panels as CxF3; spectra not at even steps of whole nanometres are refused."""
    try:
        from colour_cxf import cxf3, write_cxf
    except ImportError as error:
        raise cxf_missing() from error
    specifications: dict[tuple[object, ...], Any] = {}
    objects = [
        _object(cxf3, row, number, specifications)
        for number, row in enumerate(reading_rows(panels), 1)
    ]
    document = cxf3.CxF(
        file_information=cxf3.FileInformation(creator=f"matchlib {__version__}"),
        resources=cxf3.Resources(
            object_collection=cxf3.ObjectCollection(object_value=objects),
            color_specification_collection=cxf3.ColorSpecificationCollection(
                color_specification=list(specifications.values())
            ),
        ),
    )
    data: bytes = write_cxf(document)
    return data


def _object(cxf3: Any, row: ReadingRow, number: int, specifications: dict[Any, Any]) -> Any:
    header, (cells,) = table_of([row])
    tags = [
        cxf3.Tag(name=name, value=str(cell))
        for name, cell in zip(header, cells, strict=True)
        if name not in _NOT_TAGS and cell not in (None, "") and (known_name(name) or is_note(name))
    ]
    values = [] if row.reading is None else [_value(cxf3, row.reading, specifications)]
    return cxf3.Object(
        object_type="Standard",
        name=row.panel.code,
        id=str(number),
        color_values=cxf3.ColorValues(choice=values),
        tag_collection=[cxf3.TagCollection(name="back", tag=tags)],
    )


def _value(cxf3: Any, reading: Reading, specifications: dict[Any, Any]) -> Any:
    viewing = reading.viewing
    start, step = _grid(reading.wavelengths) if reading.spectral else (None, None)
    key = (viewing, start, step)
    if key not in specifications:
        illuminant = getattr(cxf3.Illuminant, viewing.illuminant, None)
        measured = cxf3.MeasurementSpec(
            wavelength_range=cxf3.WavelengthRange(start_wl=start, increment=step)
        )
        specifications[key] = cxf3.ColorSpecification(
            id=f"S{len(specifications) + 1}",
            tristimulus_spec=None
            if illuminant is None
            else cxf3.TristimulusSpec(
                illuminant_or_custom_illuminant=illuminant,
                observer=getattr(cxf3.Observer, _OBSERVERS[viewing.observer]),
            ),
            measurement_spec=measured if reading.spectral else None,
        )
    name = specifications[key].id
    if reading.lab is not None:
        lightness, a, b = map(float, reading.lab)
        return cxf3.ColorCielab(l=lightness, a=a, b=b, color_specification=name)
    values = [float(v) for v in reading.reflectance]
    return cxf3.ReflectanceSpectrum(value=values, start_wl=start, color_specification=name)


def _grid(nm: tuple[float, ...]) -> tuple[int, int]:
    start, step = int(nm[0]), int(nm[1] - nm[0])
    if step < 1 or any(w != start + step * i for i, w in enumerate(nm)):
        raise FileError(
            "CxF holds spectra only at even steps of whole nanometres.",
            got=", ".join(f"{w:g}" for w in nm[:4]) + " … nm",
            remedy="export as CSV, XLSX or CGATS instead.",
        )
    return start, step
