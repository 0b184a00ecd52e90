"""Known faults of what is installed, by a database of advisories that comes as a package.

``pip download --no-deps safety-db``, then ``python -m tests.faults.advisories safety_db-*.whl
[--record]``. It is read where it lies: its licence (CC BY-NC-SA) is not that of this project.
"""

from __future__ import annotations

import argparse
import json
import sys
import zipfile
from importlib.metadata import distributions
from pathlib import Path

from packaging.specifiers import SpecifierSet

from tests.faults.record import circumstances, write_section

__all__ = ["main", "matches"]

JUDGED = {
    "CVE-2020-28463": "fetches pictures that text names; all text is escaped before it is set, so "
    "that it names none (`workbook/sheet_parts.py`, `workbook/sheet_booth.py`)",
}
"""Advisories that hold for every version of a package, and why they do not matter here."""


def matches(wheel: Path) -> tuple[int, int, dict[str, str]]:
    """Return how many packages and advisories were compared, and what fits, by what it is of."""
    with zipfile.ZipFile(wheel) as zipped:
        known = json.loads(zipped.read("safety_db/insecure_full.json"))
    installed = {d.metadata["Name"].lower(): d.version for d in distributions()}
    found = {}
    compared = 0
    for name, version in sorted(installed.items()):
        for one in known.get(name, ()):
            compared += 1
            if any(SpecifierSet(spec).contains(version, prereleases=True) for spec in one["specs"]):
                found[f"{name} {version}, {one['cve'] or one['id']}"] = one["advisory"]
    return len(installed), compared, found


def main() -> int:
    """Print, or record, what fits; fail on what nobody has judged."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("wheel", type=Path)
    parser.add_argument("--record", action="store_true")
    asked = parser.parse_args()
    packages, compared, found = matches(asked.wheel)
    judged = {what: JUDGED.get(what.split(", ")[1], "NOT JUDGED") for what in found}
    lines = [
        f"{packages} packages installed, {compared} advisories about packages of these names, "
        f"{len(found)} for the version that is installed. "
        f"{circumstances(f'python -m tests.faults.advisories {asked.wheel.name}')}",
        "",
        *(f"- {what}: {found[what][:200]} Here: {judged[what]}." for what in found),
    ]
    print("\n".join(lines))
    if asked.record:
        write_section("Dependencies", "\n".join(lines))
    return int("NOT JUDGED" in judged.values())


if __name__ == "__main__":
    sys.exit(main())
