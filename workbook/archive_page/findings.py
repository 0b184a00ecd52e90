"""What looks wrong, acted on one by one: the card as read beside what its back says."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

from matchlib.errors import DomainError
from matchlib.overview import panel_lab
from matchlib.plural import counted
from matchlib.tails import chance_words
from workbook.figures import areas, esc, numbers
from workbook.page.fields import button, field, fold
from workbook.page.pictures import coats_words, recipe_title

if TYPE_CHECKING:
    from collections.abc import Iterable

    from matchlib.audit import Finding
    from matchlib.domain import Panel, Recipe
    from matchlib.progress import Callback
    from workbook.archive_page.app import ArchiveScreen
    from workbook.page import Press

__all__ = ["draw", "open_", "uncounted"]

_NAMED = 3


def open_(screen: ArchiveScreen) -> list[Finding]:
    """Return the findings that nobody has decided on.

    Returned: the likeliest first.
    """
    ignored = screen.session.archive.ignored()
    panels = {p.code: p for p in screen.session.archive.panels()}
    return [
        f
        for f in screen.findings or ()
        if f.key not in ignored and all(_same(screen.seen[c], panels.get(c)) for c in f.codes)
    ]


def uncounted(screen: ArchiveScreen, some: Iterable[Finding]) -> int:
    """Return how many findings are of cards that the fit leaves out."""
    trust = {} if screen.model is None else screen.model.trust_
    return sum(any(trust.get(code) == 0 for code in finding.codes) for finding in some)


def _same(seen: Panel, now: Panel | None) -> bool:
    """Whether a card still says what it said when it was looked at."""
    return now is not None and (now.recipe, now.readings) == (seen.recipe, seen.readings)


def do_look(screen: ArchiveScreen, _: Press | None = None, *, quiet: bool = False) -> None:
    """Look through the archive, in a thread."""

    def compute(callback: Callback) -> Any:
        from matchlib.audit import audit

        model = screen.session.fit(callback=callback).model
        panels = screen.session.archive.panels()
        found = list(audit(panels, model, callback=callback))
        by_code, laws, view = {p.code: p for p in panels}, {}, model.usual_view
        for finding in found:
            panel = by_code.get(finding.codes[0])
            lab = None if panel is None else panel_lab(panel, view)
            if panel is not None and lab is not None and finding.proposed is not None:
                proposed = replace(finding.proposed, clear=panel.read_as.clear)
                written, proposed = model.predict_recipes([panel.read_as, proposed], view)
                laws[finding.key] = (lab, written, proposed)
        return found, laws, by_code

    words = "" if quiet else "Comparing every card with its back"
    screen.page.later(words, compute, lambda found: _keep(screen, found))


def _keep(screen: ArchiveScreen, found: Any) -> None:
    screen.findings, screen.laws, screen.seen = found


def draw(screen: ArchiveScreen) -> tuple[str, str]:
    """Return the finding that is looked at, and how to go on."""
    archive = screen.session.archive
    if screen.findings is None:
        words = "<p>Every card is compared with its back, itself left out.</p>"
        return words, button("Look for what is wrong", "look", go=True)
    left = open_(screen)
    hidden = len(archive.ignored() & {f.key for f in screen.findings})
    again = button(f"Show {hidden} left as they are", "again", quiet=True) if hidden else ""
    rest = f'<p class="wb-bar">{button("Look again", "look", quiet=True)}{again}</p>'
    if not left:
        return f'<p class="wb-big">Nothing looks wrong.</p>{rest}', ""
    at = min(int(screen.address.get("finding") or 0), len(left) - 1)
    finding = left[at]
    who = field("Your name", "who", screen.chosen.get("who", ""))
    why = field("Why, if there is more to say", "why")
    trouble = screen.trouble("fix", "aside", "ignore")
    counts = "does not count" if uncounted(screen, [finding]) else "counts"
    main = (
        f'<p class="wb-muted">{at + 1} of {len(left)}. It {counts} in predictions until you '
        f'decide.</p>{_card(screen, finding)}<div class="wb-fields">{who}{why}</div>'
        f"{trouble}{rest}"
    )
    before = button("Finding before", "turn_to", at - 1, quiet=True, off=not at)
    after = button("Next finding", "turn_to", at + 1, off=at + 1 == len(left))
    return main, f'<span class="wb-pair">{before}{after}</span>'


def _card(screen: ArchiveScreen, finding: Finding) -> str:
    key, names = finding.key, ", ".join(finding.codes)
    many = len(finding.codes) > _NAMED
    short = counted(len(finding.codes), "card") if many else names
    code, last = finding.codes[0], finding.codes[-1]
    panels = {p.code: p for p in screen.session.archive.panels()}
    written = panels[code].recipe if code in panels else None
    drawn = ""
    if key in screen.laws:
        lab, law, proposed = screen.laws[key]
        cases = (("as written", law), ("as proposed", proposed))
        drawn = "".join(
            f"<figure>{_beside(lab, one, name)}"
            f'<p class="wb-num">read {numbers(lab)}<br>{name} {numbers(one)}</p></figure>'
            for name, one in cases
        )
    presses = ""
    if finding.can_fix:
        presses += button(f"Change {code} to this", "fix", key, go=True)
    if finding.kind != "drift":
        presses += button(f"Put {last} aside", "aside", key)
    presses += button("It is right as it is", "ignore", key)
    # Of a drift the first card's back says no more than another's.
    back = f"<p>The back says: {_words(written)}</p>" if written and finding.kind != "drift" else ""
    listed = f"<p>{esc(names)}.</p>" if many else ""
    proposed = f"<p>It would say: {_words(finding.proposed)}</p>" if finding.proposed else ""
    return (
        f'<article class="wb-card wb-first"><h2>{esc(short)}: {esc(finding.kind)}, '
        f"{esc(chance_words(finding.probability))} likely</h2>"
        f'<div class="wb-bar">{drawn}</div>'
        + back
        + (proposed or f"<p>{esc(finding.fix)}</p>")
        + f'<p class="wb-bar">{presses}</p>'
        + fold("Why it looks wrong", f"<p>{esc(finding.words)}</p>{listed}", ident="why")
        + "</article>"
    )


def _words(recipe: Recipe) -> str:
    return f"{recipe_title(recipe)}, {esc(coats_words(recipe) or 'no clear')}"


def _beside(lab: Any, other: Any, name: str) -> str:
    return areas(
        [lab, other], words=f"read {numbers(lab)}, beside it {name}", width=300, height=120
    )


def _chosen(screen: ArchiveScreen, done: Press) -> tuple[Finding, str, str]:
    finding = next((f for f in open_(screen) if f.key == done.value), None)
    if finding is None:
        raise DomainError(
            "This was decided or changed elsewhere meanwhile, so this press did nothing.",
            remedy="look at what the page shows now.",
        )
    screen.chosen["who"] = who = done.fields.get("who", "")
    why = "; ".join(filter(None, (done.fields.get("why", "").strip(), finding.words)))[:2000]
    return finding, who, why


def do_fix(screen: ArchiveScreen, done: Press) -> None:
    """Write the proposed recipe on the card's back."""
    finding, who, why = _chosen(screen, done)
    code = finding.codes[0]
    screen.session.archive.amend(code, who=who, why=why, recipe=finding.proposed)
    _decided(screen, f"{code} now reads: {finding.proposed}.")


def do_aside(screen: ArchiveScreen, done: Press) -> None:
    """Put the last card of a finding aside."""
    finding, who, why = _chosen(screen, done)
    code = finding.codes[-1]
    screen.session.archive.delete(code, who=who, why=why)
    _decided(screen, f"{code} was put aside; the archive keeps it.")


def do_ignore(screen: ArchiveScreen, done: Press) -> None:
    """Leave a finding as it is, for good."""
    finding, who, _ = _chosen(screen, done)
    screen.session.archive.ignore(done.value, who=who, why=done.fields.get("why", ""))
    screen.notice = f"{', '.join(finding.codes)}: left as it is, and not shown again."


def do_again(screen: ArchiveScreen, done: Press) -> None:
    """Let what was left as it is be shown again."""
    archive, who = screen.session.archive, done.fields.get("who", "")
    for key in sorted(archive.ignored() & {f.key for f in screen.findings or ()}):
        archive.unignore(key, who=who)
    screen.notice = "What was left as it is is shown again."


def do_turn_to(screen: ArchiveScreen, done: Press) -> None:
    """Look at another finding."""
    screen.address = {"part": "wrong", "finding": done.value}


def _decided(screen: ArchiveScreen, words: str) -> None:
    screen.changed()
    screen.notice = f"{words} Undo takes it back."
