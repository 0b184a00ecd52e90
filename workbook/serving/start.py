"""The workbook opened: its notebooks laid out, its address told, its server run."""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Callable
from pathlib import Path

from workbook.serving.address import Address, claim
from workbook.serving.notebooks import copy_notebooks, notebooks_folder, work_folder
from workbook.session.opening import ARCHIVE

__all__ = ["serve_workbook"]

# A socket's whole path may have a hundred characters, and some systems' own folder has fifty.
_SHORT = "/tmp" if os.name == "posix" else None  # noqa: S108  what is made in it is the owner's alone


def serve_workbook(
    archive: str,
    *,
    lab: bool = False,
    share: bool = False,
    renew: bool = False,
    port: int = 0,
    work: str | None = None,
    browser: bool = True,
    demo: bool = False,
    tell: Callable[[str], None],
) -> None:
    """Serve the workbook until it is stopped.

    `archive`: file or URL; goes to the notebooks in the environment. `port`: 0 takes the one it had
    before, or a free one.
    """
    from workbook.theme import jupyter_folder

    source = notebooks_folder()
    address = claim(archive, port=port, share=share, renew=renew)
    file = archive if "://" in archive else str(Path(archive).absolute())
    paths = [str(jupyter_folder()), os.environ.get("JUPYTER_PATH", "")]
    os.environ[ARCHIVE] = file
    os.environ["JUPYTER_PATH"] = os.pathsep.join(filter(None, paths))
    with tempfile.TemporaryDirectory(prefix=_clear_rooms(), dir=_SHORT) as room:
        if lab:
            from workbook.serving.lab import serve_lab

            folder = work_folder(archive, work)
            for name in copy_notebooks(source, folder):
                tell(f"{name} was changed in {folder}, so yours is used.")
            serve_lab(folder, address, Path(room), tell=tell, browser=browser)
            return
        folder = Path(room, "pages")
        copy_notebooks(source, folder)
        from workbook.serving.pages import PageServer

        about = "demonstration: invented panels" if demo else f"archive: {Path(file).stem}"
        server = PageServer(folder, address, Path(room), about=about, demo=demo, browser=browser)
        _tell(address, tell)
        server.start()


def _tell(address: Address, tell: Callable[[str], None]) -> None:
    if address.shared:
        tell(f"The workbook is at {address.announced} for whoever scans this, and on this machine:")
        tell(address.code())
    else:
        tell(f"The workbook is at {address.announced} on this machine. Ctrl-C stops it.")


def _clear_rooms() -> str:
    """Take away the rooms of servers that were killed; return how this one's name begins."""
    for left in Path(_SHORT).glob("workbook-*-*") if _SHORT else ():
        number = left.name.split("-")[1]
        try:
            if number.isdigit() and left.stat().st_uid == os.getuid():
                os.kill(int(number), 0)
        except ProcessLookupError:
            shutil.rmtree(left, ignore_errors=True)
        except OSError:
            continue  # ended meanwhile
    return f"workbook-{os.getpid()}-"
