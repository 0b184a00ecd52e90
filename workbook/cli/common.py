"""What the commands share: their options, their errors, their output."""

from __future__ import annotations

import json
import re
import sys
import tempfile
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import click

from matchlib.errors import MatchlibError
from workbook.cli.options import Option, called, parameters

if TYPE_CHECKING:
    from matchlib.domain import Viewing
    from workbook.session import Session

__all__ = [
    "ArchiveOption",
    "ArchiveOptions",
    "ChangeOptions",
    "CoatsOption",
    "FileOptions",
    "JsonOption",
    "LabOption",
    "LightOptions",
    "PouredOption",
    "RatioOption",
    "ScheduleOption",
    "SignedOptions",
    "WhoOption",
    "WhyOption",
    "answers_of",
    "command",
    "listed",
    "named_numbers",
    "note",
    "numbers_of",
    "opened",
    "show",
    "show_json",
    "standard_input",
]

_SCALES = {"percent": "percent", "%": "percent", "0-1": "unit", "0–1": "unit", "unit": "unit"}


ArchiveOption = Annotated[
    str,
    Option(
        envvar="WORKBOOK_ARCHIVE",
        help="The archive: a file, or postgresql://user@host/database.",
        metavar="PATH",
    ),
]
JsonOption = Annotated[bool, Option(help="Print the result as JSON.")]
LabOption = Annotated[
    tuple[float, float, float] | None,
    Option(help="A colour: L, a and b, such as --lab 40 -20 10.", metavar="L a b"),
]
WhoOption = Annotated[str, Option(envvar="WORKBOOK_WHO", help="Your name, for the history.")]
WhyOption = Annotated[str, Option(help="Why, for the history.")]
ScheduleOption = Annotated[str, Option(help="Coats: 4@6:1, or '2@6:1 2@3:1'.")]
RatioOption = Annotated[str, Option(help="Carrier to colour, with --coats.")]
CoatsOption = Annotated[int | None, Option(help="Colour coats, with --ratio.")]
PouredOption = Annotated[
    tuple[float, float] | None,
    Option(help="What was poured, to compare with the ratio.", metavar="CARRIER COLOUR"),
]


def opened(archive: str, *, write: bool = False) -> Session:
    """Open the archive that an option names."""
    from workbook.session import Session

    return Session.open(archive, write=write)


class _Asked:
    """An archive that is asked, and how it is to answer."""

    __slots__ = ()
    archive: str
    json_: bool

    def opened(self, *, write: bool = False) -> Session:
        """Open it."""
        return opened(self.archive, write=write)

    def answer(self, data: Any, text: str) -> None:
        """Print a result as JSON or as text."""
        show_json(data) if self.json_ else show(text)


@dataclass(frozen=True, slots=True)
class ArchiveOptions(_Asked):
    """The archive that is asked."""

    archive: ArchiveOption = "panels.db"
    json_: JsonOption = False


@dataclass(frozen=True, slots=True)
class SignedOptions(_Asked):
    """The archive that is written to, and by whom."""

    archive: ArchiveOption = "panels.db"
    who: WhoOption = ""
    json_: JsonOption = False


@dataclass(frozen=True, slots=True)
class ChangeOptions(_Asked):
    """The archive that is changed, and what its history says of it."""

    archive: ArchiveOption = "panels.db"
    who: WhoOption = ""
    why: WhyOption = ""
    json_: JsonOption = False

    @property
    def said(self) -> dict[str, str]:
        """Who changes it, and why, as an archive takes it."""
        return {"who": self.who, "why": self.why}

    def tell(self, number: int | None, done: str, nothing: str = "") -> None:
        """Say what was done, and how to take it back.

        `number`: the change's; None where there was `nothing` to do.
        """
        if self.json_:
            show_json({"change": number, "words": nothing if number is None else done})
        elif number is None:
            show(nothing or "It is so already.")
        else:
            show(f"{done} To take that back: workbook undo {number}")


@dataclass(frozen=True, slots=True)
class LightOptions:
    """The light under which a typed colour holds."""

    illuminant: Annotated[str, Option(help="Light under which typed Lab holds.")] = "D65"
    observer: Annotated[
        str, Option(help="Observer under which typed Lab holds: 2 or 10 degrees.")
    ] = "10"

    @property
    def viewing(self) -> Viewing:
        """Such a viewing, at 45:0."""
        from matchlib.domain import Viewing

        return Viewing(self.illuminant, self.observer)


@dataclass(frozen=True, slots=True)
class FileOptions:
    """What a file of readings is declared to hold.

    `scale`: ``percent``, ``0-1`` or ``unit``. `answer`: answers to what the file leaves open, each
    ``key=answer``.
    """

    scale: Annotated[
        str | None,
        Option(
            help="Declare the scale of the file's reflectances: percent, or 0-1.",
            metavar="percent|0-1",
        ),
    ] = None
    decimal: Annotated[
        str | None, Option(help="Declare the file's decimal sign.", metavar=".|,")
    ] = None
    answer: Annotated[
        list[str] | None, Option(help="Answer what the file leaves open.", metavar="KEY=ANSWER")
    ] = None

    def __post_init__(self) -> None:
        if self.scale is not None and self.scale.strip().casefold() not in _SCALES:
            raise click.BadParameter(f"the scale is percent or 0-1, not {self.scale!r}")
        answers_of(self.answer)

    @property
    def declared(self) -> dict[str, Any]:
        """The declarations as the readers of files take them."""
        scale = None if self.scale is None else _SCALES[self.scale.strip().casefold()]
        return {"decimal": self.decimal, "scale": scale, "answers": answers_of(self.answer)}


def numbers_of(text: str, count: int, wrong: str) -> list[float]:
    """Return numbers parted by commas or blanks; if there are not so many, say what is `wrong`."""
    try:
        found = [float(number) for number in text.replace(",", " ").split()]
    except ValueError:
        found = []
    if len(found) != count:
        raise click.BadParameter(wrong)
    return found


def named_numbers(text: str, count: int, such: str) -> tuple[str, list[float]]:
    """Return a name and its numbers, typed with a = between; `such`: how it is to be typed."""
    name, _, numbers = text.partition("=")
    return name.strip(), numbers_of(numbers, count, f"{such}, not {text!r}")


def answers_of(given: Sequence[str] | None) -> dict[str, str]:
    """Return answers by their keys; one that has no key is refused."""
    for text in given or ():
        if "=" not in text:
            raise click.BadParameter(f"an answer is KEY=ANSWER, not {text!r}")
    return dict(text.split("=", 1) for text in given or ())


_NUMBER = re.compile(r"[-+−]?\d+([.,]\d+)?$")


class _Command(click.Command):
    """A command that takes one archive at a time, and says what to name before what it was given.

    Two archives are never taken for one.
    """

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        named = [a for a in args if a == "--archive" or a.startswith("--archive=")]
        if len(named) > 1:
            raise click.BadParameter(
                "give --archive once: archives are never mixed. To take one into another: "
                "workbook merge OTHER",
                ctx=ctx,
            )
        ctx.allow_extra_args = True
        rest = super().parse_args(ctx, args)
        if ctx.args:
            ctx.fail(self._unnamed(ctx.args))
        return rest

    def _unnamed(self, given: Sequence[str]) -> str:
        """What to do about something that was typed without the option that it is for."""
        kind = "L a b" if all(map(_NUMBER.match, given)) else "FILE" * bool(Path(given[0]).suffix)
        for option in self.params:
            if kind and option.metavar == kind:
                named = f"{option.opts[0]} {' '.join(given)}"
                return f"{given[0]!r} stands alone. What to do: say what it is, as {named}"
        return f"{given[0]!r} is one thing more than this command takes."


@contextmanager
def standard_input(paths: Sequence[str]) -> Iterator[list[str]]:
    """Give files to read, what comes from standard input among them.

    `paths`: as typed; ``-`` for standard input.
    """
    if "-" not in paths:
        yield list(paths)
        return
    if paths.count("-") > 1 or sys.stdin.isatty():
        raise click.BadParameter("- is what another program sends: pipe one file into it")
    with tempfile.TemporaryDirectory() as folder:
        sent = Path(folder, "standard input")
        sent.write_bytes(sys.stdin.buffer.read())
        yield [str(sent) if path == "-" else path for path in paths]


def command(name: str, function: Callable[..., None]) -> click.Command:
    """Make a command of a function; its errors end in words, not in a traceback."""

    def guarded(**given: Any) -> None:
        try:
            called(function, given)
        except MatchlibError as error:
            click.echo(str(error), err=True)
            raise click.exceptions.Exit(1) from None
        except BrokenPipeError:
            raise
        except OSError as error:
            where = f"{error.filename}: " if error.filename else ""
            click.echo(f"{where}{error.strerror or error}. What to do: check the path.", err=True)
            raise click.exceptions.Exit(1) from None
        except UnicodeEncodeError as error:
            click.echo(f"What was given holds signs that are no text: {error.object!r}.", err=True)
            raise click.exceptions.Exit(1) from None
        except KeyboardInterrupt:
            raise click.exceptions.Exit(130) from None

    return _Command(
        name,
        callback=guarded,
        params=parameters(function),
        help=function.__doc__,
        # The list of commands would cut a long first sentence short.
        short_help=_first_sentence(function),
    )


def _first_sentence(function: Callable[..., None]) -> str:
    return " ".join((function.__doc__ or "").strip().split("\n\n")[0].split())


def show(text: str) -> None:
    """Print a result."""
    click.echo(text)


def note(text: str) -> None:
    """Print what is not the result: what is being done, and warnings."""
    click.echo(text, err=True)


def show_json(data: Any) -> None:
    """Print results as JSON.

    `data`: as `shown` takes it; numbers that JSON cannot hold are a fault of ours.
    """
    from matchlib.plain import shown

    click.echo(json.dumps(shown(data), indent=2, ensure_ascii=False, allow_nan=False))


def listed(values: Sequence[str] | None) -> list[str] | None:
    """Return names that were given one by one or parted by commas.

    Returned: None where nothing was given.
    """
    if not values:
        return None
    return [name.strip() for value in values for name in value.split(",") if name.strip()]
