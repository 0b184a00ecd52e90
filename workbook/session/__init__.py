"""State and use cases of the workbook, without widgets and without printing.

A `Session` holds one archive and the model fitted to it, and answers for whatever target it is
given: the command line and the pages call it. A `Work` (``workbook.session.work``) is one job of
that archive: its target, limits and cards are the job's own, its model has not seen them, and each
step of it is kept in the archive at once. What both give back are dataclasses that say themselves
in words (``text``).
"""

from __future__ import annotations

from workbook.session.auditing import Fixed, finding_dict, finding_text
from workbook.session.back import Draft, date_of, draft_panel, recipe_dict
from workbook.session.demo import DemoShop, make_demo
from workbook.session.intake import HowToRead, Imported, import_file, preview, watch_folder
from workbook.session.model_cache import FitOutcome, model_of
from workbook.session.output import Exported, export, print_labels
from workbook.session.pot import PotRequest, bottle_words, densities_of, labour_of, pot_of
from workbook.session.session import Session
from workbook.session.targets import angles_of_file, angles_of_panel, lab_of, reading_of_lab

__all__ = [
    "DemoShop",
    "Draft",
    "Exported",
    "FitOutcome",
    "Fixed",
    "HowToRead",
    "Imported",
    "PotRequest",
    "Session",
    "angles_of_file",
    "angles_of_panel",
    "bottle_words",
    "date_of",
    "densities_of",
    "draft_panel",
    "export",
    "finding_dict",
    "finding_text",
    "import_file",
    "lab_of",
    "labour_of",
    "make_demo",
    "model_of",
    "pot_of",
    "preview",
    "print_labels",
    "reading_of_lab",
    "recipe_dict",
    "watch_folder",
]
