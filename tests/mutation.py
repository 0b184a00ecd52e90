"""Break the code on purpose and see whether a test notices: `python -m tests.mutation FILE…`.

cosmic-ray makes the changes (one operator, comparison, number or constant each), this program draws
some of them, and runs on each the tests that import the changed file's package. What survives is
printed with the changed line: a missing test, or a change that makes no difference.
"""

from __future__ import annotations

import argparse
import ast
import difflib
import os
import random
import re
import shutil
import signal
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import NoReturn

# Before numpy: the tests of one change run on one core.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

# Loaded here once, for every change: most of what a run of a few tests takes is loading these.
import hypothesis  # noqa: F401
import numpy as np  # noqa: F401
import pandas as pd  # noqa: F401
import pytest
import scipy.stats  # noqa: F401
import sklearn.gaussian_process  # noqa: F401
from cosmic_ray import mutating, plugins
from cosmic_ray.ast import ast_nodes, get_ast

__all__ = ["main"]

HOME = Path(__file__).resolve().parents[1]
# Changes of decorators and of exceptions' types say little of arithmetic and words; a comparison by
# identity is seldom told from one by value.
LEFT_OUT = re.compile("RemoveDecorator|ExceptionReplacer|Variable|[qtE]_Is")


@dataclass(frozen=True)
class Mutant:
    """One changed file."""

    was: str
    code: str

    def difference(self) -> str:
        """Return the changed lines."""
        lines = difflib.unified_diff(
            self.was.splitlines(), self.code.splitlines(), lineterm="", n=0
        )
        return "\n".join(line for line in lines if not line.startswith(("---", "+++")))


class _Meaning(ast.NodeTransformer):
    """Takes out what no run can tell: annotations, how arguments may be passed, frozen classes."""

    def visit_ClassDef(self, node: ast.ClassDef) -> ast.AST:
        for option in (k for d in node.decorator_list for k in getattr(d, "keywords", ())):
            option.value = ast.Constant(None)
        return self.generic_visit(node)

    def visit_arguments(self, node: ast.arguments) -> ast.AST:
        node.args = [*node.posonlyargs, *node.args, *node.kwonlyargs]
        node.defaults = [*node.defaults, *filter(None, node.kw_defaults)]
        node.posonlyargs, node.kwonlyargs, node.kw_defaults = [], [], []
        return self.generic_visit(node)

    def visit_arg(self, node: ast.arg) -> ast.arg:
        node.annotation = None
        return node

    def visit_FunctionDef(self, node: ast.FunctionDef) -> ast.AST:
        node.returns = None
        return self.generic_visit(node)

    def visit_AnnAssign(self, node: ast.AnnAssign) -> ast.AST:
        node.annotation = ast.Constant(None)
        return self.generic_visit(node)


def meaning(code: str) -> str:
    """Return what of the code can be told when it runs."""
    return ast.dump(_Meaning().visit(ast.parse(code)))


def mutants(path: Path, draw: random.Random) -> Iterator[Mutant]:
    """Yield changes of the file that mean something else, in an order drawn at random."""
    code = (HOME / path).read_text()
    nodes = list(ast_nodes(get_ast(code)))
    places = [
        (operator, occurrence)
        for name in plugins.operator_names()
        if not LEFT_OUT.search(name)
        for operator in [plugins.get_operator(name)()]
        for occurrence in range(sum(len(list(operator.mutation_positions(n))) for n in nodes))
    ]
    draw.shuffle(places)
    known = {meaning(code)}
    for operator, occurrence in places:
        changed = mutating.mutate_code(code, operator, occurrence)
        try:
            new = meaning(changed)
        except SyntaxError:
            continue
        if new not in known:
            known.add(new)
            yield Mutant(code, changed)


def tests_of(path: Path) -> list[str]:
    """Return the test files that import the file's package, the most akin by name first."""
    top, room = path.with_suffix("").parts[:2]
    asked = re.compile(rf"\b{top}\.{room}\b|from {top} import [^\n]*\b{room}\b")
    found = [
        test
        for test in sorted((HOME / "tests").glob("**/test_*.py"))
        if asked.search(test.read_text()) and "browser" not in test.parts
    ]
    tests = sorted(found, key=lambda test: room not in test.name)
    return [str(test.relative_to(HOME)) for test in tests]


def passes(tree: Path, tests: list[str], seconds: float) -> bool:
    """Tell whether all of the tests pass in that tree within the time."""
    child = os.fork()
    if not child:
        _run(tree, tests)
    end, ended, status = time.monotonic() + seconds, 0, 0
    try:
        while not ended and time.monotonic() < end:
            time.sleep(0.02)
            ended, status = os.waitpid(child, os.WNOHANG)
    finally:
        if not ended:  # too slow, or this program is stopped: nothing of it goes on
            os.killpg(child, signal.SIGKILL)
            os.waitpid(child, 0)
    return bool(ended) and os.waitstatus_to_exitcode(status) == 0


def _run(tree: Path, tests: list[str]) -> NoReturn:
    """Run the tests in a process that has the libraries loaded, and nothing of ours."""
    os.setsid()
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    nowhere = os.open(os.devnull, os.O_RDWR)
    for stream in (0, 1, 2):
        os.dup2(nowhere, stream)
    os.chdir(tree)
    sys.path.insert(0, str(tree))
    sys.dont_write_bytecode = True
    for name in [n for n in sys.modules if n.partition(".")[0] == "tests"]:
        del sys.modules[name]
    options = ["-x", "-q", "-p", "no:cacheprovider", "-m", "not browser and not postgres"]
    os._exit(pytest.main([*options, *tests]))


def try_file(tree: Path, path: Path, *, draws: int, tests: list[str], draw: random.Random) -> int:
    """Print what survives of some changes of one file, and return how many did."""
    drawn = list(islice(mutants(path, draw), draws))
    was = (tree / path).read_text()
    began = time.monotonic()
    if not passes(tree, tests, 3600.0):
        sys.exit(f"The tests of {path} fail without any change: {' '.join(tests)}")
    seconds = 30.0 + 3.0 * (time.monotonic() - began)
    survivors = 0
    for mutant in drawn:
        (tree / path).write_text(mutant.code)
        if passes(tree, tests, seconds):
            survivors += 1
            print(f"{path} survives:\n{mutant.difference()}", flush=True)
    (tree / path).write_text(was)
    print(f"{path}: {len(drawn)} changes tried, {survivors} survived", flush=True)
    return survivors


def main() -> None:
    """Try the files that the command line names."""
    parser = argparse.ArgumentParser(prog="python -m tests.mutation", description=__doc__)
    parser.add_argument("paths", nargs="+", type=Path, help="files or folders, from the top")
    parser.add_argument("--draws", type=int, default=10, help="changes of each file")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--tests", nargs="*", help="these test files instead of those found")
    asked = parser.parse_args()
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(1))
    files = [
        file
        for path in asked.paths
        for file in ([path] if path.suffix else sorted(path.rglob("*.py")))
        if file.name != "__init__.py"
    ]
    with tempfile.TemporaryDirectory(prefix="mutation-") as place:
        tree = Path(place) / "tree"
        shutil.copytree(
            HOME, tree, ignore=shutil.ignore_patterns(".git", ".venv", "artifacts", "__pycache__")
        )
        draw = random.Random(asked.seed)  # noqa: S311 - a draw of changes, no secret
        survived = sum(
            try_file(tree, file, draws=asked.draws, tests=asked.tests or tests_of(file), draw=draw)
            for file in files
        )
    print(f"{survived} survived in all")


if __name__ == "__main__":
    main()
