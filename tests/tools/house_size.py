"""How large the house is: ``python -m tests.tools.house_size``, lines by package in markdown."""

from __future__ import annotations

import ast
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

__all__ = ["lines_of", "main"]

ROOT = Path(__file__).resolve().parents[2]
PARTS = ("docstring", "code", "comment", "blank")
DOCUMENTED = (ast.Module, ast.ClassDef, ast.FunctionDef, ast.AsyncFunctionDef)


def lines_of(path: Path) -> Counter[str]:
    """Return how many lines of a file are docstring, code, comment and blank."""
    text = path.read_text("utf-8")
    inside: set[int] = set()
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, DOCUMENTED) and ast.get_docstring(node) is not None:
            inside |= set(range(node.body[0].lineno, (node.body[0].end_lineno or 0) + 1))
    found: Counter[str] = Counter()
    for number, line in enumerate(text.splitlines(), 1):
        bare = line.strip()
        kind = "blank" if not bare else "comment" if bare.startswith("#") else "code"
        found["docstring" if number in inside else kind] += 1
    return found


def packages() -> Iterator[tuple[str, list[Path]]]:
    """Yield the packages of the house with their files, each whole and by its parts."""
    for whole in ("matchlib", "workbook", "tests"):
        files = sorted((ROOT / whole).rglob("*.py"))
        yield f"**{whole}**", files
        if whole != "tests":
            by_part: dict[str, list[Path]] = {}
            for file in files:
                inner = file.relative_to(ROOT).parts
                by_part.setdefault(inner[1] if len(inner) > 2 else "(modules)", []).append(file)
            yield from ((f"{whole}/{part}", held) for part, held in sorted(by_part.items()))


def main() -> None:
    """Print the table."""
    print("| package |", " | ".join(PARTS), "| all |\n|---|" + "---:|" * (len(PARTS) + 1))
    for name, files in packages():
        lines = sum((lines_of(file) for file in files), Counter[str]())
        print(f"| {name} |", " | ".join(f"{lines[p]:,}" for p in PARTS), f"| {lines.total():,} |")


if __name__ == "__main__":
    main()
