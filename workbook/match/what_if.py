"""Panel: change ground, colour, coats and ratio, and see at once what the next panel would read."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from matchlib.domain import CoatSchedule, CoatStep, Colour, Ground, MixRatio, Recipe
from matchlib.forecast import Forecast, forecast
from matchlib.tails import chance_words
from workbook.controls import ButtonRow, Choice, HtmlView, Slider
from workbook.figures import ORIENTATION, esc, swatch, swatch_pair
from workbook.match.angles import angle_table
from workbook.match.keeping import recipe_of_text, text_of_recipe
from workbook.match.limits import ratios_shown
from workbook.match.parts import Panel, columns, passing, rows, taking
from workbook.session.looking import miss_words

__all__ = ["WhatIfPanel"]

MOVED = "what-if.recipe"
"""Where the controls stood, in the fields of the job."""


class WhatIfPanel(Panel):
    """Sliders over the whole law, not over a table made beforehand."""

    name = "what-if"
    title = "What if: change a recipe and see it"

    def build(self) -> Sequence[Any]:
        """Make the panel's widgets."""
        self._filling = False
        self._last: Recipe | None = None
        archive = self.bench.session.archive
        self.clear: str | None = "yes"
        # Weakest first, so that further right is always more colour.
        self._ratios = [*reversed(ratios_shown())]
        texts = [_short(r) for r in self._ratios]
        last = len(texts) - 1
        at = self._ratios.index("6:1")
        self.ground = Choice([str(g) for g in archive.grounds()], label="Ground")
        self.colour = Choice([str(c) for c in archive.colours()], label="Colour")
        self.coats = Slider(label="Coats", min=1, max=10, value=4, unit="coats")
        self.ratio = Slider(label="Mix ratio", min=0, max=last, value=at, texts=texts)
        self.more = Slider(
            label="Further coats at a second ratio", min=0, max=6, value=0, unit="coats"
        )
        self.second = Slider(label="Second mix ratio", min=0, max=last, value=at, texts=texts)
        self.buttons = ButtonRow(
            [
                {"name": "use", "label": "Use this recipe", "primary": True},
                {"name": "back", "label": "Back to the chosen recipe"},
            ],
            label="What to do with it",
        )
        self.buttons.on_press(self._pressed)
        self.view = HtmlView(label="What the next panel would read")
        for control in (
            *(self.ground, self.colour, self.coats, self.ratio, self.more, self.second),
        ):
            control.observe(self.safely(self._moved), "value")
        controls = rows(
            self.ground, self.colour, self.coats, self.ratio, self.more, self.second, self.buttons
        )
        return [columns(taking(controls, "340px"), taking(self.view, "420px")), self.said]

    @property
    def recipe(self) -> Recipe:
        """The recipe as the controls stand."""
        steps = [CoatStep(round(self.coats.value), self._at(self.ratio))]
        if self.more.value:
            steps.append(CoatStep(round(self.more.value), self._at(self.second)))
        if len(steps) > 1 and steps[0].ratio == steps[1].ratio:
            steps = [CoatStep(steps[0].coats + steps[1].coats, steps[0].ratio)]
        return Recipe(
            Ground.parse(self.ground.value),
            Colour.parse(self.colour.value),
            CoatSchedule(tuple(steps)),
            self.clear,
        )

    def _at(self, slider: Slider) -> MixRatio:
        return MixRatio.parse(self._ratios[round(slider.value)])

    def _pressed(self, name: str) -> None:
        self.safely(self._use if name == "use" else self._back)()

    def _use(self) -> None:
        recipe = self.recipe
        self.bench.change("the chosen recipe", recipe=recipe)
        self.said.tell(f"Chosen: {recipe.words}.")

    def _back(self) -> None:
        self._fill(self.bench.need_recipe())
        self._moved()
        self.said.tell("")

    def _fill(self, recipe: Recipe) -> None:
        if recipe.colour is None or recipe.schedule is None:
            return
        self._filling = True
        try:
            for choice, value in (
                (self.ground, str(recipe.ground)),
                (self.colour, str(recipe.colour)),
            ):
                if value not in choice.options:
                    choice.options = [*choice.options, value]
                choice.value = value
            first, *rest = recipe.schedule.steps
            self.coats.value, self.ratio.value = first.coats, self._place(first.ratio)
            self.more.value = rest[0].coats if rest else 0
            self.second.value = self._place(rest[0].ratio if rest else first.ratio)
            self.clear = recipe.clear
        finally:
            self._filling = False

    def _place(self, ratio: MixRatio) -> int:
        name = f"{float(ratio.carrier / ratio.colour):g}:1"
        if name not in self._ratios:
            # A ratio of the archive that no slider step has: it gets one, in its order.
            spots = sorted({*self._ratios, name}, key=lambda r: -float(r.split(":")[0]))
            kept = [self._ratios[round(s.value)] for s in (self.ratio, self.second)]
            self._ratios = spots
            for slider, was in zip((self.ratio, self.second), kept, strict=True):
                slider.max = len(spots) - 1
                slider.texts = [_short(r) for r in spots]
                slider.value = spots.index(was)
        return self._ratios.index(name)

    def draw(self) -> None:
        """Show the bench as it is now."""
        chosen = self.bench.work.recipe
        if chosen is not None and chosen != self._last:
            self._last = chosen
            self._fill(chosen)
        elif self._last is None and MOVED in self.bench.work.job:
            self._fill(recipe_of_text(self.bench.work.job[MOVED]))
        self._moved()

    def _keep(self) -> None:
        job = {**self.bench.work.job, MOVED: text_of_recipe(self.recipe)}
        self.bench.note(job=job)

    def predicted(self) -> Forecast:
        """Return what the next panel of the recipe would read.

        Returns
        -------
        Forecast
            Against the target at all its angles, where there is one.
        """
        model = self.bench.need_model()
        view = [self.bench.viewing]
        return forecast(model, [self.recipe], self.bench.work.aim, viewings=view)[0]

    def _moved(self) -> None:
        if self._filling:
            return
        self.second.disabled = not self.more.value  # without further coats it changes nothing
        found, target = self.predicted(), self.bench.target_lab
        self.soon(self._keep)
        light, red, yellow = found.sd_lab
        where = "" if target is None else self.bench.where_first
        spread = f"One panel spreads by ±{light:.2f} L*, ±{red:.2f} a*, ±{yellow:.2f} b*{where}."
        words = f"<p><strong>{esc(found.recipe.words)}</strong></p>"
        if target is None or not found.angles:
            note = "Choose a target to see how far it is."
            self.view.html = f"{swatch(found.lab, 'Predicted', note=note, size=220)}{words}"
            return
        within, order = found.probability, found.tolerance
        kind = "cpw-good" if within >= 0.5 else "cpw-bad"
        names = (f"Target{where}", f"Predicted{where}")
        pair = swatch_pair(target, found.lab, names=names, width=380, height=170, judge=order)
        angles = angle_table(found.angles, order, caption="Target and prediction at each angle")
        self.view.html = (
            f"{pair}{words}"
            f'<p class="cpw-num">Next panel: {esc(found.words)}. '
            f'<span class="{kind}">Chance of passing {esc(passing(order))}: '
            f"{chance_words(within)}</span></p>{angles}"
            f"<p>{esc(_miss(found))}</p>"
            f'<p class="cpw-muted cpw-num">{esc(spread)} {esc(ORIENTATION)}</p>'
        )


def _miss(found: Forecast) -> str:
    if len(found.angles) == 1:
        return f"It would be {miss_words(found.angles[0].wanted, found.lab)}."
    return " ".join(
        f"At {a.viewing.geometry} it would be {miss_words(a.wanted, a.lab)}." for a in found.angles
    )


def _short(ratio: str) -> str:
    """A ratio beside a slider: in words still, but never so long that the page jumps."""
    carrier, colour = ratio.split(":")
    return f"{carrier} carrier : {colour} colour"
