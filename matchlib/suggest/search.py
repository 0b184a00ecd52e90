"""Target in, ranked recipes out.

The search goes from fast to exact: every recipe by the reduced law (`matchlib.suggest.scan`); the
best of every combination and number of coats by the whole law; from those, continuous ratio and
shares, and the measurable recipes around (`matchlib.suggest.refine`); the best few hundred of all
that by the whole law with its uncertainty, which alone ranks.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Iterator, Sequence

import numpy as np
from numpy.typing import NDArray
from threadpoolctl import threadpool_limits

from matchlib.colorimetry import delta_e00
from matchlib.domain import Panel, Recipe, Viewing, three
from matchlib.errors import DomainError
from matchlib.mixing import Limits
from matchlib.outcome import Outcome, outcomes
from matchlib.regression import FilmPredictor, Prediction
from matchlib.sample import chances_of_own
from matchlib.suggest.layered import layered
from matchlib.suggest.reach import DOUBTFUL, OUT_OF_REACH, Reachability, reach_of
from matchlib.suggest.refine import Picks, refine
from matchlib.suggest.result import Suggestion, Suggestions, with_ties
from matchlib.suggest.scan import scan
from matchlib.suggest.space import Space, spread
from matchlib.suggest.words import PastRecipes, believed, doubtful, why, why_not
from matchlib.target import Target

__all__ = ["PREFERENCE", "suggest"]

Array = NDArray[np.float64]
Ints = NDArray[np.intp]
Single = NDArray[np.float32]

PREFERENCE = {
    **{"blend": 0.12, "mixed ground": 0.10, "step-up": 0.15, "layers": 0.25, "coat": 0.02},
    "new": 0.04,
}
"""What a recipe's trouble counts, as a share of the difference that spray alone makes.

A colour blend, a mixed ground, a second ratio, a second pot, each coat past the third, anything
never sprayed: less than one panel could tell, so that they decide only between equals (common
practice, no source).
"""

_SCANNED = 5000
_PER_COATS = 6
_STARTS = 160
_FINALISTS = 300
_AROUND = 96
_LOOKED_AT = 1500
"""Where they must lie evenly: most of the nearest may not."""


def suggest(
    model: FilmPredictor,
    target: Target,
    limits: Limits | None = None,
    *,
    top: int = 5,
    archive: Iterable[Recipe | Panel] = (),
) -> Suggestions:
    """Suggest recipes for a target.

    Parameters
    ----------
    model : FilmPredictor
        Fitted.
    target : Target
        What is to be matched, and what counts as a match.
    limits : Limits, optional
        The shop's; everything the archive knows if None.
    top : int
        Suggestions wanted, at least 1.
    archive : iterable of Recipe or Panel, optional
        What was sprayed: gives spelling, ready blends and the usual clear coat, and lets a
        suggestion say what about it was never sprayed.

    Returns
    -------
    Suggestions
        Best first: ranked by the expected difference of the next panel sprayed, as read, with a
        small preference between equals (`PREFERENCE`). One of each combination (grounds and
        colours, whatever their parts) before a second of any that comes near.

    Raises
    ------
    UnknownName
        If a ground or colour on the shelf was never read.
    DomainError
        If nothing is left within the limits.

    Examples
    --------
    >>> from matchlib import Limits, Target
    >>> from matchlib.demo import demo_model
    >>> found = suggest(demo_model(), Target.lab(27.1, 45.9, 28.5), Limits(blends=False), top=2)
    >>> found
    Suggestions for L 27.1, a 45.9, b 28.5; ΔE00 at most 1:
      <cherry over pale gold, 3@3:1: next panel 0.5..., passes with a chance of 9...%>
      <cherry over ...: next panel ..., passes with a chance of under 1%>
    >>> found.to_frame()[["ground", "colour", "schedule"]].head(1)
          ground  colour schedule
    0  pale gold  cherry    3@3:1
    """
    model.check_fitted()
    if not (isinstance(top, int) and top >= 1):
        raise DomainError(
            "This is not a number of suggestions.",
            expected="1 or more",
            got=repr(top),
            remedy="five are usual.",
        )
    bounds = limits or Limits()
    past = believed(model, archive)
    space = Space.of(model, bounds, past)
    viewings = target.views(model.usual_view)
    with threadpool_limits(1):  # the blocks are small: threads of the algebra would only wait
        return _Search(space, target, viewings, past).best(top)


class _Search:
    def __init__(
        self,
        space: Space,
        target: Target,
        viewings: Sequence[Viewing],
        past: Sequence[Recipe],
    ) -> None:
        self.space, self.target, self.viewings = space, target, viewings
        self.experience = PastRecipes(past)
        self.searched = 0
        self.never_mixed = dict(zip(space.shelf.grounds, space.shelf.never_mixed, strict=True))
        self.ground_kind = _kinds(space.ground_share > 0)
        self.pot_kind = _kinds(space.colour_share > 0)

    def _combination(self, picks: Picks) -> Ints:
        combinations: Ints = (
            self.ground_kind[picks.ground] * len(self.pot_kind) + self.pot_kind[picks.pot]
        )
        return combinations

    def _scanned(self) -> Picks:
        scans = scan(self.space, self.viewings, self.target.labs, self.target.axes)
        self.searched = sum(out.size for _, out in scans)
        if not self.searched:
            raise DomainError(
                "No recipe is left within these limits.",
                expected="at least one schedule for one colour",
                got="none, with this stock and pot size",
                remedy="allow a larger pot, weaker ratios or fewer coats, or check the stock.",
            )
        picks, squares = self._best_by_coats(scans)
        return picks.take(self._spread(picks, squares, _SCANNED, _PER_COATS))

    def _best_by_coats(self, scans: Sequence[tuple[Ints, Single]]) -> tuple[Picks, Array]:
        """The best of every combination and number of coats, of one ratio and of two apart."""
        # Each combination keeps its own best, so that a crowded one does not push the others out.
        alike: dict[tuple[int, bytes], list[int]] = {}
        for p, (rows, _) in enumerate(scans):
            alike.setdefault((int(self.pot_kind[p]), rows.tobytes()), []).append(p)
        # Not by np.unique, which loads masked arrays.
        own = self.ground_kind
        kinds = [np.flatnonzero(own == kind) for kind in range(own.max() + 1)]
        places, squares = [], []
        for pots in alike.values():
            rows, every = scans[pots[0]][0], np.stack([scans[p][1] for p in pots])
            if not len(rows):  # of what is in stock no schedule of these pots can be sprayed
                continue
            starts = np.flatnonzero(np.diff(self.space.schedules.kind[rows], prepend=-1))
            for at in np.split(np.arange(len(rows)), starts[1:]):  # those of a kind lie together
                for grounds in kinds:
                    out = every[:, grounds, at[0] : at[-1] + 1].ravel()
                    near = np.argpartition(out, min(_PER_COATS, len(out)) - 1)[:_PER_COATS]
                    pot, ground, row = np.unravel_index(near, (len(pots), len(grounds), len(at)))
                    places.append([grounds[ground], np.array(pots)[pot], rows[at[row]]])
                    squares.append(out[near])
        return Picks(*np.concatenate(places, axis=1)), np.concatenate(squares).astype(float)

    def _spread(self, picks: Picks, cost: Array, most: int, each: int) -> Ints:
        """Best first, at most so many of a combination, number of coats, and one ratio or two."""
        kind = self.space.schedules.kind[picks.schedule]
        return spread(self._combination(picks) * (kind.max() + 1) + kind, cost, most, each)

    def best(self, top: int) -> Suggestions:
        picks = self._scanned()
        seen = picks.labs(self.space, self.viewings)
        cost = self.target.difference(seen)
        starts = picks.take(self._spread(picks, cost, _STARTS, 2))
        best, around = refine(self.space, starts, self.target, self.viewings)
        continuous = self._continuous(starts, best)
        both = picks.joined(around)
        more = both.take(slice(len(picks), None)).labs(self.space, self.viewings)
        labs = [np.concatenate(each) for each in zip(seen, more, strict=True)]
        cost = self.target.difference(labs)
        limited = self.space.limits.max_unevenness is not None
        most, each = (_LOOKED_AT, 15) if limited else (_FINALISTS, 3)
        order = self._spread(both, cost, most, each)
        recipes, cost = self._recipes(both.take(order)), cost[order]
        above: list[Recipe] = []
        if self.space.limits.layers:
            above, away, looked_at = layered(self.space, self.target, self.viewings)
            self.searched += looked_at
            recipes, cost = [*recipes, *above], np.concatenate([cost, away])
        if limited:
            recipes, cost = self._even(recipes, cost)
        there = self.space.model.predict_together(recipes, self.viewings)
        hope, floor = self.target.hope(there), _floor(there, self.target)
        chosen = self._chosen(recipes, hope.mean + self._trouble(recipes) * floor, top)
        told = outcomes(recipes, there, hope)
        made = self._described(chosen, told, there, cost=cost, continuous=continuous)
        made = with_ties(made, floor[chosen])
        known = there.known.mean(axis=0)
        if limited or above:
            nearest = [recipes[i] for i in self._around(there.labs, known)]
        else:
            nearest = self._recipes(both.take(self._around(labs, known)))
        reach = reach_of(self.space.model, nearest, self.target, self.viewings)
        text = self._words(reach, there, cost, closest=min(continuous.values(), default=np.inf))
        return Suggestions(tuple(made), self.target, reach.chance, text, self.searched)

    def _around(self, labs: Sequence[Array] | Array, known: Array) -> Ints:
        """What comes nearest to the target, wherever what is not known may truly put it."""
        spread = known + self.target.covariance
        draw = np.random.default_rng(0).multivariate_normal(np.zeros(len(spread)), spread, _AROUND)
        shifts = np.split(draw, len(labs), axis=1)
        aims = zip(labs, shifts, self.target.labs, self.target.axes, strict=True)
        apart = np.zeros((_AROUND, len(labs[0])))
        for lab, shift, wanted, axes in aims:
            miss, away = (lab - wanted) @ axes.T, shift @ axes.T
            # Squared lengths, less what is the same for all recipes.
            apart += 2.0 * away @ miss.T
            apart += (miss**2).sum(axis=1)
        return np.flatnonzero(np.bincount(np.argmin(apart, axis=1)))

    def _continuous(self, starts: Picks, best: Array) -> dict[Hashable, float]:
        found: dict[Hashable, float] = {}
        for recipe, value in zip(self._recipes(starts), best.tolist(), strict=True):
            key = (_combination(recipe), recipe.coats)
            found[key] = min(found.get(key, np.inf), value)
        return found

    def _recipes(self, picks: Picks) -> list[Recipe]:
        shelf, schedules = self.space.shelf, self.space.schedules
        made = {s: schedules.schedule(s) for s in set(picks.schedule.tolist())}
        return [
            Recipe(shelf.grounds[g], shelf.colours[p], made[s], shelf.clear)
            for g, p, s in zip(picks.ground, picks.pot, picks.schedule.tolist(), strict=True)
        ]

    def _even(self, recipes: list[Recipe], cost: Array) -> tuple[list[Recipe], Array]:
        from matchlib.evenness import film_tolerance

        most = self.space.limits.max_unevenness
        shown = film_tolerance(self.space.model, recipes, changes=(0.1,), order=self.target)[:, 0]
        even = np.flatnonzero(shown <= (most or np.inf))
        if not len(even):
            worst = ", at the worst angle" if len(self.target.aims) > 1 else ""
            raise DomainError(
                "No recipe near this target is that even.",
                expected=f"10 percent of film showing at most {most:g} "
                f"({self.target.tolerance.unit}{worst})",
                got=f"{float(np.min(shown)):.2f} at best",
                remedy="allow more unevenness, or more coats of a weaker mix.",
            )
        even = even[np.argsort(cost[even], kind="stable")[:_FINALISTS]]
        return [recipes[i] for i in even], cost[even]

    def _trouble(self, recipes: Sequence[Recipe]) -> Array:
        return np.array([sum(self._troubles(r)) for r in recipes])

    def _troubles(self, recipe: Recipe) -> Iterator[float]:
        layers, steps = recipe.layers, recipe.steps
        yield PREFERENCE["blend"] * any(not colour.neat for colour, _ in layers)
        yield PREFERENCE["mixed ground"] * (not recipe.ground.neat)
        yield PREFERENCE["layers"] * (len(layers) > 1)
        yield PREFERENCE["step-up"] * (len(steps) > len(layers))
        yield PREFERENCE["coat"] * max(recipe.coats - 3, 0)
        yield PREFERENCE["new"] * bool(self._new(recipe))

    def _new(self, recipe: Recipe) -> list[str]:
        return self.experience.new(recipe, never_mixed=self.never_mixed[recipe.ground])

    def _chosen(self, recipes: Sequence[Recipe], rank: Array, top: int) -> list[int]:
        order = np.argsort(rank, kind="stable").tolist()
        combinations = [_combination(r) for r in recipes]
        ways = [(pots, r.coats) for pots, r in zip(combinations, recipes, strict=True)]
        near = rank <= max(3.0 * rank.min(), rank.min() + 2.0 * self.target.tolerance.value)
        chosen: list[int] = []
        # One of each combination that comes near; then other coats of the same; then what is left.
        rules: tuple[Callable[[int], bool], ...] = (
            lambda i: bool(near[i]) and combinations[i] not in [combinations[j] for j in chosen],
            lambda i: bool(near[i]) and ways[i] not in [ways[j] for j in chosen],
            lambda i: combinations[i] not in [combinations[j] for j in chosen],
            lambda i: True,
        )
        for rule in rules:
            for i in order:
                if len(chosen) < top and i not in chosen and rule(i):
                    chosen.append(i)
        return sorted(chosen, key=lambda i: float(rank[i]))

    def _described(
        self,
        chosen: Sequence[int],
        told: Sequence[Outcome],
        there: Prediction,
        *,
        cost: Array,
        continuous: dict[Hashable, float],
    ) -> list[Suggestion]:
        model, space = self.space.model, self.space
        neat = [o.expected for o in told if [c.neat for c in o.recipe.colours] == [True]]
        rival = min(neat, default=np.inf) if space.neat.any() else None
        offered = [told[i].recipe for i in chosen]
        bare = [Recipe(recipe.ground, clear=space.shelf.clear) for recipe in offered]
        grounds = model.predict_recipes(bare, self.viewings[0])
        of_own = chances_of_own(model, offered, self.target, space.limits)
        made = []
        for place, i in enumerate(chosen):
            outcome, recipe = told[i], offered[place]
            best = continuous.get((_combination(recipe), recipe.coats), float(cost[i]))
            own = outcome.expected
            colours = ", then ".join(" + ".join(c.names) for c in recipe.colours)
            made.append(
                Suggestion(
                    **vars(outcome),
                    delta_e00=float(delta_e00(self.target.aims[0].lab, outcome.lab)),
                    known_share=float(
                        np.trace(there.known[i, :3, :3]) / np.trace(outcome.covariance)
                    ),
                    why=why(recipe, ground_lab=grounds[place], rival=rival, own=own),
                    combination=f"{' + '.join(recipe.ground.names)} under {colours}",
                    never_sprayed=tuple(self._new(recipe)),
                    rounding_loss=max(0.0, float(cost[i]) - best),
                    labs=tuple(three(v) for v in there.labs[:, i]),
                    own=None if of_own is None else float(of_own[place]),
                )
            )
        return made

    def _words(self, reach: Reachability, there: Prediction, cost: Array, *, closest: float) -> str:
        """How the nearest misses, where that is what it does, or which panel would tell."""
        target, nearest = self.target, int(np.argmin(cost))
        if reach.chance >= DOUBTFUL:
            return ""
        if reach.chance >= OUT_OF_REACH:
            return doubtful(reach.chance, reach.telling, tolerance=target.tolerance.words)
        labs = there.labs[:, nearest]
        worst = int(np.argmax(target.differences(labs)))
        text = why_not(
            target.aims[worst].lab,
            labs[worst],
            float(cost[nearest]),
            tolerance=target.tolerance.words,
            where=self.viewings[worst].geometry if len(target.aims) > 1 else "",
        )
        # What a finer cup could mix was not asked how evenly it lies.
        limited = self.space.limits.max_unevenness is not None
        if closest <= target.tolerance.value and not limited:
            text += (
                f" Finer parts than the cup is said to show would come within {closest:.1f}: "
                "allow smaller steps of ratio, or more parts of a blend."
            )
        return text


def _floor(there: Prediction, target: Target) -> Array:
    """Mean differences (n,), were the predictions on the target and only spraying in doubt."""
    centred = np.broadcast_to(target.labs[:, None, :], there.labs.shape)
    return target.expected(centred, there.own).mean


def _combination(recipe: Recipe) -> Hashable:
    """Its ground and colours, whatever their parts."""
    colours = tuple(frozenset(colour.shares) for colour in recipe.colours)
    return frozenset(recipe.ground.shares), colours


def _kinds(members: NDArray[np.bool_]) -> Ints:
    alike: dict[bytes, int] = {}
    return np.array([alike.setdefault(row.tobytes(), len(alike)) for row in members], np.intp)
