"""Commands that open the workbook in a browser."""

from __future__ import annotations

import os
from typing import Annotated, Any

import click

from workbook.cli.common import ArchiveOption, note, opened, show
from workbook.cli.options import Option
from workbook.cli.results import matches_text

__all__ = ["NO_BROWSER"]

NO_BROWSER = "WORKBOOK_NO_BROWSER"
"""Environment variable that keeps every command from opening a browser."""


def _demo(
    *,
    folder: Annotated[
        str, Option("--dir", help="Folder for the demonstration.", metavar="PATH")
    ] = "demo-workshop",
    open_: Annotated[bool, Option(help="Open the workbook afterwards.")] = True,
) -> None:
    """Try it all on an invented workshop: archive, fit, recipes for three customers' samples.

    Makes a folder with the archive, the table it came from and the samples; a second time changes
    nothing. Then opens the workbook, unless --no-open is given or WORKBOOK_NO_BROWSER is set.
    """
    from workbook.session.demo import make_demo
    from workbook.session.order import aim_of
    from workbook.session.targets import angles_of_file

    shop = make_demo(folder)
    show(
        f"An invented workshop of {shop.panels} panels is in {folder}: archive panels.db, "
        "table panels.csv, customers' samples in samples."
    )
    archive = str(shop.archive)
    with opened(archive) as session:
        note("Fitting the model ...")
        note(session.fit().text)
        for name, file in shop.samples.items():
            show(f"\nSample: {name} ({file})")
            target = aim_of(angles_of_file(file))
            show(matches_text(session.match(target, session.limits(), top=3)))
    if open_ and not os.environ.get(NO_BROWSER):
        _serve(archive, demo=True)


def _open(
    *,
    share: Annotated[
        bool, Option(help="Let the shop's network in: shows a code for tablets to scan.")
    ] = False,
    renew: Annotated[
        bool, Option(help="With a new code, so that who knew the old one stays out.")
    ] = False,
    lab: Annotated[bool, Option(help="In JupyterLab, with the cells behind the pages.")] = False,
    port: Annotated[
        int,
        Option(
            type=click.IntRange(0, 65535),
            help="Port; 0 takes the one the archive had before, or a free one.",
        ),
    ] = 0,
    work: Annotated[
        str | None,
        Option(help="With --lab: folder for your notebooks; else beside the archive."),
    ] = None,
    archive: ArchiveOption = "panels.db",
) -> None:
    """Open the workbook in the browser.

    Its pages are served to this machine alone, unless --share is given: then whoever scans the code
    in the same network gets the same pages, and nobody else. No code is shown, none can be run from
    a page, and no other file can be read. Where there is no archive yet, the page makes one: name
    the grounds, read each bare, name the colours. Ctrl-C stops it.
    """
    if share and lab:
        raise click.BadParameter("JupyterLab runs code, so it is never shared: give one of the two")
    from workbook.session.opening import is_missing

    if is_missing(archive):
        note(f"There is no archive at {archive} yet: the page offers to make one.")
    else:
        opened(archive).close()  # said here, not on a page
    _serve(archive, share=share, renew=renew, lab=lab, port=port, work=work)


def _serve(archive: str, **how: Any) -> None:
    from workbook.serving import serve_workbook

    serve_workbook(archive, browser=not os.environ.get(NO_BROWSER), tell=note, **how)
