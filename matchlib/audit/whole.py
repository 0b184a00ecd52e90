"""The audit of a whole archive."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

import numpy as np

from matchlib.audit.backs import finding_of, judge
from matchlib.audit.doubles import disagreeing_readings, same_code_twice, same_panel_twice
from matchlib.audit.drift import drifts
from matchlib.audit.finding import PRIORS, Finding
from matchlib.audit.left_out import leave_out
from matchlib.audit.slips import Materials
from matchlib.domain import Panel
from matchlib.linear import fit_panels
from matchlib.listing import Listing
from matchlib.progress import Callback, part_of
from matchlib.regression.solve import WRONG
from matchlib.regression.vocabulary import names_of

if TYPE_CHECKING:
    from matchlib.regression import FilmPredictor

__all__ = ["LIKELY", "audit"]

LIKELY = 0.3
"""Probability from which a finding is worth a technician's look [-]: on simulated archives this
finds most and troubles few right panels (`tests/benchmarks/audit_score.py`)."""

BELIEVED = 0.5
"""Probability of being wrong under which a panel may speak of drift [-]."""


def audit(
    panels: Sequence[Panel],
    model: FilmPredictor | None = None,
    *,
    likely: float = LIKELY,
    callback: Callback | None = None,
) -> Listing[Finding]:
    """Look for what is wrong in an archive.

    Parameters
    ----------
    panels : sequence of Panel
        The archive, or what is about to be imported.
    model : FilmPredictor, optional
        Fitted to these panels under their codes; fitted here if None.
    likely : float
        Least probability of a finding [-].
    callback : callable, optional
        Called between pieces of work with the share done and what is being done; what it raises
        ends the audit.

    Returns
    -------
    Listing of Finding
        A tuple, the likeliest first; ``to_frame()`` gives a table.

    Raises
    ------
    FitError
        If there are no panels to learn from.

    Examples
    --------
    >>> from matchlib.demo import demo_model, demo_panels
    >>> found = audit(demo_panels(), demo_model())
    >>> found.to_frame()[["kind", "codes"]]
                   kind                                              codes
    0     another ratio                                               T052
    1  coats miscounted                                               T098
    2    reversed ratio                                               T029
    3      wrong ground                                               T077
    4             drift  T031; T032; T045; T054; T061; T070; T071; T076...
    """
    once = list({p.code: p for p in panels}.values())
    report = part_of(callback, 0.0 if model is not None else 0.7)
    model = model or fit_panels(once, callback=part_of(callback, 0.0, 0.7))
    left = leave_out(model, once, callback=part_of(report, 0.0, 0.3))
    verdicts = judge(left, Materials.of(once), callback=part_of(report, 0.3, 0.7))
    found = [f for f in map(finding_of, verdicts) if f is not None]
    keep = np.array([v.wrong < BELIEVED for v in verdicts])
    report(0.7, "comparing panels of one recipe")
    found += [
        *same_code_twice(panels),
        *same_panel_twice(left, likely=likely, callback=part_of(report, 0.7, 0.95)),
        *disagreeing_readings(once),
        *drifts(left, keep),
        *beyond_the_law(model.unusual_, once),
    ]
    told = [f for f in found if f.probability >= likely]
    # Results that rest on a fit say what it left out, and send whoever reads them here.
    named = {c for f in told if f.kind in (*PRIORS, "beyond the law") for c in f.codes}
    told += _otherwise_left_out(model, [p.code for p in once if p.code not in named])
    return Listing(sorted(told, key=_order))


def _otherwise_left_out(model: FilmPredictor, codes: Sequence[str]) -> Iterator[Finding]:
    """Find panels that the fit left out, of those of which nothing is said."""
    for code in codes:
        if not model.trust_.get(code, 1.0):
            yield Finding(
                "impossible reading",
                (code,),
                1.0 - WRONG,
                f"Panel {code}: its back and its reading do not agree with the other panels, so "
                "the fit left it out; no slip of the back surely explains it.",
                f"Read panel {code} again, and look at it; put it aside if nobody can say.",
            )


def beyond_the_law(names: dict[tuple[str, str], str], panels: Sequence[Panel]) -> Iterator[Finding]:
    """Find grounds and colours that the law cannot hold for."""
    for (kind, name), why in sorted(names.items(), key=lambda found: found[0][::-1]):
        yield Finding(
            "beyond the law",
            tuple(p.code for p in panels if (kind, name) in names_of(p.recipe)),
            1.0,
            f"{name} is beyond the film law: {why}.",
            "Nothing is wrong with the panels. Trust what is told of it only near panels that were "
            "sprayed, and read one before a customer's job.",
            about=name,
        )


def _order(finding: Finding) -> tuple[float, str, tuple[str, ...]]:
    return -finding.probability, finding.kind, finding.codes
