"""Commands that put right what is kept of a panel: amend, remove."""

from __future__ import annotations

from typing import Annotated

import click

from workbook.cli.common import ChangeOptions
from workbook.cli.options import Argument, Option

__all__: list[str] = []

StageOption = Annotated[int | None, Option(help="A stage of the panel, the first being 1.")]
ReadingOption = Annotated[
    int | None, Option(help="A reading of that stage (the last without --stage).")
]


def _amend(
    *,
    panel: Annotated[str, Argument(help="Code of the panel.")],
    fields: Annotated[
        list[str],
        Argument(
            help="What is right: ground=silver schedule='2@6:1 2@3:1' note= …; with --reading "
            "lab='40 -20 10' illuminant=D50 date=2027-03-01 ….",
            metavar="FIELD=VALUE…",
        ),
    ],
    stage: StageOption = None,
    reading: ReadingOption = None,
    change: ChangeOptions,
) -> None:
    """Put right what is written of a panel, of one of its stages or of a reading.

    What was written before stays in the history, and undo brings it back.
    """
    pairs = [field.partition("=") for field in fields]
    if wrong := [name for name, sign, _ in pairs if not (sign and name.strip())]:
        raise click.BadParameter(f"write FIELD=VALUE, such as lot=L-7, not {wrong[0]!r}")
    changes = {name.strip(): value for name, _, value in pairs}
    for name in {"stage", "reading", "who", "why"} & changes.keys():
        raise click.BadParameter(f"{name} is an option: --{name}")
    with change.opened(write=True) as session:
        number = session.archive.amend(
            panel, stage=stage, reading=reading, **change.said, **changes
        )
    change.tell(number, f"Panel {panel} was amended.", f"Panel {panel} is written so already.")


def _remove(
    *,
    panel: Annotated[str, Argument(help="Code of the panel.")],
    stage: StageOption = None,
    reading: ReadingOption = None,
    change: ChangeOptions,
) -> None:
    """Put a panel aside, or take out one of its stages or readings.

    The archive keeps it: restore or undo bring it back. The code of a removed panel may be used
    again.
    """
    what = f"Panel {panel}"
    what = what if stage is None else f"Stage {stage} of panel {panel}"
    what = what if reading is None else f"Reading {reading} of panel {panel}"
    with change.opened(write=True) as session:
        number = session.archive.delete(panel, stage=stage, reading=reading, **change.said)
    change.tell(number, f"{what} was removed.", f"{what} was removed already.")
