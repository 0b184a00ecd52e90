"""The command line and the table that the benchmarks share."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterator

from tests.benchmarks import booth, spray
from tests.benchmarks.layouts import Layouts

__all__ = ["SIMULATORS", "Table", "arguments", "each_simulator"]

SIMULATORS: dict[str, Callable[..., Layouts]] = {"spray": spray.Shop, "booth": booth.Shop}
"""Shops by their optics; each is made from a seed, and takes ``n_grounds``, ``n_colours``."""


def arguments(name: str, about: str | None, *, shops: int = 5) -> argparse.ArgumentParser:
    """Begin the command line of a benchmark: simulators, shops, the first of their seeds."""
    parser = argparse.ArgumentParser(prog=f"python -m tests.benchmarks {name}", description=about)
    parser.add_argument(
        "--simulator", choices=tuple(SIMULATORS), help="one of them; by default both"
    )
    parser.add_argument("--shops", type=int, default=shops, help="each with its own physics")
    parser.add_argument("--first-seed", type=int, default=0)
    return parser


def each_simulator(args: argparse.Namespace) -> Iterator[tuple[str, Callable[..., Layouts]]]:
    """The simulators asked for, by name."""
    for name, make in SIMULATORS.items():
        if args.simulator in (None, name):
            yield name, make


class Table:
    """Rows of markdown as they come; the first is the heads."""

    def __init__(self, *heads: str) -> None:
        print()
        self.row(*heads)
        self.row(*("---" for _ in heads))

    def row(self, *cells: object) -> None:
        """Print a row: real numbers with two digits, everything else as it is."""
        told = (f"{c:.2f}" if isinstance(c, float) else str(c) for c in cells)
        print("| " + " | ".join(told) + " |", flush=True)
