"""Pages of what was tried, as ``RECORDED.md``: one section a program, each written by its own."""

from __future__ import annotations

import datetime as dt
import platform
import re
import sqlite3
from pathlib import Path

__all__ = ["RECORD", "circumstances", "write_section"]

RECORD = Path(__file__).with_name("RECORDED.md")
_TITLE = "# Faults tried\n"


def circumstances(command: str) -> str:
    """Return by what, when and on what something was tried."""
    return (
        f"By `{command}` on {dt.date.today()}, Python {platform.python_version()}, "
        f"SQLite {sqlite3.sqlite_version}, {platform.system()} {platform.machine()}."
    )


def write_section(title: str, text: str, *, page: Path = RECORD) -> None:
    """Put a section in, in place of the one of that title."""
    whole = page.read_text("utf-8") if page.exists() else _TITLE
    section = f"## {title}\n\n{text.strip()}\n"
    found = re.compile(rf"^## {re.escape(title)}\n.*?(?=^## |\Z)", re.MULTILINE | re.DOTALL)
    if found.search(whole):
        whole = found.sub(lambda _: f"{section}\n", whole)
    else:
        whole = f"{whole.rstrip()}\n\n{section}"
    page.write_text(f"{whole.rstrip()}\n", "utf-8")
