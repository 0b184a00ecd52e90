"""The notebooks that are no pages of the workbook run from top to bottom, and need no network."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import nbformat
import pytest
from nbclient import NotebookClient

ROOT = Path(__file__).resolve().parents[1]
BOOKS = [
    path
    for path in sorted((ROOT / "notebooks").glob("*.ipynb"))
    if not json.loads(path.read_text("utf-8"))["metadata"].get("workbook", {}).get("page")
]
OFFLINE = """
import socket
def _refuse(self, address):
    if self.family != socket.AF_UNIX and str(address[0]) not in ("127.0.0.1", "localhost", "::1"):
        raise OSError(f"{address} asked for in a notebook that needs no network")
    return _connect(self, address)
_connect, socket.socket.connect = socket.socket.connect, _refuse
"""


def outputs(cell: Any, kind: str) -> list[Any]:
    return [o for o in cell.get("outputs", []) if kind in o.get("data", {})]


def test_there_are_notebooks_that_are_no_pages() -> None:
    assert {p.name for p in BOOKS} == {"how_it_predicts.ipynb", "use_from_python.ipynb"}


@pytest.mark.parametrize("path", BOOKS, ids=lambda p: p.stem)
def test_a_notebook_runs_and_draws(path: Path, tmp_path: Path) -> None:
    book = nbformat.read(path, as_version=4)
    book.cells.insert(0, nbformat.v4.new_code_cell(OFFLINE))
    NotebookClient(book, timeout=600, resources={"metadata": {"path": str(tmp_path)}}).execute()
    code = [c for c in book.cells if c.cell_type == "code"]
    output = "".join(
        o.get("text", "") for c in code for o in c.outputs if o.get("name") == "stderr"
    )
    assert "Warning" not in output, output
    assert sum(len(outputs(c, "image/png")) for c in code) >= 1
    assert sum(len(outputs(c, "text/html")) for c in code) >= 3
    assert not list(tmp_path.iterdir()), "it leaves nothing behind"
    for name in ("how_it_predicts", "use_from_python"):
        if path.stem != name:
            assert any(f"{name}.ipynb" in c.source for c in book.cells)
