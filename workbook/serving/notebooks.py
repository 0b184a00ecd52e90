"""The notebooks that are served: where they came with the tool, and the user's copies.

A user's copy may be changed, and an update of the tool brings a new one only where it was not.
Outputs do not count as changes: JupyterLab keeps a page's outputs in the copy.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
from pathlib import Path

from matchlib.errors import FileError

__all__ = ["copy_notebooks", "first_page", "notebooks_folder", "work_folder"]

_SHIPPED = ".shipped.json"


def first_page() -> str:
    """Return the notebook to begin with.

    Returned: the jobs; the library for a shop that has nothing yet.
    """
    from workbook.session.opening import ARCHIVE, is_new

    place = os.environ.get(ARCHIVE, "")
    return "browse_the_library.ipynb" if place and is_new(place) else "match_a_sample.ipynb"


def notebooks_folder() -> Path:
    """Return where the notebooks came with the tool."""
    import workbook

    package = Path(workbook.__file__).resolve().parent
    for place in (package / "notebooks", package.parent / "notebooks"):
        if any(place.glob("*.ipynb")):
            return place
    raise FileError(
        "The notebooks did not come with this installation.",
        expected=f"notebooks in {package / 'notebooks'}",
        remedy="install the tool again.",
    )


def work_folder(archive: str, work: str | None) -> Path:
    """Return the folder for the user's copies.

    `work`: the folder, where the user named one. Returned: beside the archive's file; for a URL
    under the present folder.
    """
    if work is not None:
        return Path(work).absolute()
    home = Path.cwd() if "://" in archive else Path(archive).absolute().parent
    return home / "notebooks"


def copy_notebooks(source: Path, target: Path) -> list[str]:
    """Bring the notebooks into a folder, leaving alone what was changed there."""
    kept = []
    try:
        target.mkdir(parents=True, exist_ok=True)
        record = target / _SHIPPED
        shipped = json.loads(record.read_text("utf-8")) if record.is_file() else {}
        for book in sorted(source.glob("*.ipynb")):
            copied = target / book.name
            known = shipped.get(book.name)
            if copied.exists() and known != _digest(copied) != _digest(book):
                kept.append(book.name)
                continue
            shutil.copyfile(book, copied)
            shipped[book.name] = _digest(book)
        record.write_text(json.dumps(shipped, indent=1), "utf-8")
    except (OSError, ValueError) as error:
        raise FileError(
            f"The notebooks cannot be copied: {error}.",
            where=str(target),
            remedy="name a folder that you can write to with --work.",
        ) from error
    return kept


def _digest(path: Path) -> str:
    cells = json.loads(path.read_text("utf-8")).get("cells", [])
    content = [(c.get("cell_type"), "".join(c.get("source", ""))) for c in cells]
    return hashlib.sha256(json.dumps(content).encode()).hexdigest()
