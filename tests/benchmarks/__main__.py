"""Benchmark tables in markdown: ``python -m tests.benchmarks NAME``, NAME as in `MODULES`."""

from __future__ import annotations

import importlib
import sys

MODULES = {
    "accuracy": "accuracy",
    "scale": "scale",
    "panels": "panels_to_match",
    "cards": "steered",
    "real": "real_data",
    "search": "search_speed",
    "audit": "audit_score",
    "rescue": "rescues",
    "shared": "shared",
    "chances": "chances",
    "commands": "commands",
    "pages": "pages",
    "reach": "reach_score",
    "next": "next_score",
    "many": "many",
    "archive": "archive_size",
    "results": "results",
}


def main() -> None:
    """Hand over to the benchmark named first."""
    if len(sys.argv) < 2 or sys.argv[1] not in MODULES:
        raise SystemExit(f"usage: python -m tests.benchmarks {'|'.join(MODULES)} [--help]")
    module = importlib.import_module(f"tests.benchmarks.{MODULES[sys.argv[1]]}")
    module.main(sys.argv[2:])


main()
