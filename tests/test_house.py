"""How the code is kept: modules, notebooks and imports that look alike and cost little."""

from __future__ import annotations

import ast
import json
import os
import re
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest
from packaging.requirements import Requirement

ROOT = Path(__file__).resolve().parents[1]
PACKAGES = ("matchlib", "workbook")
MODULES = sorted(p for name in PACKAGES for p in (ROOT / name).rglob("*.py"))
# Alembic finds a migration's numbers as names of the module; `__all__` has no part in it.
MIGRATIONS = {p for p in MODULES if {"versions", "migrations"} & set(p.parts)}
TESTS = sorted((ROOT / "tests").rglob("*.py"))
NOTEBOOKS = sorted((ROOT / "notebooks").glob("*.ipynb"))
MOST_LINES = 450

# What only some commands need, and what would slow the start of all of them.
HEAVY = [
    "numpy",
    "scipy",
    "pandas",
    "sklearn",
    "colour",
    "sqlalchemy",
    "alembic",
    "openpyxl",
    "cv2",
    "dask",
    "reportlab",
]
FACES = ["matplotlib", "IPython", "ipywidgets", "anywidget", "plotly", "voila", "jupyterlab"]


def name_of(path: Path) -> str:
    return str(path.relative_to(ROOT))


@cache
def tree_of(path: Path) -> ast.Module:
    return ast.parse(path.read_text("utf-8"), filename=str(path))


def loaded_by(statement: str) -> set[str]:
    """The names that are in sys.modules after the statement, in a new interpreter."""
    code = f"{statement}\nimport sys, json\nprint(json.dumps(sorted(sys.modules)))"
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    return set(json.loads(done.stdout.splitlines()[-1]))


def public_things(tree: ast.Module) -> Iterator[tuple[str, ast.AST]]:
    for node in tree.body:
        if not isinstance(node, ast.FunctionDef | ast.ClassDef | ast.AsyncFunctionDef):
            continue
        if node.name.startswith("_"):
            continue
        yield node.name, node
        if isinstance(node, ast.ClassDef):
            for inner in node.body:
                if isinstance(inner, ast.FunctionDef) and not inner.name.startswith("_"):
                    yield f"{node.name}.{inner.name}", inner


def is_setter(node: ast.AST) -> bool:
    """A setter shares the docstring of its property."""
    decorators = getattr(node, "decorator_list", [])
    return any(isinstance(d, ast.Attribute) and d.attr == "setter" for d in decorators)


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_a_module_opens_with_its_purpose_and_its_names(path: Path) -> None:
    tree = tree_of(path)
    assert ast.get_docstring(tree), "no docstring saying what the module is for"
    if path in MIGRATIONS or path.name == "__main__.py":
        return
    for node in tree.body:
        targets = getattr(node, "targets", [getattr(node, "target", None)])
        if any(isinstance(t, ast.Name) and t.id == "__all__" for t in targets):
            return
        assert not isinstance(node, ast.FunctionDef | ast.ClassDef), "code before __all__"
    pytest.fail("no __all__")


@pytest.mark.parametrize("path", [*MODULES, *TESTS], ids=name_of)
def test_a_file_holds_one_noun(path: Path) -> None:
    assert len(path.read_text("utf-8").splitlines()) <= MOST_LINES


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_public_names_say_what_they_are(path: Path) -> None:
    if path in MIGRATIONS:
        return
    bare = [
        name
        for name, node in public_things(tree_of(path))
        if not is_setter(node) and not ast.get_docstring(node)  # type: ignore[arg-type]
    ]
    assert not bare, f"without docstring: {', '.join(bare)}"


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_input_is_not_checked_by_assert(path: Path) -> None:
    # `python -O` takes assert away, and its message is not in the user's words.
    lines = [node.lineno for node in ast.walk(tree_of(path)) if isinstance(node, ast.Assert)]
    assert not lines, f"assert on lines {lines}"


def test_the_house_was_found() -> None:
    assert len(MODULES) >= 10
    assert {p.relative_to(ROOT).parts[0] for p in MODULES} == set(PACKAGES)
    assert NOTEBOOKS, "no notebooks"


@pytest.mark.parametrize("path", NOTEBOOKS, ids=name_of)
def test_a_notebook_is_prose_and_calls(path: Path) -> None:
    for cell in json.loads(path.read_text("utf-8"))["cells"]:
        if cell["cell_type"] != "code":
            continue
        assert cell["outputs"] == [], "committed with outputs"
        assert cell["execution_count"] is None, "committed with execution counts"
        code = "".join(cell["source"])
        made = [
            node.name
            for node in ast.walk(ast.parse(code))
            if isinstance(node, ast.FunctionDef | ast.ClassDef | ast.AsyncFunctionDef)
        ]
        assert not made, f"defines {made}: it belongs in workbook"


COLOUR = """
import numpy as np
from matchlib import colorimetry as c
from matchlib.readings.photo import standard_chart_lab
lab = c.reflectance_to_lab(np.full((2, 31), 0.4))
c.expected_delta_e00(lab[0], lab, np.eye(3), tolerance=1.0)
c.to_srgb(lab), c.interpolate_reflectance(np.arange(400, 701, 20.0), np.ones(16))
standard_chart_lab()
"""
TAILS = """
import numpy as np
import matchlib.regression, matchlib.suggest, matchlib.correction, matchlib.explain
from matchlib.tails import drawn_out, region
region(0.9, 4.0), drawn_out(np.eye(3), 4.0)
"""
ARCHIVE = """
from matchlib.archive import Archive
archive = Archive.open("FOLDER/a.db", create=True)
archive.panels(), archive.content_hash()
"""
CSV = """
from pathlib import Path
from matchlib.domain import Viewing
from matchlib.readings import read_file
table = Path("FOLDER/a.csv")
table.write_text("panel,ground,colour,schedule,L,a,b\\nA1,silver,cherry,4@6:1,40,30,20\\n")
assert read_file(table, viewing=Viewing()).panels
"""
HELP = """
import sys
from workbook.cli import main
sys.argv = ["workbook", "--help"]
try:
    main()
except SystemExit as done:
    assert not done.code
"""


@pytest.mark.parametrize(
    ("statement", "heavy"),
    [
        ("import matchlib, workbook, matchlib.errors", {*HEAVY, *FACES}),
        ("import matchlib.demo", {"colour", "pandas", "scipy"}),
        (HELP, {*HEAVY, *FACES}),
        (COLOUR, {"colour", "scipy", "pandas", "sklearn"}),
        ("import matchlib.tails", {"scipy"}),
        (TAILS, {"scipy.stats"}),
        (ARCHIVE, {"alembic", "pandas", "scipy", "openpyxl"}),
        (CSV, {"openpyxl", "pandas", "colour", "numpy", "colour_cxf"}),
    ],
)
def test_nothing_heavy_is_loaded_that_is_not_needed(
    statement: str, heavy: set[str], tmp_path: Path
) -> None:
    assert not loaded_by(statement.replace("FOLDER", tmp_path.as_posix())) & heavy


def test_no_module_of_matchlib_loads_a_face_or_a_plotting_library() -> None:
    names = [
        ".".join(p.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")
        for p in MODULES
        if p.relative_to(ROOT).parts[0] == "matchlib"
        and p not in MIGRATIONS
        and p.name != "__main__.py"
    ]
    loaded = loaded_by("\n".join(f"import {name}" for name in names))
    assert not loaded & {*FACES, "workbook", "click", "cv2"}


def test_importing_writes_nothing(tmp_path: Path) -> None:
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "HOME": str(tmp_path)}
    subprocess.run(
        [sys.executable, "-B", "-c", "import matchlib.domain, workbook"],
        cwd=tmp_path,
        env=environment,
        check=True,
    )
    assert list(tmp_path.iterdir()) == []


def test_every_dependency_is_listed_with_what_it_is_for() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    extras = project["optional-dependencies"].values()
    needed = [Requirement(d) for d in (*project["dependencies"], *(d for e in extras for d in e))]
    names = {d.name for d in needed} - {project["name"]}
    text = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    listed = text.split("## Dependencies\n")[1].split("\n## ")[0]
    rows = [line for line in listed.splitlines() if line.startswith("| ")]
    assert set(re.findall(r"`([^`]+)`", " ".join(rows))) == names
    pinned = {d.name for d in needed if any(s.operator == "==" for s in d.specifier)}
    pins = re.search(r"Pinned to one\s+version are (.*?) alone", listed, re.DOTALL)
    assert pins is not None
    assert set(re.findall(r"`([^`]+)`", pins[1])) == pinned
