"""The command line put together, and its way out: 0 done, 1 the user's error, 2 wrong usage."""

from __future__ import annotations

import gc
import os
import signal
import sys
from collections.abc import Sequence
from importlib import import_module

import click

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


class _InOrder(click.Group):
    """A group that tells of its commands in the order in which they were put in."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(self.commands)


def _show_completion(ctx: click.Context, _: click.Parameter, shell: str | None) -> None:
    from click.shell_completion import get_completion_class

    kind = get_completion_class(shell) if shell else None
    if kind is not None:
        click.echo(kind(ctx.command, {}, "workbook", "_WORKBOOK_COMPLETE").source())
        ctx.exit()


def _put_in(app: click.Group, module: str, names: Sequence[str]) -> None:
    held = import_module(f"workbook.cli.{module}")
    for name in names:
        app.add_command(command(name, getattr(held, f"_{name.replace('-', '_')}")))


def assembled(word: str | None = None) -> click.Group:
    """Put the command line together: all of it, or as much as one of its words needs."""
    app = _InOrder(
        "workbook",
        params=[
            click.Option(
                ["--show-completion"],
                type=click.Choice(["bash", "zsh", "fish"]),
                help="Print what completes commands and options in a shell, to be read where it "
                'starts: in bash, eval "$(workbook --show-completion bash)".',
                is_eager=True,
                expose_value=False,
                callback=_show_completion,
            )
        ],
        help=(
            "Recipes for transparent colour coats over a ground, from an archive of panels.\n\n"
            "What looks into an archive takes --archive (a file, or the address of a database). A "
            "mix ratio is always carrier to colour, carrier first: 6:1 is six parts of carrier to "
            "one of colour."
        ),
        context_settings={"help_option_names": ["-h", "--help"]},
    )
    click.version_option(
        __version__,
        prog_name="workbook",
        message="%(prog)s %(version)s",
        help="Say the version and end.",
    )(app)
    known = word in _GROUPS or any(word in names for names in _COMMANDS.values())
    for module, names in _COMMANDS.items():
        if wanted := [name for name in names if not known or name == word]:
            _put_in(app, module, wanted)
    for module, (purpose, *inside) in _GROUPS.items():
        if not known or module == word:
            inner = _InOrder(module, help=purpose)
            _put_in(inner, module, inside)
            app.add_command(inner)
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
