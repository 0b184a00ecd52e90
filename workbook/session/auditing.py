"""The audit's findings with numbers to press, and their fixes, logged and reversible."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from matchlib.errors import ArchiveError

if TYPE_CHECKING:
    from matchlib.archive import Archive
    from matchlib.audit import Finding
    from matchlib.regression import FilmRegressor

__all__ = ["Fixed", "NumberedFinding", "findings_of", "fix_finding"]


@dataclass(frozen=True, slots=True)
class NumberedFinding:
    """A finding and the number by which it is chosen.

    Parameters
    ----------
    number : int
        1 is the likeliest.
    finding : Finding
        What looks wrong.
    """

    number: int
    finding: Finding

    @property
    def key(self) -> str:
        """What it is known by, whatever its number: for setting it aside."""
        found = self.finding
        proposed = "" if found.proposed is None else str(found.proposed)
        return f"{found.kind}|{'|'.join(found.codes)}|{proposed}"[:400]

    @property
    def can_fix(self) -> bool:
        """Whether one press puts it right."""
        return self.finding.proposed is not None and len(self.finding.codes) == 1

    @property
    def text(self) -> str:
        """The finding, its evidence and its fix, in words."""
        from matchlib.tails import chance_words

        found = self.finding
        sure = chance_words(found.probability)
        lines = [f"{self.number}. {found.kind}, {sure} likely: {found.words}"]
        if found.evidence is not None and found.evidence.words not in found.words:
            lines.append(f"Evidence: {found.evidence.words}.")
        lines.append(f"Fix: {found.fix}" + (f" (--fix {self.number})" if self.can_fix else ""))
        return "\n".join(lines)

    def as_dict(self) -> dict[str, Any]:
        """Return it as plain data.

        Returns
        -------
        dict
            For JSON.
        """
        found = self.finding
        evidence, proposed = found.evidence, found.proposed
        return {
            "number": self.number,
            "kind": found.kind,
            "panels": list(found.codes),
            "probability": float(found.probability),
            "words": found.words,
            "fix": found.fix,
            "can_fix": self.can_fix,
            "written": None if evidence is None else float(evidence.written),
            "proposed": None if evidence is None else float(evidence.proposed),
            "proposed_recipe": None if proposed is None else proposed.words,
            "key": self.key,
        }


@dataclass(frozen=True, slots=True)
class Fixed:
    """A finding put right.

    Parameters
    ----------
    panel : str
        Which panel was amended.
    change : int
        Number of the change, for undoing it.
    words : str
        What is written now.
    """

    panel: str
    change: int
    words: str

    @property
    def text(self) -> str:
        """What was done, and how to take it back."""
        return (
            f"Panel {self.panel} now reads: {self.words}. To take it back: "
            f"workbook undo {self.change}"
        )


def findings_of(archive: Archive, model: FilmRegressor) -> tuple[NumberedFinding, ...]:
    """Return what looks wrong and was not set aside.

    Parameters
    ----------
    archive : Archive
        Open.
    model : FilmRegressor
        Fitted to it.

    Returns
    -------
    tuple of NumberedFinding
        The likeliest first.
    """
    from matchlib.audit import audit

    aside = archive.ignored()
    found = [NumberedFinding(0, f) for f in audit(archive.panels(), model)]
    left = [f.finding for f in found if f.key not in aside]
    return tuple(NumberedFinding(i, f) for i, f in enumerate(left, 1))


def fix_finding(archive: Archive, chosen: NumberedFinding, *, who: str = "") -> Fixed:
    """Write what a finding proposes; what was written is kept in the history.

    Parameters
    ----------
    archive : Archive
        Open for writing.
    chosen : NumberedFinding
        Of this archive as it is now.
    who : str
        For the history.

    Returns
    -------
    Fixed
        With the number of the change.

    Raises
    ------
    ArchiveError
        If no recipe is proposed, so that only a person can put it right.
    """
    found = chosen.finding
    if not chosen.can_fix or found.proposed is None:
        raise ArchiveError(
            "This finding cannot be put right by itself.",
            expected="a finding that proposes another recipe for one panel",
            got=f"{found.kind}, {', '.join(found.codes)}",
            remedy=f"{found.fix[:1].lower()}{found.fix[1:]}",
        )
    code = found.codes[0]
    change = archive.amend(code, recipe=found.proposed, who=who, why=f"audit: {found.kind}")
    if change is None:
        raise ArchiveError(
            "This panel is written so already.", got=code, remedy="run the audit again."
        )
    return Fixed(code, change, found.proposed.words)
