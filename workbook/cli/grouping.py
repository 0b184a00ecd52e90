"""Options that belong together, written once: a dataclass of them is one parameter of a command."""

from __future__ import annotations

import dataclasses
import functools
import inspect
from collections.abc import Callable
from typing import Any, get_type_hints

__all__ = ["one_by_one"]


def one_by_one(function: Callable[..., None]) -> Callable[..., None]:
    """Return a command that takes every field of its groups as an option of its own.

    `function`: all its parameters are keyword-only; those annotated with a dataclass, whose fields
    all have defaults, are groups. Returned: as the command line takes it: a group's options stand
    where the group stood, each with the default of its field.
    """
    hints = get_type_hints(function, include_extras=True)
    groups = {name: kind for name, kind in hints.items() if dataclasses.is_dataclass(kind)}
    taken = []
    for name, parameter in inspect.signature(function).parameters.items():
        if name in groups:
            taken += _options_of(groups[name])
        else:
            taken.append(parameter.replace(annotation=hints[name]))

    @functools.wraps(function)
    def flat(**given: Any) -> None:
        kind: Any
        for name, kind in groups.items():
            given[name] = kind(**{f.name: given.pop(f.name) for f in dataclasses.fields(kind)})
        function(**given)

    # What wraps tells of the function itself is not how it is called from here on.
    flat.__signature__ = inspect.Signature(taken)  # type: ignore[attr-defined]  # of any callable
    flat.__annotations__ = {p.name: p.annotation for p in taken}
    return flat


def _options_of(group: Any) -> list[inspect.Parameter]:
    hints = get_type_hints(group, include_extras=True)
    return [
        inspect.Parameter(
            field.name,
            inspect.Parameter.KEYWORD_ONLY,
            default=field.default,
            annotation=hints[field.name],
        )
        for field in dataclasses.fields(group)
    ]
