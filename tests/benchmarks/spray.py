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
from dataclasses import dataclass, field, replace
from fractions import Fraction

import numpy as np

from matchlib.domain import (
    Blend,
    CoatSchedule,
    CoatStep,
    Colour,
    Ground,
    MixRatio,
    Panel,
    Reading,
    Recipe,
    Viewing,
)
from tests.benchmarks.lightlab import NM, Array, delta_e, spectrum_to_lab
from tests.benchmarks.panels import RATIOS, is_neat, lab_of, labs, swap_backs, to_frame

__all__ = ["Laid", "Noise", "Shop", "is_neat", "labs", "swap_backs", "to_frame"]

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


@dataclass(frozen=True)
class Noise:
    """Standard deviations of what nobody can hold still."""

    film: float = 0.040  # log film, one panel to the next
    coat: float = 0.045  # log film, one coat to the next
    dose: float = 0.012  # log dose, the cup
    sprayer: float = 0.015  # log film
    lot: float = 0.010  # log dose
    ground: float = 0.010  # log level
    reflectance: float = 0.001
    lab: float = 0.05
    photo: float = 1.5
    photo_bias: float = 1.0


@dataclass(frozen=True)
class Laid:
    """A panel as it came out: what each coat, its pot and the ground got by chance."""

    recipe: Recipe
    sprayer: str
    lot: str
    heavy: float
    setting: float  # log film of the gun as it was set
    film: Array  # of each coat, against what the recipe says
    level: float
    dose: Array


@dataclass
class Shop:
    """A workshop: its grounds, colours, people and booth, drawn from a seed."""

    seed: int
    n_grounds: int = 5
    n_colours: int = 3
    noise: Noise = field(default_factory=Noise)
    mottle: float | None = None  # log film under the instrument's eye; drawn if None

    def __post_init__(self) -> None:
        rng = np.random.default_rng([self.seed, 77])
        self._rng_draws = rng
        names = list(_GROUND_KINDS)[: self.n_grounds]
        self._ground = {n: self._draw_ground(n, rng) for n in list(_GROUND_KINDS)}
        self._colour = {n: self._draw_colour(n, rng) for n in list(_COLOUR_KINDS)}
        picked = rng.permutation(list(_COLOUR_KINDS))[: self.n_colours]
        self.grounds = tuple(Ground.parse(n) for n in names)
        self.colours = tuple(Colour.parse(str(n)) for n in picked)
        self._first = rng.uniform(0.10, 0.25)
        self._film_by_dose = rng.uniform(0.04, 0.10)
        self._melt = rng.uniform(0.05, 0.2)
        drawn = rng.uniform(0.06, 0.12)
        self._mottle = drawn if self.mottle is None else self.mottle
        self._haze = rng.uniform(0.003, 0.008)
        self.sprayers = {f"sprayer {i + 1}": rng.normal(0, self.noise.sprayer) for i in range(3)}
        self.lots = {f"lot {i + 1}": rng.normal(0, self.noise.lot) for i in range(3)}
        self._photo_bias = rng.normal(0, self.noise.photo_bias, 3)

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

    # -- the noise-free booth ------------------------------------------------------------------

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

    def _reflect(
        self,
        recipe: Recipe,
        geometry: str,
        film_factor: Array | float = 1.0,
        level: float = 1.0,
        dose: Array | float = 1.0,
    ) -> Array:
        ground, sparkle, k2 = self._ground_light(recipe.ground)
        ground = np.minimum(ground * level, 0.97)
        gain = 1.0
        if geometry.startswith("45as"):
            gain = np.exp(sparkle * (1.35 * np.exp(-((float(geometry[4:]) / 32) ** 1.3)) - 0.45))
        nodes, weights = np.array([-np.sqrt(3), 0, np.sqrt(3)]), np.array([1, 4, 1]) / 6
        top = np.zeros((3, NM.size))
        through = np.ones((3, NM.size))
        below = np.broadcast_to(ground, (3, NM.size))
        if recipe.colour is not None:
            absorb, scatter, film = self._coats(recipe)
            film = film * film_factor
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

    def truth_reflectance(self, recipe: Recipe, geometry: str = "45:0") -> Array:
        """Noise-free reflectance, 400 to 700 nm by 10."""
        return self._reflect(recipe, geometry)

    def truth_lab(self, recipe: Recipe, geometry: str = "45:0") -> Array:
        """Noise-free Lab, D65/10 degree."""
        return spectrum_to_lab(self.truth_reflectance(recipe, geometry))

    # -- the booth as it is --------------------------------------------------------------------

    def lay(
        self,
        recipe: Recipe,
        rng: np.random.Generator,
        *,
        sprayer: str | None = None,
        lot: str | None = None,
        heavy: float = 1.0,
    ) -> Laid:
        """Spray one panel and do not read it yet."""
        noise = self.noise
        sprayer = sprayer or str(rng.choice(list(self.sprayers)))
        lot = lot or str(rng.choice(list(self.lots)))
        coats = 1 if recipe.schedule is None else recipe.schedule.coats
        setting = np.log(heavy) + self.sprayers[sprayer] + rng.normal(0, noise.film)
        film = np.exp(setting + rng.normal(0, noise.coat, coats))
        level = float(np.exp(rng.normal(0, noise.ground)))
        dose = float(np.exp(self.lots[lot] + rng.normal(0, noise.dose)))
        return Laid(recipe, sprayer, lot, heavy, float(setting), film, level, np.full(coats, dose))

    def build_on(
        self, laid: Laid, recipe: Recipe, rng: np.random.Generator, *, afresh: bool = False
    ) -> Laid:
        """Spray the rest of a longer recipe on a panel: what it has got stays as it is.

        The gun stays as it was set, or is set `afresh`; a further pot is measured anew.
        """
        assert laid.recipe.schedule is not None
        assert recipe.schedule is not None
        more = recipe.schedule.coats - laid.recipe.schedule.coats
        setting = laid.setting
        if afresh:
            setting = np.log(laid.heavy) + self.sprayers[laid.sprayer]
            setting += rng.normal(0, self.noise.film)
        film = np.exp(setting + rng.normal(0, self.noise.coat, more))
        dose = np.exp(self.lots[laid.lot] + rng.normal(0, self.noise.dose))
        return replace(
            laid,
            recipe=recipe,
            film=np.append(laid.film, film),
            dose=np.append(laid.dose, np.full(more, dose)),
        )

    def read(
        self,
        laid: Laid,
        rng: np.random.Generator,
        *,
        reading: str = "lab",
        geometries: Sequence[str] = ("45:0",),
        code: str = "P",
    ) -> Panel:
        """Read a panel once by every geometry."""
        readings = []
        for geometry in geometries:
            light = self._reflect(laid.recipe, geometry, laid.film, laid.level, laid.dose)
            light = light + rng.normal(0, self.noise.reflectance, NM.size)
            readings.append(self._read(light, geometry, reading, rng))
        return Panel(code, laid.recipe, tuple(readings), sprayer=laid.sprayer, lot=laid.lot)

    def spray(
        self,
        recipe: Recipe,
        rng: np.random.Generator,
        *,
        sprayer: str | None = None,
        lot: str | None = None,
        heavy: float = 1.0,
        reading: str = "lab",
        geometries: Sequence[str] = ("45:0",),
        code: str = "P",
    ) -> Panel:
        """Spray one panel and read it once by every geometry."""
        laid = self.lay(recipe, rng, sprayer=sprayer, lot=lot, heavy=heavy)
        return self.read(laid, rng, reading=reading, geometries=geometries, code=code)

    def _read(self, light: Array, geometry: str, reading: str, rng: np.random.Generator) -> Reading:
        viewing = Viewing(geometry=geometry)
        if reading == "spectrum":
            top = 10.0 if viewing.aspecular is not None else 1.3
            values = np.clip(light, -0.01, top)
            return Reading(
                viewing, wavelengths=tuple(NM.tolist()), reflectance=tuple(values.tolist())
            )
        lab = spectrum_to_lab(light) + rng.normal(0, self.noise.lab, 3)
        if reading == "photo":
            lab = lab + self._photo_bias + rng.normal(0, self.noise.photo, 3)
        elif reading != "lab":
            raise ValueError(f"reading is lab, spectrum or photo, not {reading!r}")
        lab[0] = np.clip(lab[0], 0, 100.0 if viewing.aspecular is None else 200.0)
        source = "photo" if reading == "photo" else "spectrophotometer"
        return Reading(viewing, source=source, lab=tuple(lab.tolist()))

    def repeatability(
        self, recipes: Sequence[Recipe], *, seed: int = 0, reading: str = "lab", times: int = 4
    ) -> float:
        """Return the median ΔE00 of one panel as read against its noise-free recipe."""
        rng = np.random.default_rng([self.seed, seed, 5])
        errors = []
        for recipe in recipes:
            truth = self.truth_lab(recipe)
            for _ in range(times):
                panel = self.spray(recipe, rng, reading=reading)
                errors.append(float(delta_e(lab_of(panel.readings[0]), truth)))
        return float(np.median(errors))

    # -- recipes and archives ------------------------------------------------------------------

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
        clear: str | None = "yes",
    ) -> Recipe:
        """Draw a recipe of 2 to 6 coats; `continuous` draws any ratio from 10:1 to 2:1."""
        ground = ground or self.grounds[rng.integers(len(self.grounds))]
        colour = colour or self.colours[rng.integers(len(self.colours))]
        if continuous:
            low, high = np.log(1 / 11), np.log(1 / 3)
            carrier = float(1 / np.exp(rng.uniform(low, high)) - 1)
            ratios = [MixRatio(Fraction(round(100 * carrier), 100), Fraction(1))]
        else:
            chosen = sorted(rng.choice(len(RATIOS), size=steps, replace=False))
            ratios = [MixRatio.parse(RATIOS[i]) for i in chosen]
        counts = [int(rng.integers(2, 7))] if steps == 1 else list(rng.integers(1, 4, steps))
        made = tuple(CoatStep(int(n), r) for n, r in zip(counts, ratios, strict=True))
        return Recipe(ground, colour, CoatSchedule(made), clear)

    def _spray_all(
        self, recipes: Sequence[Recipe], rng: np.random.Generator, reading: str
    ) -> tuple[Panel, ...]:
        return tuple(
            self.spray(recipe, rng, reading=reading, code=f"A{i + 1:04d}")
            for i, recipe in enumerate(recipes)
        )

    def archive(
        self,
        n: int,
        seed: int,
        *,
        grounds: Sequence[Ground] | None = None,
        reading: str = "lab",
        repeats: float = 0.2,
        bare: int = 1,
    ) -> tuple[Panel, ...]:
        """`n` neat panels spread over grounds and colours, and the bare grounds."""
        rng = np.random.default_rng([self.seed, seed, 11])
        pairs = [(g, c) for g in grounds or self.grounds for c in self.colours]
        recipes: list[Recipe] = []
        for i in range(n):
            if i >= len(pairs) and rng.random() < repeats:
                recipes.append(recipes[rng.integers(len(recipes))])
            else:
                ground, colour = pairs[i % len(pairs)]
                recipes.append(self.random_recipe(rng, ground=ground, colour=colour))
        return self._spray_all(self.bare() * bare + recipes, rng, reading)

    def full(self, seed: int, *, reading: str = "lab") -> tuple[Panel, ...]:
        """90 panels, every colour on every ground, and the bare grounds."""
        return self.archive(90, seed, reading=reading)

    def young(self, seed: int, *, reading: str = "lab") -> tuple[Panel, ...]:
        """18 panels, every colour on two of the grounds; the others known bare."""
        rng = np.random.default_rng([self.seed, seed, 13])
        two = [self.grounds[i] for i in rng.choice(len(self.grounds), 2, replace=False)]
        return self.archive(18, seed, grounds=two, reading=reading, repeats=0.0)

    def blends(self, n: int, seed: int, *, reading: str = "lab") -> tuple[Panel, ...]:
        """`n` panels of two-colour blends."""
        rng = np.random.default_rng([self.seed, seed, 17])
        recipes = []
        for _ in range(n):
            one, two = rng.choice(len(self.colours), 2, replace=False)
            parts = [(1, 1), (2, 1), (1, 2), (3, 1)][rng.integers(4)]
            text = f"{self.colours[one]} {parts[0]} + {self.colours[two]} {parts[1]}"
            recipes.append(self.random_recipe(rng, colour=Colour.parse(text)))
        return self._spray_all(recipes, rng, reading)

    def step_ups(self, n: int, seed: int, *, reading: str = "lab") -> tuple[Panel, ...]:
        """`n` panels of two-step schedules."""
        rng = np.random.default_rng([self.seed, seed, 19])
        return self._spray_all([self.random_recipe(rng, steps=2) for _ in range(n)], rng, reading)

    def fresh(self, n: int, seed: int, *, reading: str = "lab") -> tuple[Panel, ...]:
        """`n` neat panels of random recipes, for testing."""
        rng = np.random.default_rng([self.seed, seed, 23])
        return self._spray_all([self.random_recipe(rng) for _ in range(n)], rng, reading)
