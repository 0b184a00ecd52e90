"""Step 2, the recipe: ranked rows with their coats drawn, one recommended, the rest folded."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from matchlib.colorimetry import delta_e00
from matchlib.domain import CoatSchedule, CoatStep, Colour, Ground, MixRatio, Recipe
from matchlib.errors import MatchlibError
from workbook.figures import Raw, esc, minus, number
from workbook.figures.charts import Mark, lab_chart
from workbook.jobs.rail import materials
from workbook.page.fields import button, check, chips, choice, fold, problem, slider
from workbook.page.page import Press
from workbook.page.pictures import chance, coats, coats_words, recipe_title, split, tenths
from workbook.screen import guarded
from workbook.session.work import Work

if TYPE_CHECKING:
    from matchlib.mixing import Limits
    from matchlib.steering import CardPlan, CardPlans
    from matchlib.suggest import Suggestion, Suggestions
    from workbook.jobs.app import JobsScreen

__all__ = ["Offer", "draw", "limits_of_press", "offers", "own_recipe"]

FOLDED = 0.05
"""Chance under which a recipe is folded away: 1 in 20."""

_WORTH = 0.02
_MOST = 5
_TOOLS = {
    "own": "Try my own recipe",
    "chart": "Show on the colour chart",
    "compare": "Compare two",
}
_MAY = {
    "blends": "two colours in a pot",
    "step_ups": "two ratios one after the other",
    "ground_blends": "two grounds mixed",
    "layers": "one colour over another",
}
_EVEN = {"": "any amount", **{f"{v:g}": f"ΔE00 {v:g}" for v in (0.5, 1.0, 1.5, 2.0, 3.0)}}
_CARRIERS = [2 + 0.5 * i for i in range(17)] + [11, 12, 14, 16, 20]


@dataclass(frozen=True)
class Offer:
    """A row: a recipe, sprayed blind or read on the way.

    `recipe`: all coats. `chance`, `blind`: of passing as recommended, and of what would be sprayed
    blind of the same ground and pot [-].
    `read_after`: coats after which it is read. `suggestion`: the search's own words of it.
    """

    recipe: Recipe
    chance: float
    blind: float
    read_after: tuple[int, ...]
    suggestion: Suggestion

    @property
    def key(self) -> str:
        """What its press is known by, whatever its place in the list."""
        return f"{self.recipe}, {self.recipe.clear}, {self.read_after}"


def offers(found: Suggestions, plans: CardPlans | None) -> list[Offer]:
    """Return the rows, the likeliest first; with a reading on the way where that is known to help.

    `plans`: None while they are being worked out. Returned: one for each ground and pot at most
    with a reading on the way.
    """
    by: dict[Any, CardPlan] = {materials(p.whole): p for p in plans or () if p.planned_readings}
    rows = []
    for one in found:
        plan = by.pop(materials(one.recipe), None)
        if plan is not None and plan.steered >= one.probability + _WORTH:
            after = (plan.planned_readings[0].after,)
            rows.append(Offer(plan.whole, plan.steered, plan.blind, after, one))
        else:
            rows.append(Offer(one.recipe, one.probability, one.probability, (), one))
    # As the chance is said, in tens; level ones stay by trouble.
    return sorted(rows, key=lambda r: (-chance(r.chance)[0], -round(r.chance, 2)))


def draw(screen: JobsScreen, work: Work) -> tuple[str, str, str]:
    """Return the step: its title, its HTML, and how to go on."""
    title, tool = f"Recipes for {work.job.name}", screen.address.get("tool", "")
    wrong = screen.error
    try:
        found, plans = screen.found(work)
    except MatchlibError as error:  # nothing of what is ticked can be sprayed
        return title, _empty(work, wrong or error), ""
    rows = offers(found, plans)
    combinations: dict[Any, Offer] = {}  # one row a ground and pot; its other coats are folded
    for one in rows:
        if one.chance >= FOLDED or not combinations:
            combinations.setdefault(materials(one.recipe), one)
    likely = list(combinations.values())[:_MOST]
    rest = [r for r in rows if r not in likely]
    shown = "".join(_row(work, r, rows.index(r), first=not i) for i, r in enumerate(likely))
    folded = "".join(_row(work, r, rows.index(r)) for r in rest)
    notes = [plans[0].own_words, *plans.notes] if plans else []
    folded += "".join(f"<p>{esc(note)}</p>" for note in notes if note)
    count = f"{len(rest)} more" if rest else "Reading on the way"
    more = fold(count, folded, ident="more") if folded else ""
    reach = "" if found.reachable else f'<p class="wb-caution">{esc(minus(found.why_not))}</p>'
    tools = "".join(
        button(words, "tool", name, quiet=True) for name, words in _TOOLS.items() if name != tool
    )
    asked: dict[str, Callable[[], str]] = {
        "own": lambda: own_part(work, screen.last),
        "chart": lambda: _chart(work, rows, found),
        "compare": lambda: _compare(work, rows, screen.last),
    }
    ranked = f"{shown}{more}"
    if tool in asked:
        tools = button("Back to the recipes", "tool", quiet=True) + tools
        ranked = guarded("", asked[tool])
    body = (
        f"{problem(wrong)}{_shelf(work, opened=tool == 'shelf')}{reach}{ranked}"
        f'<div class="wb-bar">{tools}</div>'
    )
    ready = work.job.plan is not None and work.job.state != "recipe"
    ready = ready and screen.passes(work) is not False  # what was sprayed by it will not do
    do, value = ("step", "spray") if ready else ("use", rows[0].key)
    if tool == "own":  # what is on screen is what is sprayed next
        do, value = "useown", ""
    good = do != "use" or rows[0].chance >= FOLDED
    words = "Next: spray it" if good else "Spray the nearest all the same"
    return title, body, button(words, do, value, go=good)


def _empty(work: Work, wrong: Exception) -> str:
    """What is wrong, and the shelf; where cards are too few for one, the way to the first."""
    try:
        return f"{problem(wrong)}{_shelf(work, opened=True)}"
    except MatchlibError:
        on = '<a class="wb-press wb-go" href="browse_the_library.ipynb?part=begin">'
        return (
            "<p>A recipe is worked out from cards that were sprayed and read: they come first.</p>"
            f"<p>{on}Grounds, colours, first cards</a></p>"
            + (problem(wrong) if len(work.archive) else "")
        )


def _why(row: Offer) -> str:
    """Why this ground and pot, without their names, which stand beside it."""
    why = row.suggestion.why.partition(";")[0].rstrip(".").rpartition(": ")[2]
    return f"{why[:1].upper()}{why[1:]}."


def _row(work: Work, row: Offer, place: int, *, first: bool = False) -> str:
    recipe = row.recipe
    labs = work.expected_labs(recipe.coat_by_coat())
    size: Any = {"width": 190, "height": 92} if first else {"width": 132, "height": 66}
    text = ""
    if first:
        pair = f"{recipe.colour} never sprayed over {recipe.ground}"  # as its heading says
        news = ("never sprayed yet" if n == pair else n for n in row.suggestion.never_sprayed)
        new = "".join(f" {n[:1].upper()}{n[1:]}." for n in news)
        text = f'<p class="wb-why">{esc(_why(row) + new)}</p>'
    after = " and ".join(map(str, row.read_after))
    read = f"cards pass, read after coat {after}" if after else "cards pass"
    blind = ""
    if chance(row.blind) != chance(row.chance):
        blind = f"{chance(row.blind)[1]} sprayed blind"
    best = first and row.chance >= FOLDED  # what hardly any card passes by is not recommended
    use = button("Use this", "use", row.key, go=best, spoken=f"{recipe}")
    return (
        f'<article class="wb-card wb-row{" wb-first" * best}" data-key="row{place}">'
        f"{split(work.wanted, labs[-1], **size)}<div><h2>{recipe_title(recipe)}</h2>"
        f"<p>{esc(coats_words(recipe))}</p>"
        f"{coats(labs, work.wanted, size=28 if first else 20, named=first)}{text}</div>"
        f"{tenths(row.chance, read, more=blind)}{use}</article>"
    )


# The shelf


def _shelf(work: Work, *, opened: bool) -> str:
    limits, archive = work.limits, work.archive
    known = work.known(archive.grounds())
    names = [g for g in known if g.neat]
    seen = known if opened else names
    shown = esc("\n".join(map(str, seen)))
    grounds = f'{_grounds(work, names)}<input type="hidden" name="grounds_shown" value="{shown}">'
    low, high = limits.carrier
    pots = "two colours in a pot" if limits.blends else "one colour in a pot"
    text = f"up to {limits.max_coats} coats · {low:g}:1 to {high:g}:1 · {pots}"
    words, to = ("Close the shelf", "") if opened else ("Change the shelf", "shelf")
    change = button(words, "tool", to, quiet=True)
    line = f'<div class="wb-shelf">{grounds}<p class="wb-muted">{text}</p>{change}</div>'
    return line + (_shelf_form(work) if opened else "")


def _grounds(work: Work, names: Sequence[Ground], words: str = "") -> Raw:
    limits = work.limits
    on = None if limits.grounds is None else {str(g) for g in limits.grounds}
    labs = work.expected_labs([Recipe(g, None, None, work.session.clear) for g in names])
    return chips(
        words or "Grounds on the shelf",
        [
            check(str(g), "grounds", str(g), on is None or str(g) in on, do="shelf", chip=lab)
            for g, lab in zip(names, labs, strict=True)
        ],
        shown=bool(words),
    )


def _shelf_form(work: Work) -> str:
    limits = work.limits
    neat = _neat(work)
    on = neat if limits.colours is None else [str(c) for c in limits.colours]
    colours = dict.fromkeys([*neat, *on])  # a blend that stands ready is on no list of names
    ratios = {f"{c:g}": f"{c:g} : 1" for c in sorted({*_CARRIERS, *limits.carrier})}
    low, high = limits.carrier
    blends = [g for g in work.known(work.archive.grounds()) if not g.neat]
    boxes = [check(c, "colours", c, c in on, do="shelf") for c in colours]
    allowed = [check(w, "may", n, bool(getattr(limits, n)), do="shelf") for n, w in _MAY.items()]
    counts = {str(n): str(n) for n in range(1, max(10, limits.max_coats) + 1)}
    uneven = f"{limits.max_unevenness:g}" if limits.max_unevenness else ""
    # One that is not listed stands first: a browser would send what does.
    evens = {uneven: f"ΔE00 {uneven}", **_EVEN}
    return (
        '<div class="wb-card">'
        + (_grounds(work, blends, "Mixed grounds on the shelf") if blends else "")
        + chips("Colours on the shelf", boxes, shown=True)
        + '<div class="wb-fields">'
        + choice("Richest ratio", "min_ratio", ratios, f"{low:g}", do="shelf")
        + choice("Weakest ratio", "max_ratio", ratios, f"{high:g}", do="shelf")
        + choice("Most coats", "max_coats", counts, str(limits.max_coats), do="shelf")
        + choice("10 % of film may shift it", "max_unevenness", evens, uneven, do="shelf")
        + "</div>"
        + chips("Also allowed", allowed, shown=True)
        + '<p class="wb-muted">What is changed here holds for this job.</p><div class="wb-bar">'
        + button("Make it the shop's usual", "usual", quiet=True)
        + button("Back to the shop's usual", "unlimit", quiet=True)
        + "</div></div>"
    )


def _neat(work: Work) -> list[str]:
    """Names of the neat colours that may be ticked."""
    return [str(c) for c in work.known(map(Colour.parse, work.archive.names("colour")))]


def limits_of_press(work: Work, done: Press) -> Limits:
    """Return the shelf as the page's boxes have it."""
    known = work.known(work.archive.grounds())
    on = known if work.limits.grounds is None else work.limits.grounds
    grounds = _ticked_grounds(on, known, done)
    changes: dict[str, Any] = {"grounds": None if {*grounds} == {*known} else tuple(grounds)}
    if "min_ratio" in done.fields:
        colours = done.ticked("colours")
        every = set(colours) == set(_neat(work))
        changes["colours"] = None if every else tuple(Colour.parse(c) for c in colours)
        changes["min_ratio"] = float(done.fields["min_ratio"])
        changes["max_ratio"] = float(done.fields["max_ratio"])
        changes["max_coats"] = int(done.fields["max_coats"])
        uneven = done.fields.get("max_unevenness", "")
        changes["max_unevenness"] = float(uneven) if uneven else None
        changes |= {n: n in done.ticked("may") for n in _MAY}
    return replace(work.limits, **changes)


def _ticked_grounds(on: Iterable[Ground], known: Iterable[Ground], done: Press) -> list[Ground]:
    """Grounds that are on the shelf after a press, of those that were and those that may be."""
    had = set(on)
    shown = {Ground.parse(g) for g in done.fields.get("grounds_shown", "").splitlines()}
    ticked = {Ground.parse(g) for g in done.ticked("grounds")}
    turned = (had & shown) ^ ticked

    def stays(ground: Ground) -> bool:
        # A mixed one that is not shown goes and comes with what it is mixed of.
        own = {Ground.parse(name) for name in ground.names} & shown
        return own <= ticked if own & turned else ground in had

    every = dict.fromkeys([*on, *known])
    return [g for g in every if (g in ticked if g in shown else stays(g))]


# Trying one's own


def own_recipe(work: Work, done: Press | None) -> Recipe:
    """Return the recipe where the sliders stand; near the chosen or likeliest one at first."""
    fields = done.fields if done is not None else {}
    plan = work.job.plan
    start = plan.recipe if plan and plan.recipe.schedule else work.suggestions(top=1)[0].recipe
    if "own_coats" not in fields:
        fields = _at(work, start)
    steps = [CoatStep(int(float(fields["own_coats"])), _ratio(fields["own_ratio"]))]
    more = int(float(fields.get("own_more", "0")))
    if more:
        second = _ratio(fields["own_second"])
        steps = (
            [replace(steps[0], coats=steps[0].coats + more)]
            if second == steps[0].ratio
            else [*steps, CoatStep(more, second)]
        )
    return Recipe(
        Ground.parse(fields["own_ground"]),
        Colour.parse(fields["own_colour"]),
        CoatSchedule(tuple(steps)),
        start.clear,
    )


def _most(work: Work) -> int:
    return max(10, work.limits.max_coats)


def _at(work: Work, recipe: Recipe) -> dict[str, str]:
    """Where ground, colour and sliders stand for a recipe: what they cannot say is left off it."""
    (colour, run), most = recipe.layers[0], _most(work)
    first, *rest = run.steps

    def at(step: CoatStep) -> int:
        carrier = float(step.ratio.carrier / step.ratio.colour)
        return min(range(len(_CARRIERS)), key=lambda i: abs(_CARRIERS[i] - carrier))

    found = {
        "own_ground": recipe.ground,
        "own_colour": colour,
        "own_coats": min(first.coats, most),
        "own_ratio": at(first),
        "own_more": min(rest[0].coats, most) if rest else 0,
        "own_second": at(rest[0] if rest else first),
    }
    return {name: str(value) for name, value in found.items()}


def _ratio(place: str) -> MixRatio:
    return MixRatio.parse(f"{_CARRIERS[int(float(place))]:g}:1")


def own_part(work: Work, done: Press | None) -> Raw:
    """Return the sliders with what they come to."""
    from matchlib.forecast import forecast

    recipe = own_recipe(work, done)
    (found,) = forecast(work.learnt(), [recipe], work.aim)
    labs = work.expected_labs(recipe.coat_by_coat())
    stand, most = _at(work, recipe), _most(work)
    texts = [f"{c:g} : 1" for c in _CARRIERS]
    known, archive = work.known, work.archive
    grounds = dict.fromkeys([str(recipe.ground), *map(str, known(archive.grounds()))])
    colours = dict.fromkeys([str(recipe.colour), *map(str, known(archive.colours()))])

    ways: Any = {"low": 0, "high": len(_CARRIERS) - 1, "texts": texts}
    controls = (  # by pairs, one above the other
        choice("Ground", "own_ground", {g: g for g in grounds}, stand["own_ground"], do="own")
        + choice("Colour", "own_colour", {c: c for c in colours}, stand["own_colour"], do="own")
        + slider("Coats", "own_coats", int(stand["own_coats"]), low=1, high=most)
        + slider("Carrier : colour", "own_ratio", int(stand["own_ratio"]), **ways)
        + slider("Then more coats", "own_more", int(stand["own_more"]), low=0, high=most)
        + slider("Carrier : colour then", "own_second", int(stand["own_second"]), **ways)
    )
    light, red, yellow = found.sd_lab
    text = f"{found.words}. One card spreads by ±{light:.2f} L*, ±{red:.2f} a*, ±{yellow:.2f} b*."
    each = [
        f"{a.viewing.geometry}: {found.tolerance.with_unit(a.difference)}" for a in found.angles
    ]
    angles = "".join(f'<p class="wb-num">{esc(one)}</p>' for one in each if len(each) > 1)
    closer = fold("Why, how even it lays, other lights", _closer(work, recipe), ident="closer")
    return Raw(
        '<section class="wb-card" aria-label="My own recipe">'
        f'<div class="wb-row">{split(work.wanted, labs[-1], width=190, height=92)}<div>'
        f"<h2>{recipe_title(recipe)}</h2><p>{esc(coats_words(recipe))}</p>"
        f"{coats(labs, work.wanted)}</div>{tenths(found.probability)}"
        f"{button('Use this', 'useown', spoken='my own recipe')}</div>"
        f'<p class="wb-num">{esc(text)}</p>{angles}<div class="wb-fields wb-pairs">{controls}</div>'
        f"{closer}</section>"
    )


def _closer(work: Work, recipe: Recipe) -> str:
    from workbook.session.recipe_report import closer_look

    lines = closer_look(
        work.model, recipe, target=work.job.target, aim=work.aim, panels=work.archive.panels()
    )
    return "".join(f"<p>{esc(line)}</p>" for line in lines if line)


def _chart(work: Work, rows: list[Offer], found: Suggestions) -> str:
    from workbook.session.recipe_report import reachable_labs

    labs = work.expected_labs([r.recipe for r in rows])
    marks = [Mark(lab, "recipe", str(i)) for i, lab in enumerate(labs, 1)]
    marks.append(Mark(work.wanted, "target", "target"))
    view = work.job.target[0].viewing
    reach = reachable_labs(work.model, work.limits, work.archive.panels(), viewing=view)
    title, order = "In all that the shelf reaches", ("target", "recipe")
    near = lab_chart(marks, order=order, title="Target and recipes, close up")
    bare = [Mark(m.lab, m.kind) for m in marks]
    wide = lab_chart(bare, reachable=reach, order=order, title=title)
    head = '<section class="wb-card" aria-label="Colour chart">'
    key = "".join(f"<li>{esc(r.recipe)}</li>" for r in rows)
    more: str = fold("Which recipe is which", f"<ol>{key}</ol>", ident="key")
    more += fold(title, wide, ident="reach")
    return f'{head}{near}<div class="wb-folds">{more}</div></section>'


def _compare(work: Work, rows: list[Offer], done: Press | None) -> str:
    fields = done.fields if done else {}
    names = {str(i): str(r.recipe) for i, r in enumerate(rows)}
    one = fields.get("one", "0") if fields.get("one", "0") in names else "0"
    two = fields.get("two", "1") if fields.get("two", "1") in names else one
    picked = (rows[int(one)], rows[int(two)])
    labs = work.expected_labs([r.recipe for r in picked])
    sides = "".join(
        f"<div>{split(work.wanted, lab, width=300, height=96)}<br>"
        f"{tenths(r.chance)}<p>{esc(_why(r))}</p>"
        f'<p class="wb-num">ΔE00 {number(float(delta_e00(work.wanted, lab)), 2)} from the aim</p>'
        f"{button('Use this', 'use', r.key, spoken=str(r.recipe))}</div>"
        for r, lab in zip(picked, labs, strict=True)
    )
    picks: str = choice("One", "one", names, one, do="compare")
    picks += choice("Other", "two", names, two, do="compare")
    return (
        '<section class="wb-card" aria-label="Compare two">'
        f'<div class="wb-fields">{picks}</div><div class="wb-fields">{sides}</div></section>'
    )
