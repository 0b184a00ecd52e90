"""The command line put together, and its way out: 0 done, 1 the user's error, 2 wrong usage."""

from __future__ import annotations

import gc
import os
import signal
import sys
from collections.abc import Sequence
from importlib import import_module
from typing import Annotated

import typer

from matchlib import __version__
from workbook.cli.common import command

__all__ = ["assembled", "main"]

_COMMANDS = {
    "opening": ("demo", "open"),
    "importing": ("import",),
    "merging": ("merge",),
    "archive": ("export", "history", "undo", "check"),
    "keeping": ("amend", "remove"),
    "backups": ("backup", "restore", "salvage"),
    "panels": ("panels", "panel", "coverage", "repeatability"),
    "trust": ("fit", "audit"),
    "modelling": ("predict", "match"),
    "correcting": ("correct",),
    "next_panels": ("next",),
    "back": ("add", "label"),
    "photo": ("photo",),
    "pot": ("mix", "stock"),
    "sheets": ("job-sheet",),
    "repair": ("aged", "blend-in", "fade"),
    "school": ("first-day", "how-to-read", "troubles", "words"),
}
"""Commands by their module, in the order in which they are told of; `_first_day` is `first-day`."""

_GROUPS = {
    "job": (
        "Customers' jobs: begin, find, plan, print, close.",
        *("list", "new", "show", "aim", "plan", "pot", "sheet", "sprayed", "change", "close"),
        "reopen",
    ),
    "names": (
        "Names and their lots: list, rename, join two spellings.",
        *("list", "near", "rename", "join", "lot"),
    ),
}
"""Groups by their module: what for, and their commands."""


def _say_version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"workbook {__version__}")
        raise typer.Exit


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


def _put_in(app: typer.Typer, module: str, names: Sequence[str]) -> None:
    held = import_module(f"workbook.cli.{module}")
    for name in names:
        command(app, name, getattr(held, f"_{name.replace('-', '_')}"))


def assembled(word: str | None = None) -> typer.Typer:
    """Put the command line together: all of it, or as much as one of its words needs."""
    app = typer.Typer(
        name="workbook",
        help=(
            "Recipes for transparent colour coats over a ground, from an archive of panels.\n\n"
            "What looks into an archive takes --archive (a file, or the address of a database). A "
            "mix ratio is always carrier to colour, carrier first: 6:1 is six parts of carrier to "
            "one of colour."
        ),
        no_args_is_help=True,
        rich_markup_mode=None,
        pretty_exceptions_enable=False,
        context_settings={"help_option_names": ["-h", "--help"]},
    )
    app.callback()(_whole)
    known = word in _GROUPS or any(word in names for names in _COMMANDS.values())
    for module, names in _COMMANDS.items():
        if wanted := [name for name in names if not known or name == word]:
            _put_in(app, module, wanted)
    for module, (purpose, *inside) in _GROUPS.items():
        if not known or module == word:
            inner = typer.Typer(name=module, help=purpose)
            _put_in(inner, module, inside)
            app.add_typer(inner)
    return app


_FEW_COLLECTIONS = 250_000
"""Objects made before the first look for garbage: what a command imports is none, and to look
through it again and again takes a tenth of its time."""


def _end(number: int, _frame: object) -> None:
    raise SystemExit(128 + number)


def main() -> None:
    """Run the command line on the arguments of this process."""
    signal.signal(signal.SIGTERM, _end)  # so that what is half written is taken away
    gc.set_threshold(_FEW_COLLECTIONS)
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "1")  # typer's; to look for any is slow
    try:
        # To build the options of fifty commands takes longer than most of them run.
        assembled(sys.argv[1] if len(sys.argv) > 1 else None)()
    except KeyboardInterrupt:
        raise SystemExit(130) from None
    except BrokenPipeError:
        # Whoever read the output has had enough of it; nothing more may be written on exit.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        raise SystemExit(1) from None
    finally:
        gc.freeze()  # the process ends: there is no need to look for garbage once more
