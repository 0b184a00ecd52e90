"""The bundled demonstration, put into a folder as a workshop's own files would be."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from matchlib.errors import ArchiveError, FileError

if TYPE_CHECKING:
    from matchlib.domain import Reading

__all__ = ["DemoShop", "make_demo"]


@dataclass(frozen=True, slots=True)
class DemoShop:
    """The demonstration's files.

    `archive`: archive of the invented workshop. `samples`: customers' samples, a reading each, by
    name. `targets`: what is in them. `panels`: panels in the archive.
    """

    archive: Path
    samples: dict[str, Path]
    targets: dict[str, Reading]
    panels: int


def make_demo(folder: str | Path) -> DemoShop:
    """Make the demonstration workshop in a folder; a second time changes nothing.

    `folder`: made if it is not there.
    """
    from matchlib.archive import Archive
    from matchlib.demo import demo_panels, demo_targets
    from matchlib.readings import write_table

    place = Path(folder)
    try:
        (place / "samples").mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise FileError(
            f"This folder cannot be made: {error.strerror}.",
            where=str(place),
            remedy="name another folder with --dir.",
        ) from error
    panels, targets = demo_panels(), demo_targets()
    archive = place / "panels.db"
    if archive.exists():
        with Archive.open(archive, read_only=True) as opened:
            codes = {p.code for p in opened.panels(include_deleted=True)}
        if codes and not codes & {p.code for p in panels}:
            raise ArchiveError(
                "This folder holds an archive of other panels.",
                where=str(archive),
                remedy="name another folder with --dir.",
            )
    table = write_table(panels, place / "panels.csv")
    with Archive.open(archive, create=True) as kept:
        # What the user has since changed in the demonstration is theirs.
        kept.add(panels, file=table, who="demo", on_duplicate="skip")
        count = len(kept)
    samples = {}
    for name, reading in targets.items():
        samples[name] = place / "samples" / f"{re.sub(r'[^a-z0-9]+', '-', name.casefold())}.csv"
        _write_sample(samples[name], name, reading)
    return DemoShop(archive, samples, targets, count)


def _write_sample(path: Path, name: str, reading: Reading) -> None:
    from matchlib.readings.writing import save_bytes

    view = reading.viewing
    cells = {
        "panel": name,
        "source": reading.source,
        "illuminant": view.illuminant,
        "observer": view.observer,
        "geometry": view.geometry,
    }
    if reading.lab is not None:
        cells |= {n: repr(v) for n, v in zip("Lab", reading.lab, strict=True)}
    else:
        cells["scale"] = "0-1"
        pairs = zip(reading.wavelengths, reading.reflectance, strict=True)
        cells |= {f"{nm:g}": repr(v) for nm, v in pairs}
    save_bytes(f"{','.join(cells)}\n{','.join(cells.values())}\n".encode(), path)
