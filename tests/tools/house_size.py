"""How large the house is: ``python -m tests.tools.house_size``, tables in markdown.

Lines by package; public names; how many types there are of a recipe, a target and a predicted
outcome; modules that one reading passes from its file to a correction; time to import.
"""

from __future__ import annotations

import ast
import importlib
import resource
import statistics
import subprocess
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from pkgutil import iter_modules
from types import FrameType
from typing import Any

import matchlib

__all__ = ["kinds", "lines_of", "main", "milliseconds", "modules_passed", "public_names"]

ROOT = Path(__file__).resolve().parents[2]
PARTS = ("docstring", "code", "comment", "blank")
DOCUMENTED = (ast.Module, ast.ClassDef, ast.FunctionDef, ast.AsyncFunctionDef)

KINDS = {
    "recipe": ("Recipe",),
    "target": ("Target", "Aim"),
    "predicted outcome": ("Outcome", "Prediction"),
}
"""Words in the names of types of one thing; what derives from such a type is one too."""


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


def public_names() -> int:
    """Return how many names the packages and modules of matchlib give."""
    listed = (
        importlib.import_module(f"matchlib.{m.name}") for m in iter_modules(matchlib.__path__)
    )
    return sum(len(module.__all__) for module in listed)


def kinds() -> dict[str, list[str]]:
    """Return the types of matchlib that are a recipe, a target or a predicted outcome, by name."""
    found: dict[str, list[str]] = {kind: [] for kind in KINDS}
    for file in sorted((ROOT / "matchlib").rglob("*.py")):
        for node in ast.parse(file.read_text("utf-8")).body:
            if isinstance(node, ast.ClassDef) and not node.name.endswith(("Error", "Reader")):
                names = [node.name, *(b.id for b in node.bases if isinstance(b, ast.Name))]
                for kind, words in KINDS.items():
                    if any(word in name for word in words for name in names):
                        found[kind].append(node.name)
    return {kind: sorted(names) for kind, names in found.items()}


def modules_passed() -> list[str]:
    """Return the modules of matchlib that run between a file of readings and a correction."""
    from matchlib import Archive, FilmRegressor, Target, correct, read_file, suggest
    from matchlib.demo import demo_table

    passed: set[str] = set()

    def seen(frame: FrameType, event: str, _: Any) -> None:
        # The body of a module runs when it is imported, which is no part of the way.
        if event == "call" and frame.f_code.co_name != "<module>":
            passed.add(str(frame.f_globals.get("__name__", "")))

    with demo_table() as table, tempfile.TemporaryDirectory() as folder:
        sys.setprofile(seen)
        try:
            with Archive.open(Path(folder, "panels.db"), create=True) as archive:
                archive.add(read_file(table).panels)
                panels = archive.frame()
            model = FilmRegressor(rounds=1).fit(panels, panels[["L", "a", "b"]])
            target = Target.lab(27.1, 45.9, 28.5)
            recipe = suggest(model, target, top=1)[0].recipe
            correct(model, [(recipe, (28.6, 46.3, 30.1))], target)
        finally:
            sys.setprofile(None)
    return sorted(name for name in passed if name.startswith("matchlib."))


def milliseconds(statement: str, *, times: int = 5) -> float:
    """Return the processor time that a statement takes in a new interpreter, its start apart."""

    def taken(code: str) -> float:
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        subprocess.run([sys.executable, "-c", code], cwd=ROOT, check=True)
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        return 1000.0 * (after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)

    return statistics.median(taken(statement) - taken("pass") for _ in range(times))


def main() -> None:
    """Print the tables."""
    print("| package |", " | ".join(PARTS), "| all |\n|---|" + "---:|" * (len(PARTS) + 1))
    for name, files in packages():
        lines = sum((lines_of(file) for file in files), Counter[str]())
        print(f"| {name} |", " | ".join(f"{lines[p]:,}" for p in PARTS), f"| {lines.total():,} |")
    print("\n| of matchlib | |\n|---|---|")
    print(f"| public names | {public_names()} |")
    for kind, names in kinds().items():
        print(f"| types that are a {kind} | {len(names)}: {', '.join(names)} |")
    print(
        f"| modules that a reading passes from its file to a correction | {len(modules_passed())} |"
    )
    for statement in ("import matchlib", "from matchlib import FilmRegressor, Target, suggest"):
        print(f"| `{statement}` | {milliseconds(statement):.0f} ms |")


if __name__ == "__main__":
    main()
