"""Panel: suggested recipes as cards, two of them side by side, and where they lie in Lab."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from matchlib.audit import excluded_words
from matchlib.correction import aside_words
from matchlib.forecast import angles_of
from matchlib.tails import chance_words
from workbook.controls import ButtonRow, Choice, HtmlView
from workbook.desk import Typed
from workbook.figures import ORIENTATION, esc, lab_text, number, swatch_pair, table
from workbook.match.angles import AngleChoice, angle_table
from workbook.match.bench import plain_recipe_name
from workbook.match.chart import lab_charts
from workbook.match.closer import closer_look
from workbook.match.parts import Panel, columns, passing
from workbook.session.looking import Look, look_at, reachable_labs
from workbook.session.order import DAY, aim_words

if TYPE_CHECKING:
    from matchlib.domain import Recipe
    from matchlib.suggest import Suggestion, Suggestions

__all__ = ["SuggestionsPanel"]


class SuggestionsPanel(Panel):
    """The search runs when the panel is opened and the question has changed."""

    name = "suggestions"
    title = "Suggestions"

    def build(self) -> Sequence[Any]:
        """Make the panel's widgets."""
        self._pair: list[int] = []
        self._beside: list[str] = []
        self._looks: dict[Recipe, Look] = {}
        self._shown: tuple[int, Suggestion] | None = None
        self.top = Choice(["3", "5", "8"], value="5", label="How many")
        self.angle = AngleChoice(
            label="Angle shown",
            help="Swatches, charts and the closer look are at this angle; chances are over all.",
        )
        self.angle.show([r.viewing.geometry for r in self.bench.work.readings])
        self.typed = Typed(
            "suggestions",
            {"top": self.top, "angle": self.angle},
            {"beside": (lambda: self._beside, self._set_beside)},
        )
        self.typed.sit(self.bench.forms)
        self.top.observe(self.safely(self._search), "value")
        self.angle.observe(self.safely(self._turned), "value")
        self.again = ButtonRow(
            [("search", "Suggest again"), ("next", "Which test panel to spray first")],
            label="Search",
        )
        self.again.on_press(
            lambda name: self.safely(
                self._first if name == "next" else lambda: self._search(again=True)
            )()
        )
        self.first = HtmlView(live="polite", label="Which test panel to spray first")
        self.cards = HtmlView(label="Suggested recipes")
        self.cards.on_press(lambda name: self.safely(lambda: self._pressed(name))())
        self.compared = HtmlView(live="polite", label="Two side by side")
        self.closer = HtmlView(label="A closer look")
        self.chart = HtmlView(label="Where they lie in Lab")
        return [
            self.said,
            columns(self.angle),
            self.cards,
            self.compared,
            self.closer,
            self.chart,
            columns(self.top, self.again),
            self.first,
        ]

    def _set_beside(self, names: list[str]) -> None:
        self._beside = [str(name) for name in names][:2]

    # Searching

    def draw(self) -> None:
        """Show the bench as it is now."""
        if self.bench.target_lab is None:
            self.cards.html = "<p>Choose a target first, under Target.</p>"
            self.first.html = self.compared.html = self.closer.html = self.chart.html = ""
            return
        self.angle.show([r.viewing.geometry for r in self.bench.work.readings])
        self._search()

    def _turned(self) -> None:
        if self.open and self.bench.found is not None:
            self._drawn()
            if self._shown is not None:
                self._closer(*self._shown)

    def _search(self, *, again: bool = False) -> None:
        aim = self.bench.need_aim()
        session, work = self.bench.session, self.bench.work
        top, asked = int(self.top.value), self.bench.asked(int(self.top.value))
        if asked == self.bench.found_for and not again:
            self._drawn()
            return
        limits = self.bench.limits()
        self.said.tell("")

        def look() -> tuple[Suggestions, Any]:
            found = session.match(aim, limits, top=top, step=self.task.step)
            panels = session.archive.panels()
            return found, [
                reachable_labs(session.model, limits, panels, viewing=reading.viewing)
                for reading in work.readings
            ]

        def then(result: tuple[Suggestions, Any]) -> None:
            self.bench.found, self.bench.reach = result
            self.bench.found_for = asked
            names = [s.recipe.words for s in self.bench.found]
            self._pair = [names.index(name) for name in self._beside if name in names]
            self._looks, self._shown, self.first.html = {}, None, ""
            self._drawn()

        self.task.start("Searching every recipe on the shelf", look, then)

    # Showing

    def _drawn(self) -> None:
        found = self.bench.found
        if found is None:
            return
        target = found.target.aims[self.angle.index].lab
        head = f"<p>{esc(f'{found.searched:,}')} recipes searched for "
        head += f"{esc(self.bench.work.target_name)}. {esc(ORIENTATION)}</p>"
        unseen = aim_words(self.bench.need_model(), found.target)
        if unseen:
            head += f'<p class="cpw-warn">{esc(unseen)}</p>'
        codes = self.bench.session.left_out(s.recipe for s in found)
        if codes:
            head += f'<p class="cpw-warn">{esc(excluded_words(codes))}</p>'
        if found.miss:
            head += f'<p class="cpw-warn"><strong>{esc(found.miss)}</strong></p>'
        cards = "".join(self._card(k, s, target) for k, s in enumerate(found))
        self.cards.html = f'{head}<div class="cpw-figures">{cards}</div>'
        self._compare(target)
        angle, tried = self.angle.index, self.bench.work.tried
        self.chart.html = lab_charts(found, tried, self.bench.reach[angle], angle=angle)
        if not any(s.recipe in self._looks for s in found):
            self.closer.html = ""

    def _card(self, k: int, found: Suggestion, target: tuple[float, float, float]) -> str:
        aim = self.bench.found.target if self.bench.found is not None else None
        order = self.bench.work.order if aim is None else aim.tolerance
        chosen = found.recipe == self.bench.work.recipe
        kind = "cpw-good" if found.probability >= 0.5 else "cpw-bad"
        of = f"number {k + 1}, {plain_recipe_name(found.recipe)}"
        pair = swatch_pair(
            target,
            found.labs[self.angle.index],
            names=self._names("Target", "Predicted"),
            width=346,
            height=146,
            judge=order,
        )
        several = (
            ""
            if aim is None
            else angle_table(
                angles_of(aim, found.labs),
                order,
                caption=f"Number {k + 1} at each angle",
                chips=False,
            )
        )
        worst = " at the worst angle" if several else ""
        extra = "".join(f'<p class="cpw-warn">{esc(n)}</p>' for n in found.never_sprayed)
        if found.note:
            extra += f'<p class="cpw-muted">{esc(found.note)}</p>'
        look = self._looks.get(found.recipe)
        if look is not None:
            extra += f"<p>{esc(look.evenness)} (Picture below.)</p>"
        use = "✓ Chosen" if chosen else "Use this one"
        put = "✓ Compared" if k in self._pair else "Compare"
        return (
            '<section class="cpw-card" style="flex:1 1 336px;min-width:0;max-width:440px" '
            f'aria-label="{esc("Suggestion " + of)}">'
            f"<h3>{k + 1}. {esc(plain_recipe_name(found.recipe))}</h3>{pair}"
            f"<p><strong>{esc(_coats(found.recipe))}</strong></p>"
            f'<p class="cpw-num">Next panel: {esc(order.said(found.expected_delta_e00))} ± '
            f'{number(found.sd_delta_e00, 2)}{worst}. <span class="{kind}">Chance of passing '
            f"{esc(passing(order))}: {chance_words(found.probability)}</span></p>{several}"
            f"<p>{esc(found.why)}</p>{extra}"
            '<p class="cpw-row">'
            f"{_press(f'use:{k}', use, of, primary=not chosen)}"
            f"{_press(f'compare:{k}', put, of)}"
            f"{_press(f'look:{k}', 'Look closer', of)}</p></section>"
        )

    def _names(self, one: str, two: str) -> tuple[str, str]:
        """Names of two swatches, with the angle where there are several."""
        where = f" at {self.angle.value}" if len(self.angle.options) > 1 else ""
        return f"{one}{where}", f"{two}{where}"

    def _compare(self, target: tuple[float, float, float]) -> None:
        found = self.bench.found
        if found is None or not self._pair:
            self.compared.html = ""
            return
        if len(self._pair) == 1:
            self.compared.html = (
                f"<p>Number {self._pair[0] + 1} is set beside nothing yet: press Compare at "
                "another one.</p>"
            )
            return
        tolerance, unit = found.target.tolerance, found.target.tolerance.unit
        one, two = (found[k] for k in self._pair)
        names = first, second = tuple(f"Number {k + 1}" for k in self._pair)
        at = self.angle.index
        pairs = [
            (target, one.labs[at], ("Target", first)),
            (target, two.labs[at], ("Target", second)),
            (one.labs[at], two.labs[at], names),
        ]
        beside = "".join(
            swatch_pair(a, b, names=self._names(*n), width=330, height=150, judge=tolerance)
            for a, b, n in pairs
        )
        rows = [
            ("recipe", plain_recipe_name(one.recipe), plain_recipe_name(two.recipe)),
            ("coats", _coats(one.recipe), _coats(two.recipe)),
            *(
                (label, *(number(getattr(s, name), 2) for s in (one, two)))
                for label, name in (
                    (f"expected {unit}", "expected_delta_e00"),
                    (f"one panel's spread, ± {unit}", "sd_delta_e00"),
                )
            ),
            *(
                (f"predicted at {a.viewing.geometry}", lab_text(a.lab), lab_text(b.lab))
                for a, b in zip(*(angles_of(found.target, s.labs) for s in (one, two)), strict=True)
                if len(found.target.aims) > 1
            ),
            ("chance of passing", chance_words(one.probability), chance_words(two.probability)),
        ]
        self.compared.html = (
            f"<h3>{esc(first)} and {esc(second)} side by side</h3>"
            f'<div class="cpw-figures">{beside}</div>'
            f"{table(['', first, second], rows, caption='The two in numbers')}"
        )

    def _first(self) -> None:
        aim = self.bench.need_aim()
        session, work, limits = self.bench.session, self.bench.work, self.bench.limits()
        source = work.readings[0].source
        codes = [t.code for t in work.tried if t.kept]

        def think() -> Any:
            return session.next_panels(
                aim,
                codes=codes,
                limits=limits,
                source=source,
                top=4,
                step=self.task.step,
            )

        def then(result: Any) -> None:
            found, unfitting = result
            rows = [
                (
                    panel.recipe.words,
                    chance_words(panel.passes),
                    chance_words(panel.passes_by_second),
                )
                for panel in found
            ]
            heads = ["panel to spray", "passes at once", "passes by the second"]
            caption = "Test panels by the chance of a match by the second one"
            self.first.html = (
                f"{table(heads, rows, caption=caption, right=heads[1:])}"
                f'<p class="cpw-muted">{esc(DAY)} {esc(aside_words(unfitting))}</p>'
            )

        self.task.start("Thinking two panels ahead", think, then)

    # Pressing

    def _pressed(self, name: str) -> None:
        act, _, number_ = name.partition(":")
        found = self.bench.found
        if found is None or not number_.isdigit() or int(number_) >= len(found):
            return
        k = int(number_)
        if act == "use":
            recipe = found[k].recipe
            self.bench.change("the chosen recipe", recipe=recipe)
        elif act == "compare":
            if k in self._pair:
                self._pair.remove(k)
            else:
                self._pair = [*self._pair[-1:], k]
            self._beside = [found[k].recipe.words for k in self._pair]
            self.typed.changed()
            self._drawn()
        elif act == "look":
            self._look(k, found[k])

    def _look(self, k: int, found: Suggestion) -> None:
        model, work = self.bench.need_model(), self.bench.work
        if found.recipe in self._looks:
            self._closer(k, found)
            return

        panels = self.bench.session.archive.panels()

        def think() -> Look:
            return look_at(model, found.recipe, target=work.readings, aim=work.aim, panels=panels)

        def then(look: Look) -> None:
            self._looks[found.recipe] = look
            self._drawn()
            self._closer(k, found)

        self.task.start(f"Spraying panels of number {k + 1} on paper", think, then)

    def _closer(self, k: int, found: Suggestion) -> None:
        look = self._looks[found.recipe]
        self._shown = (k, found)
        head = f"Number {k + 1}, {plain_recipe_name(found.recipe)}"
        self.closer.html = closer_look(look, head, angle=self.angle.index)


def _press(name: str, words: str, of: str, *, primary: bool = False) -> str:
    kind = ' class="cpw-primary"' if primary else ""
    return (
        f'<button data-press="{esc(name)}"{kind} aria-label="{esc(f"{words}: {of}")}">'
        f"{esc(words)}</button>"
    )


def _coats(recipe: Recipe) -> str:
    if recipe.schedule is None:
        return "no coats of colour"
    clear = "" if recipe.clear is None else ", under clear coat"
    named = "" if recipe.clear in (None, "yes") else f" {recipe.clear}"
    return f"{recipe.schedule.words}{clear}{named}"
