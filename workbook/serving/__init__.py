"""The workbook served to browsers: as pages without code, or in JupyterLab.

The process that serves is the one the user started, so that whatever ends it ends the kernels too.
"""

from __future__ import annotations

from workbook.serving.address import Address, claim
from workbook.serving.notebooks import copy_notebooks, notebooks_folder, work_folder
from workbook.serving.start import serve_workbook

__all__ = [
    "Address",
    "claim",
    "copy_notebooks",
    "notebooks_folder",
    "serve_workbook",
    "work_folder",
]
