"""Whether a table's reflectances are percent or 0-1: declared, alone possible, or asked."""

from __future__ import annotations

import re

from matchlib.errors import FileError, MatchlibError
from matchlib.readings._cells import read_text
from matchlib.readings._grid import Row
from matchlib.readings._lookup import Lookup
from matchlib.readings._words import scale_of
from matchlib.readings.questions import Choice, Question, Undecided

__all__ = ["ReflectanceScale"]

# Even a black panel's clear surface sends back more than 1.5 % somewhere.
_BLACK = 1.5
_TRIED = 200


class ReflectanceScale:
    """The reflectance scale of one table.

    `note` says how it was found where the table does not name it.
    """

    def __init__(self, lookup: Lookup) -> None:
        self._lookup = lookup
        self.note = ""
        self._file = self._found(lookup.stated.scale)

    def of(self, row: Row) -> str:
        """Return ``unit`` or ``percent`` for a row; waits where that is still to be answered."""
        own = self._own(row)
        if own and self._file and own != self._file:
            raise FileError(
                "This row declares another reflectance scale than the file.",
                remedy="declare one scale for the whole table.",
            )
        scale = own or self._file
        # where none is known it was asked already, of the file: this row waits for that answer
        return scale or self._word(self._lookup.asking.answer(self._question, row.number))

    def _own(self, row: Row) -> str | None:
        if "scale" not in self._lookup.columns.known:
            return None
        text = self._lookup.text(row, "scale")
        return _known_scale(text, "the column scale") if text else None

    def _found(self, declared: str | None) -> str | None:
        lookup = self._lookup
        scales = {s for s in (*lookup.columns.scales, lookup.table.scale) if s}
        if "scale" in lookup.table.facts:
            scales.add(_known_scale(lookup.table.facts["scale"], "the file"))
        if len(scales) > 1:
            raise FileError(
                "Some spectral columns say percent and others 0-1.",
                remedy="declare one scale for the whole table.",
            )
        peaks = self._peaks()
        if peaks and declared and scales - {declared}:
            raise FileError(
                "The reflectance scale is declared twice, and differently.",
                got="0-1 and percent",
                remedy="declare what the file itself says.",
            )
        stated = declared or next(iter(scales), None)
        by_row = {self._tried(row) for row, _ in peaks}
        if peaks and None not in by_row:
            if len(by_row) > 1 or "?" in by_row or (stated and by_row != {stated}):
                return stated  # rows that say otherwise are refused one by one
            stated = by_row.pop()
        if not peaks:
            return stated
        values = sorted(v for _, v in peaks)
        top = 10.0 if self._aspecular() else _BLACK
        if values[len(values) // 2] > top:
            possible = {"percent"}
        else:
            possible = {"unit", "percent"} if values[-1] > _BLACK else {"unit"}
        if stated in possible:
            return stated
        if not stated and possible == {"percent"}:
            self.note = "reflectances were taken as percent, since they are far above 1"
            return "percent"
        if not stated and (lit := self._by_lightness()):
            word = "percent" if lit == "percent" else "0-1"
            self.note = (
                f"reflectances were taken as {word}, since only so do they give the file's L"
            )
            return lit
        return self._asked(peaks[0], stated, values[-1])

    def _by_lightness(self) -> str | None:
        """The one scale in which the spectra can be as light as the L beside them."""
        import numpy as np  # only files without a scale pay

        from matchlib.colorimetry.lab import lab_curve

        possible = {"unit", "percent"}
        for row in self._lookup.table.rows[:_TRIED]:
            for group in self._lookup.columns.groups:
                spectrum = self._values(row, [i for _, i in group.spectral])
                stated = self._values(row, [group.places["L"]] if "L" in group.places else [])
                if spectrum and stated:
                    # Y is a weighted mean of the reflectances, whatever the light
                    ends = np.maximum([min(spectrum), max(spectrum)], 0.0)
                    for scale, white in (("unit", 1.0), ("percent", 100.0)):
                        low, high = 116 * lab_curve(ends / white) - 16
                        if not low - 1 <= stated[0] <= high + 1:
                            possible.discard(scale)
        return possible.pop() if len(possible) == 1 else None

    def _values(self, row: Row, places: list[int]) -> list[float]:
        values = []
        for i in places:
            if (cell := row.at(i)) is not None:
                try:
                    values.append(self._lookup.number(cell, "r"))
                except MatchlibError:
                    continue
        return values

    def _tried(self, row: Row) -> str | None:
        try:
            return self._own(row)
        except MatchlibError:
            return "?"

    def _asked(self, first: tuple[Row, float], stated: str | None, top: float) -> str | None:
        where, peak = self._lookup.where(first[0]), first[1]
        text = "Are the reflectances of this file percent, or 0-1? The file does not say."
        if stated == "unit":
            text = (
                "The file declares reflectances of 0-1, but most of its spectra are far above "
                "1: numbers that look like percent. Which are they?"
            )
        elif stated == "percent":
            text = (
                f"The file declares reflectances in percent, but none is above {_BLACK:g}% "
                f"(the highest is {top:g}): numbers that look like 0-1. Which are they?"
            )
        choices = [
            Choice(word, word, f"{where}: at most {peak / by:.3%} of the light comes back")
            for word, by in (("0-1", 1.0), ("percent", 100.0))
        ]
        self._question = Question("scale", text, choices)
        try:
            return self._word(self._lookup.asking.answer(self._question))
        except Undecided:
            return None

    def _word(self, answer: str) -> str:
        return "unit" if answer == "0-1" else answer

    def _aspecular(self) -> bool:
        lookup = self._lookup
        geometries = [g.viewing.get("geometry", "") for g in lookup.columns.groups]
        geometries.append(lookup.facts.get("geometry", ""))
        geometries += [read_text(lookup.own(r, "geometry"), "") for r in lookup.table.rows[:50]]
        return any("as" in t or re.fullmatch(r"-?\d{2,3}(?:\.0)?", t) for t in geometries)

    def _peaks(self) -> list[tuple[Row, float]]:
        places = [i for g in self._lookup.columns.groups for _, i in g.spectral]
        found = []
        for row in self._lookup.table.rows if places else ():
            if values := self._values(row, places):
                found.append((row, max(values)))
        return found


def _known_scale(text: str, where: str) -> str:
    scale = scale_of(text)
    if scale is None:
        raise FileError(
            f"The reflectance scale declared by {where} is not known.",
            expected="0-1 or percent",
            got=repr(text[:40]),
            remedy="declare 0-1 or percent.",
        )
    return scale
