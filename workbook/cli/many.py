"""Many samples at once, and where the work is done: this machine's cores, or a Dask cluster."""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Any

import click

from matchlib.errors import DomainError
from matchlib.plural import counted
from workbook.cli.common import FileOptions, show, show_json, standard_input
from workbook.cli.options import Option
from workbook.cli.printing import chance, csv_text, number, recipe_row, table, wrapped
from workbook.cli.results import matches_as_dicts

if TYPE_CHECKING:
    from matchlib.domain import Reading
    from matchlib.mixing import Limits
    from matchlib.suggest import Suggestions
    from matchlib.target import Target
    from workbook.session import Session

__all__ = ["ManyOptions", "WorkersOptions"]

_SECONDS = 5
"""How long a cluster may take to answer."""


@dataclass(frozen=True, slots=True)
class WorkersOptions:
    """Who does the work."""

    jobs: Annotated[
        int | None,
        Option(
            type=click.IntRange(1), help="Pieces of work at once, at most one for each core here."
        ),
    ] = None
    cluster: Annotated[
        str | None,
        Option(
            help="Work on a Dask cluster of your own instead: its scheduler's address, such as "
            "tcp://10.0.0.5:8786. Its workers need this program installed.",
            metavar="ADDRESS",
        ),
    ] = None

    @contextmanager
    def at_work(self, usual: int | None) -> Iterator[int | None]:
        """Give how many pieces of work joblib may do at once, while they are done.

        `usual`: where nothing was said.
        """
        if self.cluster is None:
            yield min(self.jobs, os.cpu_count() or 1) if self.jobs else usual
            return
        if self.jobs is not None:
            raise click.BadParameter("a cluster has its own workers: give --jobs or --cluster")
        if not self.cluster.strip():
            raise click.BadParameter("--cluster is the address of a Dask scheduler")
        try:
            from dask.distributed import Client
        except ImportError:
            raise DomainError(
                "What speaks to a Dask cluster is not installed here.",
                remedy="install it: pip install 'candy-panel-workbook[cluster]'",
            ) from None
        import joblib

        try:
            client = Client(self.cluster, timeout=_SECONDS)  # type: ignore[no-untyped-call]  # Dask's
        except (OSError, ValueError, TypeError) as error:
            raise DomainError(
                "No Dask cluster answers at this address.",
                expected="the address of a scheduler that runs, such as tcp://10.0.0.5:8786",
                got=f"{self.cluster!r} ({error or type(error).__name__})",
                remedy="start it with 'dask scheduler', and a 'dask worker' on each machine.",
            ) from None
        with client, joblib.parallel_config("dask"):
            yield -1


@dataclass(frozen=True, slots=True)
class ManyOptions(WorkersOptions):
    """Many samples instead of one target, and who does the work."""

    targets: Annotated[
        str | None,
        Option(
            help="Instead of one target, a table of many samples, named in its column panel: for "
            "each the recipe to spray blind.",
            metavar="FILE",
        ),
    ] = None
    csv: Annotated[bool, Option(help="Print the recipes of --targets as CSV.")] = False

    def __post_init__(self) -> None:
        if self.targets is None and (self.csv or self.jobs or self.cluster):
            raise click.BadParameter("--csv, --jobs and --cluster are for many: give --targets")

    def check(self, *, beside: bool, json_: bool) -> None:
        """Refuse what goes with no table of samples: one target `beside`, or two ways to print."""
        if self.targets is not None and beside:
            raise click.BadParameter("--targets are sprayed blind, and stand instead of one target")
        if self.csv and json_:
            raise click.BadParameter("give --csv or --json, not both")

    def samples(self, file: FileOptions) -> dict[str, tuple[Reading, ...]]:
        """Return the readings of each sample, by name."""
        from workbook.session.targets import samples_of_file

        with standard_input([str(self.targets)]) as (table,):
            return samples_of_file(table, **file.declared)

    def found(
        self, session: Session, aims: Mapping[str, Target], limits: Limits, *, top: int
    ) -> dict[str, Suggestions]:
        """Return what is found for each sample, by name."""
        from matchlib.suggest.many import suggest_many

        with self.at_work(-1) as n_jobs:
            panels, wanted = session.archive.panels(), list(aims.values())
            each = suggest_many(
                session.model, wanted, limits, top=top, archive=panels, n_jobs=n_jobs
            )
        return dict(zip(aims, each, strict=True))

    def tell(self, found: Mapping[str, Suggestions], *, json_: bool) -> None:
        """Print what was found for each sample."""
        if json_:
            show_json(_as_dicts(found))
        else:
            show(_as_csv(_as_dicts(found)) if self.csv else _text(found))


def _text(found: Mapping[str, Suggestions]) -> str:
    """Return what was found for many samples as text, a row a recipe."""
    rows = []
    for name, some in found.items():
        aim = some.target.aims[0].lab
        for item in some:
            rows.append(
                (
                    name if item is some[0] else "",
                    " ".join(number(v, 1) for v in aim) if item is some[0] else "",
                    *recipe_row(item.recipe),
                    number(item.delta_e00),
                    f"{item.expected:.2f} ± {item.sd:.2f}",
                    chance(item.probability),
                )
            )
    header = ("sample", "L a b", "ground", "colour", "schedule", "ΔE00", "next panel", "chance")
    first = next(iter(found.values()))
    lines = [
        f"{counted(len(found), 'sample')}; {first.target.tolerance.words}; "
        f"{counted(first.searched, 'recipe')} searched for each; the chance is that of a card "
        "sprayed blind: match one sample alone for how to steer its card."
    ]
    far = [name for name, some in found.items() if not some.reachable]
    if far:
        lines.append(f"Out of reach within these limits: {', '.join(far)}.")
    return f"{wrapped(chr(10).join(lines))}\n\n{table(header, rows, right='     rrr')}"


def _as_dicts(found: Mapping[str, Suggestions]) -> list[dict[str, Any]]:
    """Return the same as plain data, a row a recipe."""
    return [
        {
            "sample": name,
            **dict(zip(("target_L", "target_a", "target_b"), some.target.aims[0].lab, strict=True)),
            **row,
        }
        for name, some in found.items()
        for row in matches_as_dicts(some)
    ]


def _as_csv(rows: Sequence[Mapping[str, Any]]) -> str:
    """Return rows of plain data as CSV: numbers and sentences, what is a list itself left out."""
    return csv_text([k for k in rows[0] if not isinstance(rows[0][k], list | tuple)], rows)
