"""README.md: its session prints what it says, and its figures are of the printed tables.

Blocks fenced as ``console`` are run in order in one empty folder. A line that begins with ``$ `` is
a command, a line that ends with a backslash goes on in the next, and what follows is what the
command prints, without what it says on standard error. A line of ``...`` stands for any lines.
Numbers may differ in their last digits, since processors do not round alike.
"""

from __future__ import annotations

import re
import shlex
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import pytest

from tests.cli_shop import copied, run

README = Path(__file__).resolve().parents[1] / "README.md"
_NUMBER = re.compile(r"(?<![\w.])-?\d+\.\d+(?![\w.])|\b\d+(?=%)")


@dataclass(frozen=True)
class Step:
    """A command and what it should print."""

    command: str
    printed: tuple[str, ...]


def steps_of(text: str) -> list[Step]:
    """The commands of the ``console`` blocks, in order, each with its printed lines."""
    steps: list[Step] = []
    for block in re.findall(r"^```console\n(.*?)^```$", text, re.M | re.S):
        command: list[str] = []
        printed: list[str] = []
        going_on = False
        for line in block.splitlines():
            if line.startswith("$ ") or going_on:
                if not going_on and command:
                    steps.append(Step(" ".join(command), tuple(printed)))
                    command, printed = [], []
                going_on = line.endswith("\\")
                command.append(line.removeprefix("$ ").rstrip("\\").strip())
            else:
                printed.append(line.rstrip())
        assert command, f"a console block without a command: {block[:80]!r}"
        steps.append(Step(" ".join(command), tuple(printed)))
    return steps


def alike(want: str, got: str) -> bool:
    """Whether two lines are the same but for the last digits of their numbers."""
    wanted, given = _NUMBER.findall(want), _NUMBER.findall(got)
    if re.sub(r"[ -]+", " ", _NUMBER.sub("#", want)) != re.sub(
        r"[ -]+", " ", _NUMBER.sub("#", got)
    ) or len(wanted) != len(given):
        return False
    return all(
        abs(float(a) - float(b)) <= (3.0 if "." not in a else max(0.05, 0.02 * abs(float(a))))
        for a, b in zip(wanted, given, strict=True)
    )


def differences(want: tuple[str, ...], got: list[str]) -> list[str]:
    """Lines that differ; ``...`` takes any lines up to the next that is given."""
    want_lines = list(want)
    while want_lines and not want_lines[-1]:
        want_lines.pop()
    at = 0
    for index, line in enumerate(want_lines):
        if line.strip() == "...":
            rest = want_lines[index + 1 :]
            if not rest:
                return []
            while at < len(got) and not alike(rest[0], got[at]):
                at += 1
            continue
        if at >= len(got) or not alike(line, got[at]):
            return [f"README: {line}", f"now:    {got[at] if at < len(got) else '(nothing)'}"]
        at += 1
    left = [line for line in got[at:] if line.strip()]
    return [f"README does not show: {left[0]}"] if left else []


def test_the_readers_of_the_readme_read_it_rightly():
    text = "```console\n$ one \\\n  two\nout 1.00\n...\nend\n$ three\n```\n```sh\n$ no\n```\n"
    first, second = steps_of(text)
    assert first == Step("one two", ("out 1.00", "...", "end"))
    assert second == Step("three", ())
    assert differences(first.printed, ["out 1.01", "x", "y", "end"]) == []
    assert differences(first.printed, ["out 1.20", "end"])
    assert differences(first.printed, ["out 1.00", "other"])
    assert differences(("a",), ["a", "b"])
    assert alike("chance 74%", "chance 73%")
    assert not alike("chance 74%", "chance 34%")
    assert not alike("4@6:1 in words", "4@5:1 in words")
    assert not alike("133 panels", "132 panels")


def test_the_figures_of_the_readme_are_those_that_were_printed():
    text = README.read_text("utf-8")
    quoted = re.findall(r"\*\*([\d.]+(?: of \d+)?)\*\*", text.partition("## How good it is")[2])
    assert len(quoted) >= 5
    printed = (README.parent / "tests" / "benchmarks" / "RESULTS.md").read_text("utf-8")
    for figure in quoted:
        assert re.search(rf"(?<![\d.]){re.escape(figure)}(?![\d.]*\d)", printed), figure


def test_the_worked_session_prints_what_the_readme_says(tmp_path, monkeypatch):
    steps = steps_of(README.read_text("utf-8")) if README.exists() else []
    if not steps:
        # Not listed among the skips that CI expects, so it cannot go unnoticed there.
        pytest.skip("README.md has no worked session in console blocks")
    monkeypatch.setenv("WORKBOOK_NO_BROWSER", "1")
    shop = tmp_path / "demo-workshop"
    shop.mkdir()
    copied(shop)  # so that the demonstration need not be fitted again
    folder = tmp_path
    for step in steps:
        words = shlex.split(step.command)
        if words[0] == "cd":
            folder = folder / words[1]
            continue
        assert words[0] == "workbook", f"the worked session runs {words[0]}"
        done = run(*words[1:], cwd=folder)
        assert done.exit_code == 0, done.output
        wrong = differences(step.printed, done.stdout.splitlines())
        assert not wrong, "\n".join([f"$ {step.command}", *wrong])


def test_what_the_readme_says_to_python_runs(tmp_path):
    copied(tmp_path)
    blocks = re.findall(r"^```python\n(.*?)^```$", README.read_text("utf-8"), re.M | re.S)
    assert blocks
    for block in blocks:
        done = subprocess.run(
            [sys.executable, "-c", block], cwd=tmp_path, capture_output=True, text=True, check=False
        )
        assert done.returncode == 0, done.stderr
        assert "pale gold" in done.stdout
