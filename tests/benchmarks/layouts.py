"""Recipes, archives of every layout, and targets within and beyond a simulated shop's reach."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from functools import cached_property
from itertools import combinations, product

import numpy as np
from scipy.interpolate import make_interp_spline
from scipy.spatial import cKDTree

from matchlib.domain import CoatSchedule, CoatStep, Colour, Ground, MixRatio, Panel, Recipe
from tests.benchmarks.lightlab import NM, Array, delta_e, spectrum_to_lab
from tests.benchmarks.panels import RATIOS, labs
from tests.benchmarks.workshop import Workshop

__all__ = ["LAYOUTS", "WEAK", "Layouts"]

WEAK = RATIOS[:3]
LAYOUTS = ("full", "young", "thin")


class Layouts(Workshop):
    """What a shop sprays, and what it is asked for."""

    def bare(self, clear: str | None = "yes") -> list[Recipe]:
        """Every ground bare."""
        return [Recipe(ground, clear=clear) for ground in self.grounds]

    def random_recipe(
        self,
        rng: np.random.Generator,
        *,
        ground: Ground | None = None,
        colour: Colour | None = None,
        continuous: bool = False,
        steps: int = 1,
        coats: tuple[int, int] = (2, 6),
        ratios: Sequence[str] = RATIOS,
        clear: str | None = "yes",
    ) -> Recipe:
        """Draw a recipe; `continuous` draws any ratio from 10:1 to 2:1."""
        ground = ground or self.grounds[rng.integers(len(self.grounds))]
        colour = colour or self.colours[rng.integers(len(self.colours))]
        if continuous:
            low, high = np.log(1 / 11), np.log(1 / 3)
            chosen = [_ratio(float(1 / np.exp(rng.uniform(low, high)) - 1))]
        else:
            picked = sorted(rng.choice(len(ratios), size=steps, replace=False))
            chosen = [MixRatio.parse(ratios[i]) for i in picked]
        least, most = coats
        counts = [rng.integers(least, most + 1)] if steps == 1 else rng.integers(1, 4, steps)
        made = tuple(CoatStep(int(n), r) for n, r in zip(counts, chosen, strict=True))
        return Recipe(ground, colour, CoatSchedule(made), clear)

    def archive(
        self,
        n: int,
        seed: int,
        *,
        grounds: Sequence[Ground] | None = None,
        reading: str = "lab",
        geometries: Sequence[str] = ("45:0",),
        repeats: float = 0.2,
        bare: int = 1,
        weak: bool = False,
    ) -> tuple[Panel, ...]:
        """`n` neat panels spread over grounds and colours, and the bare grounds.

        `weak` panels have one to three coats of lean mixes. Of several geometries each panel is
        read by one, in turn.
        """
        rng = np.random.default_rng([self.seed, seed, 11])
        pairs = [(g, c) for g in grounds or self.grounds for c in self.colours]
        kind = {"coats": (1, 3), "ratios": WEAK} if weak else {}
        recipes: list[Recipe] = []
        for i in range(n):
            if i >= len(pairs) and rng.random() < repeats:
                recipes.append(recipes[rng.integers(len(recipes))])
            else:
                ground, colour = pairs[i % len(pairs)]
                recipes.append(self.random_recipe(rng, ground=ground, colour=colour, **kind))
        every = self.bare() * bare + recipes
        return self.spray_all(
            every, rng, reading=reading, geometries=geometries, dates=self.days(len(every))
        )

    def full(self, seed: int, *, reading: str = "lab") -> tuple[Panel, ...]:
        """90 panels, every colour on every ground, and the bare grounds."""
        return self.archive(90, seed, reading=reading)

    def young(self, seed: int, *, reading: str = "lab") -> tuple[Panel, ...]:
        """18 panels, every colour on two of the grounds; the others known bare."""
        rng = np.random.default_rng([self.seed, seed, 13])
        two = [self.grounds[i] for i in rng.choice(len(self.grounds), 2, replace=False)]
        return self.archive(18, seed, grounds=two, reading=reading, repeats=0.0)

    def thin(self, seed: int, *, reading: str = "lab") -> tuple[Panel, ...]:
        """30 panels of one to three weak coats, and the bare grounds."""
        return self.archive(30, seed, reading=reading, repeats=0.0, weak=True)

    def blends(self, n: int, seed: int, *, reading: str = "lab") -> tuple[Panel, ...]:
        """`n` panels of two-colour blends."""
        rng = np.random.default_rng([self.seed, seed, 17])
        recipes = []
        for _ in range(n):
            one, two = rng.choice(len(self.colours), 2, replace=False)
            parts = [(1, 1), (2, 1), (1, 2), (3, 1)][rng.integers(4)]
            text = f"{self.colours[one]} {parts[0]} + {self.colours[two]} {parts[1]}"
            recipes.append(self.random_recipe(rng, colour=Colour.parse(text)))
        return self.spray_all(recipes, rng, reading=reading)

    def ground_blends(self, n: int, seed: int, *, reading: str = "lab") -> tuple[Panel, ...]:
        """`n` panels over grounds blended of two, each bare first: 2 `n` panels."""
        rng = np.random.default_rng([self.seed, seed, 31])
        recipes = []
        for _ in range(n):
            one, two = rng.choice(len(self.grounds), 2, replace=False)
            share = [(1, 1), (3, 1), (1, 3)][rng.integers(3)]
            ground = Ground.parse(
                f"{self.grounds[one]} {share[0]} + {self.grounds[two]} {share[1]}"
            )
            recipes += [Recipe(ground, clear="yes"), self.random_recipe(rng, ground=ground)]
        return self.spray_all(recipes, rng, reading=reading, code="G")

    def step_ups(self, n: int, seed: int, *, reading: str = "lab") -> tuple[Panel, ...]:
        """`n` panels of two-step schedules."""
        rng = np.random.default_rng([self.seed, seed, 19])
        return self.spray_all(
            [self.random_recipe(rng, steps=2) for _ in range(n)], rng, reading=reading
        )

    def fresh(self, n: int, seed: int, *, reading: str = "lab") -> tuple[Panel, ...]:
        """`n` neat panels of random recipes, for testing, sprayed now."""
        rng = np.random.default_rng([self.seed, seed, 23])
        return self.spray_all([self.random_recipe(rng) for _ in range(n)], rng, reading=reading)

    def cards(self, n: int, seed: int, *, reading: str = "lab") -> tuple[Panel, ...]:
        """`n` cards read coat by coat before their clear and once under it, a panel a stage."""
        rng = np.random.default_rng([self.seed, seed, 37])
        read: list[Panel] = []
        for i, date in enumerate(self.days(n)):
            card = self.lay(self.random_recipe(rng), rng, date=date)
            read += self.stages(card, rng, reading=reading, code=f"C{i + 1:04d}")
        return tuple(read)

    # -- what customers ask for ----------------------------------------------------------------

    def reachable(self, n: int, seed: int) -> Array:
        """Lab (n, 3) of random recipes without noise, continuous in ratio."""
        return self.truth_labs(self._asked(n, seed))

    def samples(self, n: int, seed: int) -> Array:
        """Lab (n, 3) as read of a card of each, sprayed by anybody out of what stands open."""
        rng = np.random.default_rng([self.seed, seed, 47])
        return labs([self.spray(recipe, rng) for recipe in self._asked(n, seed)])

    def _asked(self, n: int, seed: int) -> list[Recipe]:
        rng = np.random.default_rng([seed, 41])
        return [self.random_recipe(rng, continuous=True) for _ in range(n)]

    def beyond(self, n: int, seed: int, *, distance: float) -> Array:
        """Lab (n, 3) at a ΔE00 from the nearest that the shelf can reach without noise.

        The shelf is every ground, every colour and blend of two, 2:1 to 10:1, up to 8 coats.
        """
        rng = np.random.default_rng([self.seed, seed, 43])
        reach = self._reach
        middle = reach.mean(axis=0)
        found: list[Array] = []
        while len(found) < n:
            start = reach[rng.integers(len(reach))]
            way = start - middle + rng.normal(0, 8, 3)
            way /= np.linalg.norm(way)
            steps = start + np.arange(0.0, 90.0, 0.5)[:, None] * way
            gaps = np.array([self._gap(p) for p in steps])
            outside = np.flatnonzero(gaps >= distance)
            if not outside.size:
                continue
            low, high = steps[outside[0] - 1], steps[outside[0]]
            for _ in range(20):
                half = (low + high) / 2
                low, high = (half, high) if self._gap(half) < distance else (low, half)
            if 1 <= high[0] <= 99:
                found.append(high)
        return np.array(found)

    def _gap(self, lab: Array) -> float:
        near = self._tree.query(lab, k=200)[1]
        return float(delta_e(self._reach[near], lab).min())

    @cached_property
    def _tree(self) -> cKDTree:
        return cKDTree(self._reach)

    @cached_property
    def _reach(self) -> Array:
        """Lab of what the shelf can reach, so close together that a distance can be told by it.

        The optics are asked at some parts and ratios; log reflectance between them is a straight
        line for the eye.
        """
        parts = np.linspace(0, 1, 7) if len(self.colours) > 1 else np.zeros(1)
        ratios = [_ratio(c) for c in np.geomspace(10, 2, 6)]
        doses = np.array([float(r.fraction) for r in ratios])
        coats = range(1, 9)
        fine = np.linspace(0, 1, 25) if len(parts) > 1 else parts, np.linspace(*doses[[0, -1]], 30)
        found = []
        for one, two in combinations(self.colours, 2) if len(parts) > 1 else [self.colours * 2]:
            recipes = [
                Recipe(ground, _pot(one, two, part), CoatSchedule.of(n, ratio), "yes")
                for part, ratio, ground, n in product(parts, ratios, self.grounds, coats)
            ]
            depth = np.log(self.truth(recipes)).reshape(len(parts), len(doses), -1)
            for axis, (known, wanted) in enumerate(zip((parts, doses), fine, strict=True)):
                if len(known) > 1:
                    depth = make_interp_spline(known, depth, k=1, axis=axis)(wanted)
            found.append(spectrum_to_lab(np.exp(depth).reshape(-1, NM.size)))
        return np.concatenate(found)


def _ratio(carrier: float) -> MixRatio:
    return MixRatio(Fraction(round(100 * carrier), 100), Fraction(1))


def _pot(one: Colour, two: Colour, part: float) -> Colour:
    if part in (0, 1):
        return two if part else one
    return Colour(
        ((str(one), Fraction(round(600 * (1 - part)))), (str(two), Fraction(round(600 * part))))
    )
