"""Commands that open the workbook in a browser."""

from __future__ import annotations

import os
from typing import Annotated

import typer

from workbook.cli.common import ArchiveOption, note, show

__all__ = ["COMMANDS", "NO_BROWSER"]

NO_BROWSER = "WORKBOOK_NO_BROWSER"
"""Environment variable that keeps every command from opening a browser."""


def _demo(
    *,
    folder: Annotated[
        str, typer.Option("--dir", help="Folder for the demonstration.", metavar="PATH")
    ] = "demo-workshop",
    open_: Annotated[
        bool, typer.Option("--open/--no-open", help="Open the workbook afterwards.")
    ] = True,
) -> None:
    """Try it all on an invented workshop: archive, fit, recipes for three customers' samples.

    Makes a folder with the archive, the table it came from and the samples; a second time changes
    nothing. Then opens the workbook, unless --no-open is given or WORKBOOK_NO_BROWSER is set.
    """
    from workbook.cli.results import matches_text
    from workbook.session import Session, make_demo
    from workbook.session.order import aim_of

    shop = make_demo(folder)
    show(
        f"An invented workshop of {shop.panels} panels is in {folder}: archive panels.db, "
        "table panels.csv, customers' samples in samples."
    )
    with Session.open(shop.archive, write=False) as session:
        note("Fitting the model ...")
        note(session.fit().text)
        for name, file in shop.samples.items():
            show(f"\nSample: {name} ({file})")
            target = aim_of(session.angles_of_file(file))
            show(matches_text(session.match(target, top=3)))
    if open_ and not os.environ.get(NO_BROWSER):
        _open(archive=str(shop.archive))


def _open(
    *,
    kiosk: Annotated[
        bool,
        typer.Option("--kiosk", help="For a tablet in the booth: pages without any code."),
    ] = False,
    port: Annotated[int, typer.Option(help="Port on this machine; 0 takes a free one.")] = 0,
    work: Annotated[
        str | None,
        typer.Option(help="Folder for your notebooks; else beside the archive."),
    ] = None,
    archive: ArchiveOption = "panels.db",
) -> None:
    """Open the workbook in the browser, served by this machine to this machine alone.

    JupyterLab with a token by default. With --kiosk the notebooks are pages: no code is shown, none
    can be run, and no other file can be read. Ctrl-C stops it.
    """
    from workbook.cli.serving import serve_workbook
    from workbook.session import Session

    Session.open(archive, write=False).close()  # said here, not in a notebook
    browser = not os.environ.get(NO_BROWSER)
    code = serve_workbook(archive, kiosk=kiosk, port=port, work=work, browser=browser, tell=note)
    if code:
        raise typer.Exit(1)


COMMANDS = {"demo": _demo, "open": _open}
"""By name, in the order in which they are told of."""
