"""A spray booth with hidden physics, richer than *ground times transmittance squared*.

What it does and the regression is not told: every coat is a Kubelka-Munk layer (Kubelka 1948) that
absorbs and scatters a little; strength bends below linear in rich mixes; the first coat is thinner;
a let-down mix leaves less film; coats melt into one another; film is uneven on a small scale, so a
reading averages transmittances; a blended ground is a ladder by K/S and tinting power, not a mean;
light leaves through a Saunderson (1942) surface whose inner constant is the ground's own, and
through haze where there is no clear coat; flake sends more light to some angles, but the film's
scatter does not. Around it stand sprayers, lots, panel-to-panel film, ground level, the instrument
and photographs. Numbers are common practice, no source, unless said.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from matchlib.domain import Colour, Ground, Recipe
from matchlib.domain.blend import Blend
from tests.benchmarks.layouts import Layouts
from tests.benchmarks.lightlab import NM, Array
from tests.benchmarks.panels import labs, swap_backs, to_frame
from tests.benchmarks.workshop import CoatsSprayed, Noise

__all__ = ["CoatsSprayed", "Noise", "Shop", "labs", "swap_backs", "to_frame"]

_SNELL_IN = np.sqrt(1 - (np.sin(np.pi / 4) / 1.5) ** 2)  # cosine in the film of light at 45 degrees

# Lightness, warmth (slope to red), sparkle (gain towards the mirror angle), tinting power.
_GROUND_KINDS = {
    "silver": (0.46, 0.02, 1.2, 0.6),
    "graphite": (0.15, -0.05, 1.0, 1.6),
    "gold": (0.63, 0.75, 1.2, 0.8),
    "coarse white metallic": (0.84, 0.05, 1.5, 0.4),
    "fine silver": (0.36, 0.00, 0.9, 0.7),
    "solid white": (0.86, 0.04, 0.0, 0.3),
    "solid black": (0.015, 0.00, 0.0, 0.35),
    "copper": (0.34, 0.95, 1.1, 0.9),
}
# Band centres [nm], half widths [nm], heights; what is left between them is the colour.
_COLOUR_KINDS = {
    "ruby": ((515, 42, 3.6), (430, 40, 1.3)),
    "lagoon": ((640, 52, 3.0), (585, 30, 0.8)),
    "amber": ((425, 45, 3.9),),
    "moss": ((420, 38, 2.2), (655, 45, 2.6)),
    "plum": ((560, 45, 3.3), (600, 25, 0.6)),
    "ink": ((600, 70, 2.6), (520, 60, 1.2), (440, 30, 0.3)),
}


# In this order a shop has them; the draws follow the tables above.
_STANDING = (
    "silver",
    "graphite",
    "gold",
    "solid white",
    "solid black",
    "coarse white metallic",
    "fine silver",
    "copper",
)


@dataclass
class Shop(Layouts):
    """A workshop whose coats are Kubelka-Munk layers, drawn from a seed."""

    mottle: float | None = None  # log film under the instrument's eye; drawn if None

    def _draw(self, rng: np.random.Generator) -> None:
        self._ground = {n: self._draw_ground(n, rng) for n in _GROUND_KINDS}
        self._colour = {n: self._draw_colour(n, rng) for n in _COLOUR_KINDS}
        picked = rng.permutation(list(_COLOUR_KINDS))[: self.n_colours]
        self.grounds = tuple(Ground.parse(n) for n in _STANDING[: self.n_grounds])
        self.colours = tuple(Colour.parse(str(n)) for n in picked)
        self._first = rng.uniform(0.10, 0.25)
        self._film_by_dose = rng.uniform(0.04, 0.10)
        self._melt = rng.uniform(0.05, 0.2)
        drawn = rng.uniform(0.06, 0.12)
        self._mottle = drawn if self.mottle is None else self.mottle
        self._haze = rng.uniform(0.003, 0.008)
        self.sprayers = {f"sprayer {i + 1}": rng.normal(0, self.noise.sprayer) for i in range(3)}
        strengths = {f"lot {i + 1}": rng.normal(0, self.noise.lot) for i in range(3)}
        self.lots = {lot: dict.fromkeys(_COLOUR_KINDS, s) for lot, s in strengths.items()}

    @staticmethod
    def _draw_ground(name: str, rng: np.random.Generator) -> dict[str, object]:
        level, warm, sparkle, power = _GROUND_KINDS[name]
        red = 1 / (1 + np.exp(-(NM - rng.uniform(505, 535)) / rng.uniform(22, 34)))
        shape = 1 + warm * (red - 0.6) + rng.normal(0, 0.02) * (NM - 550) / 150
        ripple = rng.normal(0, 0.012) * np.cos((NM - rng.uniform(400, 700)) / rng.uniform(45, 90))
        spectrum = level * np.exp(rng.normal(0, 0.03)) * shape * (1 + ripple)
        return {
            "reflectance": np.clip(spectrum, 0.008, 0.93),
            "sparkle": sparkle * rng.uniform(0.85, 1.15),
            "power": power * rng.uniform(0.8, 1.25),
            "k2": rng.uniform(0.45, 0.58),
        }

    @staticmethod
    def _draw_colour(name: str, rng: np.random.Generator) -> dict[str, object]:
        absorb = np.full(NM.size, rng.uniform(0.01, 0.05))
        for centre, width, height in _COLOUR_KINDS[name]:
            middle = centre + rng.normal(0, 8)
            side = np.where(middle > NM, rng.uniform(0.9, 1.3), rng.uniform(0.7, 1.0))
            wide = width * side * rng.uniform(0.9, 1.1)
            absorb += height * rng.uniform(0.8, 1.2) * np.exp(-0.5 * ((NM - middle) / wide) ** 2)
        return {
            "absorb": absorb,
            "scatter": rng.uniform(0.015, 0.06) * (NM / 550) ** -rng.uniform(0.5, 2.0),
            "bend": rng.uniform(0.2, 0.9),
        }

    def _shares(self, blend: Blend, known: dict[str, dict[str, object]]) -> dict[str, float]:
        shares = blend.shares
        missing = set(shares) - set(known)
        if missing:
            raise KeyError(f"the simulated shop has no {', '.join(sorted(missing))}")
        return shares

    def _ground_light(self, ground: Ground) -> tuple[Array, float, float]:
        shares = self._shares(ground, self._ground)
        parts = [self._ground[name] for name in shares]
        weight = np.array([s * p["power"] for s, p in zip(shares.values(), parts, strict=True)])
        weight /= weight.sum()
        base = np.array([p["reflectance"] for p in parts])
        ks = weight @ ((1 - base) ** 2 / (2 * base))
        light = 1 + ks - np.sqrt(ks * ks + 2 * ks)
        sparkle = float(weight @ np.array([p["sparkle"] for p in parts]))
        return light, sparkle, float(weight @ np.array([p["k2"] for p in parts]))

    def _coats(self, recipe: Recipe) -> tuple[Array, Array, Array]:
        """Absorption and scatter per unit film of each coat (coats, 31), and films (coats,)."""
        assert recipe.colour is not None
        assert recipe.schedule is not None
        shares = self._shares(recipe.colour, self._colour)
        dose = np.concatenate([np.full(s.coats, s.ratio.fraction) for s in recipe.schedule.steps])
        film = (dose / 0.15) ** self._film_by_dose
        film[0] *= 1 - self._first
        amount = dose * film
        amount[1:], amount[:-1] = (  # the solvent of a coat draws up some of the coat below
            amount[1:] + self._melt * (amount[:-1] - amount[1:]) / 2,
            amount[:-1] + self._melt * (amount[1:] - amount[:-1]) / 2,
        )
        dose = amount / film
        absorb = np.zeros((film.size, NM.size))
        scatter = np.full((film.size, NM.size), 0.0005)  # the carrier itself
        for name, share in shares.items():
            colour = self._colour[name]
            own = dose * share
            effective = own / (1 + colour["bend"] * dose)
            absorb += effective[:, None] * colour["absorb"]
            scatter += own[:, None] * colour["scatter"]
        return absorb, scatter, film

    @staticmethod
    def _path(geometry: str) -> float:
        """Length of the way down and up in the film, of an upright way's (Snell, n = 1.5)."""
        if geometry.startswith("45as"):
            view = np.radians(45 - float(geometry[4:]))
            return (1 / _SNELL_IN + 1 / np.sqrt(1 - (np.sin(view) / 1.5) ** 2)) / 2
        return 1.15 if geometry.startswith("d") else (1 / _SNELL_IN + 1) / 2

    def _light(self, panels: Sequence[CoatsSprayed], geometry: str) -> Array:
        return np.array([self._reflect(panel, geometry) for panel in panels])

    def _reflect(self, panel: CoatsSprayed, geometry: str) -> Array:
        recipe = panel.recipe
        ground, sparkle, k2 = self._ground_light(recipe.ground)
        ground = np.minimum(ground * panel.level, 0.97)
        gain = 1.0
        if geometry.startswith("45as"):
            gain = np.exp(sparkle * (1.35 * np.exp(-((float(geometry[4:]) / 32) ** 1.3)) - 0.45))
        nodes, weights = np.array([-np.sqrt(3), 0, np.sqrt(3)]), np.array([1, 4, 1]) / 6
        top = np.zeros((3, NM.size))
        through = np.ones((3, NM.size))
        below = np.broadcast_to(ground, (3, NM.size))
        if recipe.colour is not None:
            absorb, scatter, film = self._coats(recipe)
            film = film * panel.film
            strength = self.strength(panel.lot, str(recipe.colour.parts[0][0]))
            dose = panel.dose * np.exp(strength)
            uneven = np.exp(nodes * self._mottle / np.sqrt(film.size))
            path = self._path(geometry)
            for k, s, thick in zip(absorb * np.reshape(dose, (-1, 1)), scatter, film, strict=True):
                x = (thick * uneven * path)[:, None]
                a = 1 + k / s
                b = np.sqrt(a * a - 1)
                sinh, cosh = np.sinh(b * s * x), np.cosh(b * s * x)
                r = sinh / (a * sinh + b * cosh)
                t = b / (a * sinh + b * cosh)
                top, through = r + t * t * top / (1 - r * top), through * t / (1 - r * top)
                below = r + t * t * below / (1 - r * below)
        whole = weights @ below
        flake = weights @ (below - top)  # what went to the ground and back
        k1 = 0.04
        if recipe.clear is None:
            k2 = 0.9 * k2
        light = (1 - k1) * (1 - k2) * (weights @ top + gain * flake) / (1 - k2 * whole)
        if recipe.clear is None:
            light = light + self._haze
        return light + (k1 if "di" in geometry else 0.0)
