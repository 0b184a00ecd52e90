"""Docstrings of matchlib: examples print what they say; what is public has one, all else a line."""

from __future__ import annotations

import ast
import doctest
import importlib
import inspect
import json
import pkgutil
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

import matchlib

ROOT = Path(__file__).resolve().parents[1]
FLAGS = doctest.ELLIPSIS | doctest.NORMALIZE_WHITESPACE
MODULES = [
    ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")
    for path in sorted((ROOT / "matchlib").rglob("*.py"))
    if ">>> " in path.read_text("utf-8")
]
INTERNAL = {
    "atomic",
    "linear",
    "listing",
    "outcome",
    "plain",
    "progress",
    "sample",
    "shipped",
    "tails",
}
"""Modules that only this project imports: a line of docstring is enough there."""

FOR_PYTHON = {
    "correction": {"Today"},  # given to `Belief.of`
    "demo": {"demo_archive", "demo_table"},
    "errors": {"UnknownName"},
    "readings": {"frame_of"},
    "regression": {"FitReport", "Prediction", "Priors"},  # given to a model, or come back from it
    "validation": {"Validation"},  # comes back from `cross_validate`
}
"""What neither the workbook nor the notebooks import, and somebody at Python may."""

ARITHMETIC = {"colorimetry", "film", "mixing"}
"""Packages that are of use by themselves, whatever the workbook takes of them."""

PACKAGES = [package.name for package in pkgutil.iter_modules(matchlib.__path__)]


def examples() -> Iterator[doctest.DocTest]:
    finder = doctest.DocTestFinder()
    for name in MODULES:
        yield from (t for t in finder.find(importlib.import_module(name), name) if t.examples)


@pytest.mark.parametrize("example", list(examples()), ids=lambda e: e.name)
def test_an_example_prints_what_it_says(example: doctest.DocTest) -> None:
    output: list[str] = []
    # colour-science, once imported, has numpy print as it did before 1.14.
    with np.printoptions(legacy=False):
        doctest.DocTestRunner(optionflags=FLAGS).run(example, out=output.append)
    assert not output, "".join(output)


@pytest.mark.parametrize("package", sorted({*PACKAGES} - INTERNAL))
def test_what_is_public_has_an_example(package: str) -> None:
    module = importlib.import_module(f"matchlib.{package}")
    given = {name: getattr(module, name) for name in module.__all__}
    without = {
        name
        for name, thing in given.items()
        if (inspect.isfunction(thing) or inspect.isclass(thing))
        and ">>> " not in str(thing.__doc__)
    }
    assert not without


def imported_from_outside() -> set[str]:
    """What the workbook and the notebooks import of matchlib, and what the front door gives."""
    sources = [path.read_text("utf-8") for path in (ROOT / "workbook").rglob("*.py")]
    for path in (ROOT / "notebooks").glob("*.ipynb"):
        cells = json.loads(path.read_text("utf-8"))["cells"]
        sources += ["".join(c["source"]) for c in cells if c["cell_type"] == "code"]
    return set(matchlib.__all__) | {
        alias.name
        for source in sources
        for node in ast.walk(ast.parse(source))
        if isinstance(node, ast.ImportFrom) and str(node.module).startswith("matchlib")
        for alias in node.names
    }


def test_what_only_packages_hand_to_one_another_is_not_public() -> None:
    outside = imported_from_outside()
    for package in sorted({*PACKAGES} - INTERNAL - ARITHMETIC):
        module = importlib.import_module(f"matchlib.{package}")
        given = {name for name in module.__all__ if callable(getattr(module, name))}
        assert given - outside == FOR_PYTHON.get(package, set()), package


def given_away() -> set[tuple[str, str]]:
    """What the packages give, by the module in which it stands."""
    packages = {m.name for m in pkgutil.walk_packages(matchlib.__path__, "matchlib.") if m.ispkg}
    packages = {n for n in packages if "migrations" not in n} | {f"matchlib.{n}" for n in PACKAGES}
    modules = [importlib.import_module(name) for name in packages]
    things = [getattr(module, name) for module in modules for name in module.__all__]
    return {(t.__module__, t.__name__) for t in things if inspect.isclass(t) or callable(t)}


def test_internals_are_told_in_one_line() -> None:
    public = given_away()
    longer = []
    for path in sorted((ROOT / "matchlib").rglob("*.py")):
        name = ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")
        for node in ast.parse(path.read_text("utf-8")).body:
            own = (name, getattr(node, "name", "")) in public
            if isinstance(node, ast.FunctionDef) and not own:
                longer += [f"{name}.{node.name}"] if "\n" in docstring(node) else []
            elif isinstance(node, ast.ClassDef):
                longer += [
                    f"{name}.{node.name}.{inner.name}"
                    for inner in node.body
                    if isinstance(inner, ast.FunctionDef)
                    and not (own and not inner.name.startswith("_"))
                    and "\n" in docstring(inner)
                ]
    assert not longer, f"internals whose docstring is longer than a line: {', '.join(longer)}"


def docstring(node: ast.FunctionDef) -> str:
    return ast.get_docstring(node) or ""


@pytest.mark.filterwarnings("ignore::UserWarning")  # of forward references that it leaves as text
def test_pages_of_the_api_can_be_made(tmp_path: Path) -> None:
    import pdoc

    pdoc.render.configure(docformat="numpy", show_source=False)
    pdoc.pdoc("matchlib", output_directory=tmp_path)
    page = (tmp_path / "matchlib.html").read_text("utf-8")
    for name in ("Archive", "FilmRegressor", "Target", "correct", "next_for_archive", "read_file"):
        assert f'id="{name}"' in page
    assert 'id="suggest"' in (tmp_path / "matchlib" / "suggest.html").read_text("utf-8")
