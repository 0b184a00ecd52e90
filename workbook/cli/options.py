"""What a command takes, told beside its parameter: options, and arguments given by their place.

Options that belong together are written once: a dataclass of them, whose fields all have defaults,
is one parameter of a command, and its options stand where it stands. Of fields that it has from a
class that knows no command line, its `TOLD` says by name what is told.
"""

from __future__ import annotations

import inspect
from collections.abc import Callable, Iterator
from dataclasses import is_dataclass
from types import NoneType, UnionType
from typing import Annotated, Any, get_args, get_origin, get_type_hints

import click

__all__ = ["Argument", "Option", "called", "parameters"]


class Option:
    """An option.

    `names`: as typed; by the parameter's name without, and ``--no-`` it where a flag is not off by
    itself. `more`: as `click.Option` takes it.
    """

    def __init__(self, *names: str, **more: Any) -> None:
        self.names, self.more = names, more


class Argument:
    """An argument; `more`: as `click.Argument` takes it."""

    def __init__(self, **more: Any) -> None:
        self.more = more


def parameters(function: Callable[..., None]) -> list[click.Parameter]:
    """Return what a function takes, by its annotations: what has no default must be given."""
    # A signature refuses what would be given twice.
    return [_made(p) for p in inspect.Signature([*_taken(function)]).parameters.values()]


def called(function: Any, given: dict[str, Any]) -> Any:
    """Return what a function gives, or a group, of its options one by one; they are used up."""
    hints = get_type_hints(function)
    return function(
        **{
            name: called(kind, given) if is_dataclass(kind := hints[name]) else given.pop(name)
            for name in inspect.signature(function).parameters
        }
    )


def _taken(function: Callable[..., Any]) -> Iterator[inspect.Parameter]:
    """What a function or a group takes, option by option."""
    hints = get_type_hints(function, include_extras=True)
    for name, each in inspect.signature(function).parameters.items():
        if is_dataclass(hints[name]):
            yield from _taken(hints[name])
        else:
            if told := getattr(function, "TOLD", {}).get(name):
                hints[name] = Annotated[hints[name], told]
            yield each.replace(kind=each.KEYWORD_ONLY, annotation=hints[name])


def _made(taken: inspect.Parameter) -> click.Parameter:
    kind, told = taken.annotation, None
    if get_origin(kind) is Annotated:
        kind, told = get_args(kind)
    if get_origin(kind) is UnionType:
        (kind,) = (k for k in get_args(kind) if k is not NoneType)
    must = taken.default is taken.empty
    more: dict[str, Any] = {"type": get_args(kind) or kind}
    if get_origin(kind) is list:
        (more["type"],) = get_args(kind)
        more["callback"] = lambda ctx, parameter, given: list(given) or None
    more |= {"required": True} if must else {"default": taken.default}
    if isinstance(told, Argument) or (told is None and must):
        if get_origin(kind) is list:
            more["nargs"] = -1
        return click.Argument([taken.name], **(more | (told.more if told else {})))
    # The help says in words, not in types, what is taken.
    number = {int, float} & {kind, *get_args(kind)}
    more |= {"metavar": "NUMBER" if number else "TEXT", "multiple": get_origin(kind) is list}
    more |= {"is_flag": kind is bool, "show_envvar": True, "show_default": taken.default != ""}
    names = told.names if told else ()
    word = taken.name.rstrip("_").replace("_", "-")
    # What is not off by itself can be told both ways.
    both = f"/--no-{word}" if kind is bool and taken.default is not False else ""
    return click.Option(
        [taken.name, *(names or (f"--{word}{both}",))], **(more | (told.more if told else {}))
    )
