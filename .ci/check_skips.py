"""Fail when the test run skipped a test that `.ci` does not allow.

Tests that are expected to fail carry their reason themselves. Reads pytest's JUnit report and the
list beside this file; says nothing when all is well, so that pytest's own closing line stays the
last line of the run.
"""

from __future__ import annotations

import sys
from pathlib import Path
from xml.etree import ElementTree as ET

__all__ = ["main"]


def main(report: Path, allowed_file: Path) -> int:
    """Return 0 when every skip is on the list and has its reason there, else 1."""
    allowed = {}
    for number, line in enumerate(allowed_file.read_text("utf-8").splitlines(), 1):
        if not line.strip() or line.startswith("#"):
            continue
        name, _, reason = line.partition(" # ")
        if not reason.strip():
            sys.stderr.write(f"{allowed_file}:{number}: a skip is allowed only with its reason\n")
            return 1
        allowed[name.strip()] = reason.strip()
    # The report is pytest's own, written a moment ago: no stranger's XML is read here.
    cases = list(ET.parse(report).getroot().iter("testcase"))  # noqa: S314
    if not cases:
        sys.stderr.write("The report holds no tests at all.\n")
        return 1
    unexpected = []
    for case in cases:
        skip = case.find("skipped")
        if skip is None or skip.get("type") == "pytest.xfail":
            continue
        name = f"{case.get('classname')}::{case.get('name')}"
        if name not in allowed:
            unexpected.append(f"{name}: {skip.get('message')}")
    for line in unexpected:
        sys.stderr.write(f"Unexpected skip: {line}\n")
    return 1 if unexpected else 0


if __name__ == "__main__":
    raise SystemExit(main(Path(sys.argv[1]), Path(sys.argv[2])))
