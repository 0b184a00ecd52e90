"""Pages of what was tried, as ``RECORDED.md``: one section a program, each written by its own."""

from __future__ import annotations

import datetime as dt
import platform
import re
import sqlite3
from pathlib import Path

__all__ = ["circumstances", "section", "write_section"]

RECORD = Path(__file__).with_name("RECORDED.md")


def circumstances(command: str) -> str:
    """Return by what, when and on what something was tried."""
    return (
        f"By `{command}` on {dt.date.today()}, Python {platform.python_version()}, "
        f"SQLite {sqlite3.sqlite_version}, {platform.system()} {platform.machine()}."
    )


def _section(title: str) -> re.Pattern[str]:
    return re.compile(rf"^## {re.escape(title)}\n(.*?)(?=^## |\Z)", re.MULTILINE | re.DOTALL)


def section(title: str) -> str:
    """Return what stands in a section of the record; empty where there is none."""
    found = _section(title).search(RECORD.read_text("utf-8"))
    return found[1] if found else ""


def write_section(title: str, text: str, *, page: Path = RECORD) -> None:
    """Put a section into a page, in place of the one of that title."""
    whole = page.read_text("utf-8")
    new = f"## {title}\n\n{text.strip()}\n\n"
    there = _section(title)
    whole = there.sub(lambda _: new, whole) if there.search(whole) else f"{whole.rstrip()}\n\n{new}"
    page.write_text(f"{whole.rstrip()}\n", "utf-8")
