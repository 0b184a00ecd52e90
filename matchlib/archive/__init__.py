"""The archive of panels: kept whole, never overwritten, shared, backed up and moved.

``Archive.open("panels.db", create=True)`` gives an archive in one SQLite file;
``Archive.open("postgresql://…")`` one on a server. Both hold panels, readings, every change,
photos and settings, and say so in plain words when something is wrong with them.
"""

from __future__ import annotations

from matchlib.archive.adding import AddResult
from matchlib.archive.bundle import export_bundle, import_bundle
from matchlib.archive.changes import Change
from matchlib.archive.copies import apart, back_up, backups_of
from matchlib.archive.export import export_table
from matchlib.archive.merging import merge
from matchlib.archive.naming import all_names, join_names, keep_lot, near_spellings, rename
from matchlib.archive.restoring import restore
from matchlib.archive.salvaging import salvage
from matchlib.archive.store import Archive

__all__ = [
    "AddResult",
    "Archive",
    "Change",
    "all_names",
    "apart",
    "back_up",
    "backups_of",
    "export_bundle",
    "export_table",
    "import_bundle",
    "join_names",
    "keep_lot",
    "merge",
    "near_spellings",
    "rename",
    "restore",
    "salvage",
]
