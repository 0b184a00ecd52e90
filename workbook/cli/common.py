"""What the commands share: their options, their errors, their output."""

from __future__ import annotations

import functools
import json
import sys
from collections.abc import Callable, Sequence
from typing import Annotated, Any, ParamSpec

import typer

from matchlib.errors import MatchlibError

__all__ = [
    "ArchiveOption",
    "DecimalOption",
    "IlluminantOption",
    "JsonOption",
    "LabOption",
    "ObserverOption",
    "ScaleOption",
    "ToleranceOption",
    "WhoOption",
    "command",
    "listed",
    "note",
    "scale_of",
    "show",
    "show_json",
    "viewing_of",
]

_P = ParamSpec("_P")

ArchiveOption = Annotated[
    str,
    typer.Option(
        "--archive",
        envvar="WORKBOOK_ARCHIVE",
        help="The archive: a file, or postgresql://user@host/database.",
        metavar="PATH",
    ),
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print the result as JSON.")]
LabOption = Annotated[
    tuple[float, float, float] | None,
    typer.Option("--lab", help="A colour: L, a and b, such as --lab 40 -20 10.", metavar="L a b"),
]
ToleranceOption = Annotated[
    float, typer.Option("--tolerance", help="Difference that passes, in ΔE00.")
]
ScaleOption = Annotated[
    str | None,
    typer.Option(
        "--scale",
        help="Declare the scale of the file's reflectances: percent, or 0-1.",
        metavar="percent|0-1",
    ),
]
DecimalOption = Annotated[
    str,
    typer.Option("--decimal", help="Declare the file's decimal sign.", metavar=".|,"),
]
WhoOption = Annotated[
    str, typer.Option("--who", envvar="WORKBOOK_WHO", help="Your name, for the history.")
]
IlluminantOption = Annotated[
    str, typer.Option("--illuminant", help="Light under which --lab holds.")
]
ObserverOption = Annotated[
    str, typer.Option("--observer", help="Observer under which --lab holds: 2 or 10 degrees.")
]


def command(app: typer.Typer, name: str) -> Callable[[Callable[_P, None]], Callable[_P, None]]:
    """Register a function as a command whose errors end in words, not in a traceback.

    Parameters
    ----------
    app : typer.Typer
        The command line.
    name : str
        The command's name.

    Returns
    -------
    callable
        A decorator.
    """

    def decorate(function: Callable[_P, None]) -> Callable[_P, None]:
        @functools.wraps(function)
        def guarded(*args: _P.args, **kwargs: _P.kwargs) -> None:
            try:
                function(*args, **kwargs)
            except MatchlibError as error:
                typer.echo(str(error), err=True)
                raise typer.Exit(1) from None
            except KeyboardInterrupt:
                raise typer.Exit(130) from None

        app.command(name)(guarded)
        return function

    return decorate


def show(text: str) -> None:
    """Print a result.

    Parameters
    ----------
    text : str
        To standard output.
    """
    typer.echo(text)


def note(text: str) -> None:
    """Print what is not the result: what is being done, and warnings.

    Parameters
    ----------
    text : str
        To standard error.
    """
    typer.echo(text, err=True)
    sys.stderr.flush()


def show_json(data: Any) -> None:
    """Print plain data as JSON.

    Parameters
    ----------
    data : object
        Numbers, texts, lists and dicts; numbers that JSON cannot hold are a fault of ours.
    """
    typer.echo(json.dumps(data, indent=2, ensure_ascii=False, allow_nan=False))


def listed(values: Sequence[str] | None) -> list[str] | None:
    """Return names that were given one by one or parted by commas.

    Parameters
    ----------
    values : sequence of str or None
        As the command line has them.

    Returns
    -------
    list of str or None
        None where nothing was given.
    """
    if not values:
        return None
    return [name.strip() for value in values for name in value.split(",") if name.strip()]


def scale_of(text: str | None) -> str | None:
    """Return a declared reflectance scale by its inner name.

    Parameters
    ----------
    text : str or None
        ``percent``, ``0-1`` or ``unit``.

    Returns
    -------
    str or None
        ``percent`` or ``unit``.

    Raises
    ------
    typer.BadParameter
        If it is something else.
    """
    if text is None:
        return None
    known = {"percent": "percent", "%": "percent", "0-1": "unit", "0–1": "unit", "unit": "unit"}
    if text.strip().casefold() not in known:
        raise typer.BadParameter(f"the scale is percent or 0-1, not {text!r}")
    return known[text.strip().casefold()]


def viewing_of(illuminant: str, observer: str) -> Any:
    """Return the viewing that was named.

    Parameters
    ----------
    illuminant, observer : str
        As typed.

    Returns
    -------
    Viewing
        At 45:0.
    """
    from matchlib.domain import Viewing

    return Viewing(illuminant, observer)
