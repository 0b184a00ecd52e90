"""What is to be matched, from a file: the readings of one thing, or of many, each by its name."""

from __future__ import annotations

import logging
from collections.abc import Mapping
from pathlib import Path

from matchlib.domain import Reading, Viewing
from matchlib.errors import TargetError
from matchlib.readings._lookup import Lookup
from matchlib.readings._measured import MeasuredReader
from matchlib.readings.files import Path_, asked, placing, tables_in
from matchlib.readings.questions import Asking, Stated, Undecided
from matchlib.readings.whole import file_bytes

__all__ = ["PICTURES", "RAW_PICTURES", "read_target", "read_targets"]

RAW_PICTURES = (
    *(".dng", ".nef", ".cr2", ".cr3", ".arw", ".raf", ".orf", ".rw2", ".pef", ".srw", ".x3f"),
    ".3fr",
)
"""Endings of names of cameras' raw files."""
PICTURES = (
    *(".jpg", ".jpeg", ".heic", ".heif", ".webp", ".png", ".tif", ".tiff"),
    *RAW_PICTURES,
)
"""Endings of names of photographs."""


def read_target(
    path: Path_,
    *,
    panel: str | None = None,
    decimal: str | None = None,
    scale: str | None = None,
    answers: Mapping[str, str] | None = None,
) -> tuple[Reading, ...]:
    """Read a target: one reading, or repeat readings of one thing.

    Parameters
    ----------
    path : path-like
        The file; needs no recipe columns. Or a photograph of the one thing beside a colour chart.
    panel : str, optional
        Code of the panel (or name of the sample) wanted, where the file holds several.
    decimal, scale, answers
        As for `read_file`. Light and geometry that neither file nor answer says are taken as
        D65/10° 45:0, with a warning.

    Returns
    -------
    tuple of Reading
        At least one.

    Raises
    ------
    TargetError
        If the file holds no reading, or those of several things.
    FileError
        If the file cannot be read, a row of it is wrong, or a question is open.

    Examples
    --------
    >>> from matchlib.demo import demo_table
    >>> with demo_table() as file:
    ...     (reading,) = read_target(file, panel="T001")
    >>> reading.source
    'spectrophotometer'
    """
    if Path(path).suffix.casefold() in PICTURES:
        return (_photographed(path),)
    found = read_targets(path, panel=panel, decimal=decimal, scale=scale, answers=answers)
    if len(found) > 1:
        raise TargetError(
            "This file holds readings of several things.",
            expected="one reading, or repeat readings with one panel code",
            got=", ".join(list(found)[:8]) + (" …" if len(found) > 8 else ""),
            remedy="leave only the target's rows in the file, or name its panel.",
            where=Path(path).name,
        )
    return next(iter(found.values()))


def read_targets(
    path: Path_,
    *,
    panel: str | None = None,
    decimal: str | None = None,
    scale: str | None = None,
    answers: Mapping[str, str] | None = None,
) -> dict[str, tuple[Reading, ...]]:
    """Read many targets: the readings of a file, by the code or name beside them.

    Parameters
    ----------
    path, panel, decimal, scale, answers
        As for `read_target`; a photograph is not.

    Returns
    -------
    dict of str to tuple of Reading
        At least one, in the file's order.

    Raises
    ------
    TargetError
        If the file holds no reading.
    FileError
        If the file cannot be read, a row of it is wrong, or a question is open.

    Examples
    --------
    >>> from matchlib.demo import demo_table
    >>> with demo_table() as table:
    ...     found = read_targets(table)
    >>> len(found), len(found["T001"])
    (133, 1)
    """
    stated = Stated(decimal=decimal, scale=scale)
    data, name = file_bytes(path)
    asking = Asking(answers)
    found: dict[str, list[Reading]] = {}
    try:
        with placing(name):
            for table in tables_in(data, asking):
                lookup = Lookup(table, asking, stated)
                measured = MeasuredReader(lookup, usual=Viewing())
                for row in table.rows:
                    with placing(lookup.where(row)):
                        lookup.check_width(row)
                        code = lookup.text(row, "panel")
                        wanted = panel is None or code == panel
                        if wanted and (readings := measured.readings(row)):
                            found.setdefault(code, []).extend(readings)
            if not found:
                raise TargetError(
                    "This file holds no reading" + (f" of {panel!r}." if panel else "."),
                    expected="columns L, a, b, or spectral columns",
                    remedy="export the reading again.",
                )
    except Undecided:
        raise asked(asking, name, "").refusal() from None
    _tell_assumed(asking, name)
    return {code: tuple(readings) for code, readings in found.items()}


def _photographed(path: Path_) -> Reading:
    """The reading of the one panel in a photograph."""
    from matchlib.readings.photo import PhotoRefused, load_picture, read_photo

    (found,) = read_photo(load_picture(path)).values()
    if isinstance(found, PhotoRefused):
        raise found
    return found.reading


def _tell_assumed(asking: Asking, name: str) -> None:
    """Say by which light and geometry a target was read, where its file does not."""
    assumed = [q for q in asking.questions if q.answer is None and q.key in ("light", "geometry")]
    hints = [
        f" --answer {q.key}={others[0]}"
        for q in assumed
        if (others := [c.key for c in q.choices if c.key != q.default])
    ]
    if assumed:
        # Without a handler of the caller's own, logging shows this on standard error.
        logging.getLogger("matchlib").warning(
            "%s does not say its %s: taken as %s.%s",
            name,
            " and ".join(q.key for q in assumed),
            " and ".join(str(q.default) for q in assumed),
            " To say otherwise:" * bool(hints) + "".join(hints),
        )
