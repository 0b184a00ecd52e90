"""The workbook opened: its notebooks laid out, its address told, its server run."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable
from pathlib import Path

from workbook.serving.address import Address, claim
from workbook.serving.notebooks import copy_notebooks, notebooks_folder, work_folder

__all__ = ["serve_workbook"]


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

    Parameters
    ----------
    archive : str
        File or URL; goes to the notebooks in the environment.
    lab : bool
        In JupyterLab, with its cells, to this machine alone.
    share : bool
        To the network too.
    renew : bool
        With a new secret.
    port : int
        0 takes the one it had before, or a free one.
    work : str, optional
        Folder for the user's copies, for JupyterLab.
    browser : bool
        Whether to open one.
    demo : bool
        Whether the archive is the demonstration.
    tell : callable
        Takes what should be said.

    Raises
    ------
    FileError
        If the port cannot be had or the notebooks not be copied.
    """
    from workbook.theme import jupyter_folder

    source = notebooks_folder()
    address = claim(archive, port=port, share=share, renew=renew)
    file = archive if "://" in archive else str(Path(archive).absolute())
    paths = [str(jupyter_folder()), os.environ.get("JUPYTER_PATH", "")]
    os.environ["WORKBOOK_ARCHIVE"] = file
    os.environ["JUPYTER_PATH"] = os.pathsep.join(filter(None, paths))
    with tempfile.TemporaryDirectory(prefix="workbook-") as room:
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

        about = "The demonstration" if demo else f"Archive: {Path(file).name}"
        server = PageServer(folder, address, about=about, browser=browser)
        _tell(address, tell)
        server.start()


def _tell(address: Address, tell: Callable[[str], None]) -> None:
    if address.shared:
        tell(f"The workbook is at {address.told} for whoever scans this, and on this machine:")
        tell(address.code())
    else:
        tell(f"The workbook is at {address.told} on this machine. Ctrl-C stops it.")
