"""What a command takes, told beside its parameter: options, and arguments given by their place."""

from __future__ import annotations

import inspect
from collections.abc import Callable
from types import NoneType, UnionType
from typing import Annotated, Any, get_args, get_origin

import click

__all__ = ["Argument", "Option", "parameters"]


class Option:
    """An option.

    `names`: as typed, ``--on/--off`` for a flag of two; by the parameter's name without. `more`: as
    `click.Option` takes it.
    """

    def __init__(self, *names: str, **more: Any) -> None:
        self.names, self.more = names, more


class Argument:
    """An argument; `more`: as `click.Argument` takes it."""

    def __init__(self, **more: Any) -> None:
        self.more = more


def parameters(function: Callable[..., None]) -> list[click.Parameter]:
    """Return what a function takes, by its annotations: what has no default must be given."""
    return [_made(p) for p in inspect.signature(function).parameters.values()]


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
    names = told.names if isinstance(told, Option) else ()
    if not names:
        long = f"--{taken.name.replace('_', '-')}"
        names = (f"{long}/--no-{long[2:]}" if kind is bool else long,)
    return click.Option([taken.name, *names], **(more | (told.more if told else {})))
