"""Fail when the wheel or the source distribution lacks a file of ours, or holds one that is not.

Takes the folder that they were built into, beside a checkout: what git keeps is what they may hold.
"""

from __future__ import annotations

import subprocess
import sys
import tarfile
import zipfile
from pathlib import Path

__all__ = ["differences", "main"]

PACKAGES = ("matchlib/", "workbook/")
NOT_SHIPPED = {".gitignore", ".pre-commit-config.yaml"}
ADDED = {"PKG-INFO", ".gitignore"}
"""What the builder itself puts into a source distribution."""


def differences(kept: set[str], source: set[str], wheel: set[str]) -> list[str]:
    """What is too little or too much in either, given the files that git keeps."""
    wheel = {name for name in wheel if ".dist-info/" not in name}
    shipped = {name for name in kept if name.startswith(PACKAGES)}
    shipped |= {f"workbook/{name}" for name in kept if name.startswith("notebooks/")}
    found = {
        "the source distribution lacks": kept - NOT_SHIPPED - source,
        "the source distribution also holds": source - kept - ADDED,
        "the wheel lacks": shipped - wheel,
        "the wheel also holds": wheel - shipped,
    }
    return [f"{words}: {', '.join(sorted(names))}" for words, names in found.items() if names]


def main(folder: Path) -> int:
    """Return 0 when both hold what they should, else 1."""
    (archive,), (wheel,) = folder.glob("*.tar.gz"), folder.glob("*.whl")
    with tarfile.open(archive) as tar:
        source = {name.partition("/")[2] for name in tar.getnames()}
    with zipfile.ZipFile(wheel) as zipped:
        inside = set(zipped.namelist())
    listed = subprocess.run(
        ["git", "ls-files", "-z"],  # noqa: S607  # the one that made the checkout
        capture_output=True,
        text=True,
        check=True,
    )
    wrong = differences(set(filter(None, listed.stdout.split("\0"))), source, inside)
    sys.stderr.writelines(f"{line}\n" for line in wrong)
    return 1 if wrong else 0


if __name__ == "__main__":
    raise SystemExit(main(Path(sys.argv[1])))
