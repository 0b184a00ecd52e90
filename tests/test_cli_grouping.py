"""Options that belong together, written once and taken one by one."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

import click
import pytest
from click.testing import CliRunner

from workbook.cli.common import command
from workbook.cli.options import Option, parameters


@dataclass(frozen=True)
class Cup:
    carrier: Annotated[int, Option(help="Parts.")] = 6
    colour: Annotated[int, Option("--of-colour")] = 1


def mixed(*, name: str, cup: Cup, loud: bool = False) -> None:
    click.echo(f"{name} {cup.carrier}:{cup.colour}{'!' if loud else ''}")


def test_a_group_stands_open_where_it_stood_with_its_defaults() -> None:
    taken = parameters(mixed)
    assert [each.name for each in taken] == ["name", "carrier", "colour", "loud"]
    assert [each.default for each in taken[1:3]] == [6, 1]


def test_the_command_line_takes_each_option_and_the_command_its_group() -> None:
    done = CliRunner().invoke(command("mixed", mixed), ["teal", "--of-colour", "2", "--loud"])
    assert done.stdout == "teal 6:2!\n", done.output


def test_an_option_bears_its_parameters_name_and_a_flag_not_off_is_told_both_ways() -> None:
    def drawn(
        *, top_coat: bool = False, label_: bool = True, gloss: bool | None = None
    ) -> None: ...

    taken = parameters(drawn)
    assert [(each.opts, each.secondary_opts) for each in taken] == [
        (["--top-coat"], []),
        (["--label"], ["--no-label"]),
        (["--gloss"], ["--no-gloss"]),
    ]


def test_an_option_cannot_be_two_things() -> None:
    def twice(*, carrier: int = 0, cup: Cup) -> None: ...

    with pytest.raises(ValueError, match="carrier"):
        parameters(twice)
