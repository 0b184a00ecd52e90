"""What looks wrong in the archive, why, and one press to put each right."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import ipywidgets as widgets  # type: ignore[import-untyped]  # it ships no types

from matchlib.overview import panel_lab, usual_view
from matchlib.stepping import part_of
from matchlib.tails import chance_words
from workbook.controls import ButtonRow, HtmlView, TextField
from workbook.desk import Desk, LongWork, Said, Typed, flow
from workbook.figures import esc, swatch_pair

if TYPE_CHECKING:
    from matchlib.audit import Finding
    from workbook.session import Forms

__all__ = ["FindingsPanel"]

_FORM = "findings"


class FindingsPanel:
    """The audit, with a card a finding.

    Parameters
    ----------
    desk : Desk
        The archive.
    """

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self.who = TextField(label="Who decides", help="Written into the log.")
        self.why = TextField(label="Why, if there is more to say")
        self.actions = ButtonRow(
            [
                {"name": "look", "label": "Look for what is wrong", "primary": True},
                {"name": "undo", "label": "Undo the last decision", "disabled": True},
                {"name": "again", "label": "Show ignored findings again"},
            ],
            label="Audit",
        )
        self.work = LongWork("Looking through the archive")
        self.said = Said("Findings: message")
        self.shown = HtmlView(label="Findings")
        self.findings: list[Finding] = []
        self.pairs: dict[str, str] = {}
        # Cards to show again when a decision of this page is taken back, by what was decided.
        self._gone: dict[tuple[str, str], Finding] = {}
        self.actions.on_press(self._press)
        self.shown.on_press(self._decide)
        self.typed = Typed(_FORM, {"who": self.who, "why": self.why})
        desk.on_sit(self._sat)
        desk.on_change(self._offer_undo)

    @property
    def view(self) -> widgets.Widget:
        """The panel."""
        return widgets.VBox(
            [flow(self.who, self.why), self.actions, self.work.view, self.said, self.shown]
        )

    def _sat(self, forms: Forms) -> None:
        self.typed.sit(forms)
        self._offer_undo()

    def _offer_undo(self) -> None:
        self.actions.enable("undo", bool(self.desk.forms.done(_FORM)))

    def start(self) -> None:
        """Look through the archive, in a thread."""
        self.work.ask("Comparing every panel with its back …", self._compute, self._found)

    def _compute(self) -> Any:
        from matchlib.audit import audit

        panels = self.desk.session.archive.panels()
        model = self.desk.fresh_model(part_of(self.work.step, 0.0, 0.6))
        found = audit(panels, model, step=self.work.rest())
        return found, self._pairs(found, model)

    def _pairs(self, found: Any, model: Any) -> dict[str, str]:
        """Reading beside the law, as written and as proposed."""
        view, drawn = usual_view(model), {}
        panels = {p.code: p for p in self.desk.session.archive.panels()}
        for finding in found:
            panel = panels.get(finding.codes[0])
            lab = None if panel is None else panel_lab(panel, view)
            if panel is None or lab is None or finding.proposed is None:
                continue
            law = model.predict_recipes([panel.recipe, finding.proposed], view)
            drawn[finding.key] = "".join(
                swatch_pair(lab, way, names=("As read", name), width=410, height=90)
                for name, way in zip(("As written", "As proposed"), law, strict=True)
            )
        return drawn

    def _found(self, result: Any) -> None:
        found, self.pairs = result
        self.findings = list(found)
        self._draw()

    def _open(self) -> list[Finding]:
        ignored = self.desk.session.archive.ignored()
        return [f for f in self.findings if f.key not in ignored]

    def _draw(self) -> None:
        cards = []
        panels = {p.code: p for p in self.desk.session.archive.panels()}
        open_ = self._open()
        for finding in open_:
            at = self.findings.index(finding)
            code = finding.codes[0]
            names = ", ".join(finding.codes)
            written = panels[code].recipe.words if code in panels else ""
            sure = chance_words(finding.probability)
            rows = [
                f"<h4>{esc(names)}: {esc(finding.kind)}, {esc(sure)} likely</h4>",
                f"<p>{esc(finding.words)}</p>",
                f"<p>As written: {esc(written)}.</p>" if written else "",
                f"<p>To put it right: {esc(finding.fix)}</p>",
                f"<div class='cpw-figures'>{self.pairs.get(finding.key, '')}</div>",
                "<p class='cpw-row'>",
            ]
            if finding.can_fix:
                rows.append(
                    f'<button class="cpw-primary" data-press="fix {at}">'
                    f"Change {esc(code)} as proposed</button>"
                )
            if finding.kind != "drift":
                last = finding.codes[-1]
                rows.append(f'<button data-press="aside {at}">Put {esc(last)} aside</button>')
            rows.append(
                f'<button data-press="ignore {at}">It is right: ignore {esc(names)}</button></p>'
            )
            cards.append(
                f"<section class='cpw-card' style='margin:10px 0'>{''.join(rows)}</section>"
            )
        hidden = len(self.findings) - len(open_)
        head = f"{len(open_)} finding{'s' * (len(open_) != 1)}"
        head += f", {hidden} ignored." if hidden else "."
        self.shown.html = f"<p><strong>{head}</strong></p>{''.join(cards)}"

    # Decisions

    def _press(self, name: str) -> None:
        with self.said.guard():
            if name == "look":
                self.start()
            elif name == "undo":
                self.undo()
            else:
                self.show_again()

    def _decide(self, name: str) -> None:
        with self.said.guard():
            what, at = name.split()
            finding = self.findings[int(at)]
            {"fix": self.fix, "aside": self.aside, "ignore": self.ignore}[what](finding)

    def _reason(self, finding: Finding) -> str:
        return "; ".join(filter(None, (self.why.value.strip(), finding.words)))[:2000]

    def fix(self, finding: Finding) -> None:
        """Write the proposed recipe on the panel's back.

        Parameters
        ----------
        finding : Finding
            With a proposal.
        """
        archive, code = self.desk.session.archive, finding.codes[0]
        number = archive.amend(
            code, who=self.who.value, why=self._reason(finding), recipe=finding.proposed
        )
        words = f"{code} now reads: {finding.proposed.words if finding.proposed else ''}."
        self._decided(finding, number, words)

    def aside(self, finding: Finding) -> None:
        """Put the last panel of a finding aside.

        Parameters
        ----------
        finding : Finding
            About one panel or more.
        """
        archive, code = self.desk.session.archive, finding.codes[-1]
        number = archive.delete(code, who=self.who.value, why=self._reason(finding))
        self._decided(finding, number, f"{code} was put aside; the archive keeps it.")

    def ignore(self, finding: Finding) -> None:
        """Set a finding aside for good.

        Parameters
        ----------
        finding : Finding
            That is no fault.
        """
        key = finding.key
        self.desk.session.archive.ignore(key, who=self.who.value, why=self.why.value)
        self._remember("ignored", [key], finding.codes)
        self._draw()
        self.said.tell(f"{', '.join(finding.codes)}: left as it is, and not shown again.")

    def show_again(self) -> None:
        """Let the ignored ones among the findings be shown again."""
        archive = self.desk.session.archive
        keys = sorted(archive.ignored() & {f.key for f in self.findings})
        for key in keys:
            archive.unignore(key, who=self.who.value)
        if keys:
            codes = [c for f in self.findings if f.key in keys for c in f.codes]
            self._remember("shown", keys, codes)
        self._draw()
        self.said.tell("Ignored findings are shown again.")

    def _remember(self, kind: str, what: list[Any], codes: Sequence[str]) -> None:
        self.desk.forms.did(_FORM, kind=kind, what=what, codes=list(dict.fromkeys(codes)))
        self._offer_undo()

    def _decided(self, finding: Finding, number: int | None, words: str) -> None:
        if number is not None:
            self._remember("change", [number], finding.codes)
            self._gone["change", str(number)] = finding
        self.findings = [f for f in self.findings if f is not finding]
        self._draw()
        self.said.tell(f"{words} It is in the log and can be undone.")
        self.desk.changed()

    def undo(self) -> None:
        """Undo the last decision of this bench, be it from before a restart."""
        done = self.desk.forms.done(_FORM)
        if not done:
            return
        kind, what, codes = (done[-1].get(name) for name in ("kind", "what", "codes"))
        archive = self.desk.session.archive
        # Forgotten first: what cannot be taken back any more must not stand before the rest.
        self.desk.forms.took_back(_FORM)
        try:
            for each in what or ():
                if kind == "ignored":
                    archive.unignore(each, who=self.who.value, why="undone in the audit")
                elif kind == "shown":
                    archive.ignore(each, who=self.who.value, why="ignored once more")
                elif each not in {c.undoes for c in archive.history()}:
                    archive.undo(each, who=self.who.value, why="undone in the audit")
        finally:
            self._offer_undo()
        finding = self._gone.pop((str(kind), str((what or [""])[0])), None)
        if finding is not None and finding not in self.findings:
            self.findings.insert(0, finding)
        if self.findings:
            self._draw()
        self.said.tell(f"{', '.join(codes or ())} is as it was.")
        if kind == "change":
            self.desk.changed()
