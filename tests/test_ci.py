"""The gate on skipped tests can close."""

from __future__ import annotations

import importlib
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
CASE = '<testsuites><testsuite><testcase classname="tests.test_x" name="test_y">{}</testcase>'
END = "</testsuite></testsuites>"


def gate(folder: Path, inside: str, allowed: str) -> subprocess.CompletedProcess[str]:
    (folder / "junit.xml").write_text(CASE.format(inside) + END)
    (folder / "allowed.txt").write_text(allowed)
    script = str(ROOT / ".ci" / "check_skips.py")
    return subprocess.run(
        [sys.executable, script, str(folder / "junit.xml"), str(folder / "allowed.txt")],
        capture_output=True,
        text=True,
        check=False,
    )


@pytest.mark.parametrize(
    ("inside", "allowed", "code", "said"),
    [
        ("", "", 0, ""),
        ('<skipped message="no browser"/>', "", 1, "test_y: no browser"),
        ('<skipped message="m"/>', "# notes\ntests.test_x::test_y # only on Windows\n", 0, ""),
        ('<skipped message="m"/>', "tests.test_x::test_y\n", 1, "only with its reason"),
        ('<skipped message="m"/>', "tests.test_x::test_z # other\n", 1, "Unexpected skip"),
    ],
)
def test_a_skip_needs_its_reason(
    tmp_path: Path, inside: str, allowed: str, code: int, said: str
) -> None:
    done = gate(tmp_path, inside, allowed)
    assert done.returncode == code
    assert said in done.stderr
    assert done.stdout == ""  # pytest's closing line stays the last


def test_what_is_given_away_holds_what_git_keeps_and_nothing_else(monkeypatch) -> None:
    monkeypatch.syspath_prepend(ROOT / ".ci")
    differences = importlib.import_module("check_dists").differences
    kept = {"matchlib/a.py", "notebooks/b.ipynb", "tests/c.py", ".pre-commit-config.yaml"}
    source = {"matchlib/a.py", "notebooks/b.ipynb", "tests/c.py", "PKG-INFO"}
    wheel = {"matchlib/a.py", "workbook/notebooks/b.ipynb", "x-1.dist-info/METADATA"}
    assert differences(kept, source, wheel) == []
    assert differences(kept, source - {"tests/c.py"}, wheel) == [
        "the source distribution lacks: tests/c.py"
    ]
    assert differences(kept, source | {"my.db"}, wheel | {"matchlib/my.db"}) == [
        "the source distribution also holds: my.db",
        "the wheel also holds: matchlib/my.db",
    ]
    assert differences(kept, source, set())[0].startswith("the wheel lacks: matchlib/a.py")
