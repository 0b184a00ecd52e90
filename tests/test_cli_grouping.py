"""Options that belong together, written once and taken one by one."""

from __future__ import annotations

import inspect
from dataclasses import dataclass
from typing import Annotated

import click
import pytest
from click.testing import CliRunner

from workbook.cli.common import command
from workbook.cli.grouping import one_by_one
from workbook.cli.options import Option


@dataclass(frozen=True)
class Cup:
    carrier: Annotated[int, Option(help="Parts.")] = 6
    colour: Annotated[int, Option("--of-colour")] = 1


def mixed(*, name: str, cup: Cup, loud: bool = False) -> None:
    click.echo(f"{name} {cup.carrier}:{cup.colour}{'!' if loud else ''}")


def test_a_group_stands_open_where_it_stood_with_its_defaults() -> None:
    taken = inspect.signature(one_by_one(mixed)).parameters
    assert list(taken) == ["name", "carrier", "colour", "loud"]
    assert [taken[name].default for name in ("carrier", "colour")] == [6, 1]


def test_the_command_line_takes_each_option_and_the_command_its_group() -> None:
    done = CliRunner().invoke(command("mixed", mixed), ["teal", "--of-colour", "2", "--loud"])
    assert done.stdout == "teal 6:2!\n", done.output


def test_an_option_cannot_be_two_things() -> None:
    def twice(*, carrier: int = 0, cup: Cup) -> None: ...

    with pytest.raises(ValueError, match="carrier"):
        one_by_one(twice)
