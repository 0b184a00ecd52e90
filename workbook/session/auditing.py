"""The audit's findings by their keys, and their fixes, logged and reversible."""

from __future__ import annotations

import shlex
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from matchlib.errors import ArchiveError

if TYPE_CHECKING:
    from matchlib.archive import Archive
    from matchlib.audit import Finding
    from matchlib.regression import FilmPredictor

__all__ = [
    "Fixed",
    "finding_text",
    "findings_of",
    "fix_findings",
]


def finding_text(found: Finding) -> str:
    """Return a finding, its evidence and its fix, in words.

    Returned: lines, the first with its key.
    """
    from matchlib.tails import chance_words

    lines = [f"[{found.key}] {found.kind}, {chance_words(found.probability)} likely: {found.words}"]
    if found.evidence is not None and found.evidence.words not in found.words:
        lines.append(f"Evidence: {found.evidence.words}.")
    press = f" (--fix {shlex.quote(found.key)})" if found.can_fix else ""
    lines.append(f"Fix: {found.fix}{press}")
    return "\n".join(lines)


@dataclass(frozen=True, slots=True)
class Fixed:
    """A finding put right.

    `panel`: which panel was amended. `change`: number of the change, for undoing it. `words`: what
    is written now.
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


def findings_of(
    archive: Archive, model: FilmPredictor, keys: Sequence[str] = ()
) -> tuple[Finding, ...]:
    """Return what looks wrong and was not set aside, the likeliest first.

    `keys`: those of these keys alone, in their order, as they were printed in any capitals.
    """
    from matchlib.audit import audit

    aside = archive.ignored()
    found = tuple(f for f in audit(archive.panels(), model) if f.key not in aside)
    if not keys:
        return found
    by_key = {f.key.casefold(): f for f in found}
    lost = [k for k in keys if k.strip().casefold() not in by_key]
    if lost:
        some = ", ".join(f.key for f in found[:6]) + (" ..." if len(found) > 6 else "")
        raise ArchiveError(
            "There is no such finding.",
            expected=f"a key of the list: {some}" if found else "none, for nothing looks wrong",
            got=", ".join(lost),
            remedy="run the audit again and take the key from it; what was put right is gone.",
        )
    return tuple(by_key[k.strip().casefold()] for k in dict.fromkeys(keys))


def fix_findings(
    archive: Archive, chosen: Sequence[Finding], *, who: str = ""
) -> tuple[Fixed, ...]:
    """Write what findings propose; what was written is kept in the history."""
    for found in chosen:
        if not found.can_fix:
            raise ArchiveError(
                "This finding cannot be put right by itself.",
                expected="a finding that proposes another recipe for one panel",
                got=f"{found.kind}, {', '.join(found.codes)}",
                remedy=f"{found.fix[:1].lower()}{found.fix[1:]}",
            )
    done = []
    for found in chosen:
        code, recipe = found.codes[0], found.proposed
        change = archive.amend(code, recipe=recipe, who=who, why=f"audit: {found.kind}")
        if change is None or recipe is None:
            raise ArchiveError(
                "This panel is written so already.", got=code, remedy="run the audit again."
            )
        done.append(Fixed(code, change, recipe.words))
    return tuple(done)
