"""The command line put together, and its way out: 0 done, 1 the user's error, 2 wrong usage."""

from __future__ import annotations

import os
import signal
import sys
from typing import Annotated

import typer

from matchlib import __version__
from workbook.cli import (
    archive,
    back,
    backups,
    bench,
    importing,
    job,
    keeping,
    merging,
    modelling,
    names,
    opening,
    panels,
    photo,
    pot,
    repair,
    school,
    sheets,
    trust,
)
from workbook.cli.common import command

__all__ = ["app", "main"]

app = typer.Typer(
    name="workbook",
    help=(
        "Recipes for transparent colour coats over a ground, from an archive of panels.\n\n"
        "What looks into an archive takes --archive (a file, or the address of a database). A mix "
        "ratio is always carrier to colour, carrier first: 6:1 is six parts of carrier to one of "
        "colour."
    ),
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)
for _group in (
    *(opening, importing, merging, archive, keeping, backups, panels, trust, modelling, bench),
    *(back, photo, pot, sheets, repair, school),
):
    for _name, _function in _group.COMMANDS.items():
        command(app, _name, _function)


def _say_version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"workbook {__version__}")
        raise typer.Exit


@app.callback()
def _whole(
    *,
    version: Annotated[  # its callback does it
        bool,
        typer.Option(
            "--version", help="Say the version and end.", is_eager=True, callback=_say_version
        ),
    ] = False,
) -> None:
    pass


for _word, _group, _help in (
    ("job", job, "Customers' jobs: begin, find, plan, print, close."),
    ("names", names, "Names and their lots: list, rename, join two spellings."),
):
    _app = typer.Typer(name=_word, help=_help)
    for _name, _function in _group.COMMANDS.items():
        command(_app, _name, _function)
    app.add_typer(_app)


def _end(number: int, _frame: object) -> None:
    raise SystemExit(128 + number)


def main() -> None:
    """Run the command line on the arguments of this process."""
    signal.signal(signal.SIGTERM, _end)  # so that what is half written is taken away
    try:
        app()
    except KeyboardInterrupt:
        raise SystemExit(130) from None
    except BrokenPipeError:
        # Whoever read the output has had enough of it; nothing more may be written on exit.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        raise SystemExit(1) from None
