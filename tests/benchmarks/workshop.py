"""A simulated paint shop: what surrounds the optics, the same for every simulator.

People, lots, batches, instruments, days and the draws of what nobody can hold still; archives of
every layout; targets that are known to be reachable and targets known not to be. The optics of the
panel are a simulator's own (`spray`, `booth`). Numbers are common practice, no source, unless said.
"""

from __future__ import annotations

import datetime as dt
from abc import ABC, abstractmethod
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TypedDict, Unpack

import numpy as np

from matchlib.domain import (
    CoatSchedule,
    CoatStep,
    Colour,
    Ground,
    Panel,
    Reading,
    Recipe,
    Viewing,
)
from tests.benchmarks.lightlab import NM, Array, delta_e, spectrum_to_lab
from tests.benchmarks.panels import lab_of

__all__ = ["FIRST_DAY", "LAST_DAY", "CoatsSprayed", "Noise", "Today", "Workshop"]

FIRST_DAY, LAST_DAY = dt.date(2024, 1, 8), dt.date(2024, 10, 7)


@dataclass(frozen=True)
class Noise:
    """Standard deviations of what nobody can hold still."""

    film: float = 0.040  # log film, one panel to the next
    coat: float = 0.045  # log film, one coat to the next
    dose: float = 0.012  # log dose, the cup
    day: float = 0.0  # log film, one day to the next
    sprayer: float = 0.015  # log film
    lot: float = 0.010  # log dose
    ground: float = 0.010  # log level
    reflectance: float = 0.001
    lab: float = 0.05
    photo: float = 1.5
    photo_bias: float = 1.0


class Today(TypedDict, total=False):
    """Who sprays from which cans when: what `Workshop.lay` and the truth take by name."""

    sprayer: str
    lot: str  # of the colours, joined by +; there may be more than a recipe needs
    batch: str  # of the grounds, likewise
    date: dt.date | None


@dataclass(frozen=True)
class CoatsSprayed:
    """A panel as it came out: what each coat, its pot and the ground got by chance."""

    recipe: Recipe
    sprayer: str = ""
    lot: str = ""
    batch: str = ""
    date: dt.date | None = None
    heavy: float = 1.0
    setting: float = 0.0  # log film of the gun as it was set
    film: Array = field(default_factory=lambda: np.ones(0))  # of each coat, against the recipe's
    dose: Array = field(default_factory=lambda: np.ones(0))  # of each coat's pot, against its ratio
    level: float = 1.0  # of the ground

    def after(self, coats: int) -> CoatsSprayed:
        """The same card when so many coats lay on it and no clear coat."""
        assert self.recipe.schedule is not None
        steps = []
        for step in self.recipe.schedule.steps:
            left = coats - sum(s.coats for s in steps)
            if left > 0:
                steps.append(CoatStep(min(left, step.coats), step.ratio))
        recipe = replace(self.recipe, schedule=CoatSchedule(tuple(steps)), clear=None)
        return replace(self, recipe=recipe, film=self.film[:coats], dose=self.dose[:coats])


@dataclass
class Workshop(ABC):
    """A shop drawn from a seed; a solid white and a solid black stand in every default one."""

    seed: int
    n_grounds: int = 5
    n_colours: int = 3
    noise: Noise = field(default_factory=Noise)

    grounds: tuple[Ground, ...] = field(init=False)
    colours: tuple[Colour, ...] = field(init=False)
    sprayers: dict[str, float] = field(init=False)  # log film
    lots: dict[str, dict[str, float]] = field(init=False)  # log dose, of the colours in it
    batches: dict[str, dict[str, object]] = field(init=False, default_factory=dict)  # of grounds
    instruments: dict[str, tuple[float, float]] = field(init=False)  # gain and offset

    def __post_init__(self) -> None:
        rng = np.random.default_rng([self.seed, 77])
        self.instruments = {"": (1.0, 0.0)}
        self._draw(rng)
        self._photo_bias = rng.normal(0, self.noise.photo_bias, 3)

    # -- a simulator's own ---------------------------------------------------------------------

    @abstractmethod
    def _draw(self, rng: np.random.Generator) -> None:
        """Draw grounds, colours, people and the booth."""

    @abstractmethod
    def _light(self, panels: Sequence[CoatsSprayed], geometry: str) -> Array:
        """Reflectance (n, 31) of panels as they were laid, without any noise of reading."""

    def _open_lots(self, date: dt.date | None, rng: np.random.Generator) -> str:
        """Which lots stand open on a day."""
        return str(rng.choice(list(self.lots)))

    def _open_batches(self, date: dt.date | None) -> str:
        """Which batches of the grounds stand open on a day."""
        return ""

    # -- the noise-free shop -------------------------------------------------------------------

    def truth(
        self, recipes: Sequence[Recipe], geometry: str = "45:0", **today: Unpack[Today]
    ) -> Array:
        """Noise-free reflectance (n, 31), for a sprayer, lot, batch and day where given."""
        setting = self.sprayers.get(today.get("sprayer", ""), 0.0)
        film = np.full(100, np.exp(setting + self._weather(today.get("date"))))
        ideal = []
        for recipe in recipes:
            coats = 0 if recipe.schedule is None else recipe.schedule.coats
            ideal.append(
                CoatsSprayed(
                    recipe, **self._mine(recipe, today), film=film[:coats], dose=np.ones(coats)
                )
            )
        return self._light(ideal, geometry)

    def truth_reflectance(
        self, recipe: Recipe, geometry: str = "45:0", **today: Unpack[Today]
    ) -> Array:
        """Noise-free reflectance, 400 to 700 nm by 10."""
        return self.truth([recipe], geometry, **today)[0]

    def truth_labs(
        self, recipes: Sequence[Recipe], geometry: str = "45:0", **today: Unpack[Today]
    ) -> Array:
        """Noise-free Lab (n, 3), D65/10 degree."""
        return spectrum_to_lab(self.truth(recipes, geometry, **today))

    def truth_lab(self, recipe: Recipe, geometry: str = "45:0", **today: Unpack[Today]) -> Array:
        """Noise-free Lab, D65/10 degree."""
        return self.truth_labs([recipe], geometry, **today)[0]

    # -- the shop as it is ---------------------------------------------------------------------

    def today(self, rng: np.random.Generator) -> Today:
        """Somebody at the bench, and what stands open now."""
        sprayer = str(rng.choice(list(self.sprayers)))
        lot = self._open_lots(LAST_DAY, rng)
        return Today(sprayer=sprayer, lot=lot, batch=self._open_batches(LAST_DAY), date=LAST_DAY)

    def strength(self, lot: str, colour: str) -> float:
        """Log dose of a colour out of a lot, or out of one of several joined by +."""
        return sum(self.lots.get(name, {}).get(colour, 0.0) for name in lot.split(" + "))

    def _mine(self, recipe: Recipe, today: Today) -> Today:
        """Lots and batches that a recipe really takes from, with who and when."""
        colours = [] if recipe.colour is None else [name for name, _ in recipe.colour.parts]
        lot = _joined(today.get("lot", ""), self.lots, colours)
        batch = _joined(
            today.get("batch", ""), self.batches, [name for name, _ in recipe.ground.parts]
        )
        who, when = today.get("sprayer", ""), today.get("date")
        return Today(sprayer=who, lot=lot, batch=batch, date=when)

    def _weather(self, date: dt.date | None) -> float:
        if date is None or not self.noise.day:
            return 0.0
        return float(np.random.default_rng([self.seed, date.toordinal()]).normal(0, self.noise.day))

    def _spread(self, sprayer: str) -> float:
        """How unevenly somebody sprays, of the usual."""
        return 1.0

    def lay(
        self,
        recipe: Recipe,
        rng: np.random.Generator,
        *,
        heavy: float = 1.0,
        **today: Unpack[Today],
    ) -> CoatsSprayed:
        """Spray one panel and do not read it yet."""
        noise = self.noise
        date = today.get("date")
        sprayer = today.get("sprayer") or str(rng.choice(list(self.sprayers)))
        lot = today.get("lot") or self._open_lots(date or LAST_DAY, rng)
        batch = today.get("batch") or self._open_batches(date or LAST_DAY)
        mine = self._mine(recipe, Today(sprayer=sprayer, lot=lot, batch=batch, date=date))
        coats = 1 if recipe.schedule is None else recipe.schedule.coats
        setting = np.log(heavy) + self.sprayers[sprayer] + self._weather(date)
        setting += rng.normal(0, noise.film * self._spread(sprayer))
        film = np.exp(setting + rng.normal(0, noise.coat * self._spread(sprayer), coats))
        level = float(np.exp(rng.normal(0, noise.ground)))
        dose = np.full(coats, np.exp(rng.normal(0, noise.dose)))
        return CoatsSprayed(
            recipe, **mine, heavy=heavy, setting=float(setting), film=film, dose=dose, level=level
        )

    def build_on(
        self, laid: CoatsSprayed, recipe: Recipe, rng: np.random.Generator, *, afresh: bool = False
    ) -> CoatsSprayed:
        """Spray the rest of a longer recipe on a panel: what it has got stays as it is.

        The gun stays as it was set, or is set `afresh`; a further pot is measured anew.
        """
        assert laid.recipe.schedule is not None
        assert recipe.schedule is not None
        more = recipe.schedule.coats - laid.recipe.schedule.coats
        spread = self._spread(laid.sprayer)
        setting = laid.setting
        if afresh:
            setting = np.log(laid.heavy) + self.sprayers[laid.sprayer] + self._weather(laid.date)
            setting += rng.normal(0, self.noise.film * spread)
        film = np.exp(setting + rng.normal(0, self.noise.coat * spread, more))
        dose = np.full(more, np.exp(rng.normal(0, self.noise.dose)))
        return replace(
            laid,
            recipe=recipe,
            film=np.append(laid.film, film),
            dose=np.append(laid.dose, dose),
        )

    def read(
        self,
        laid: CoatsSprayed,
        rng: np.random.Generator,
        *,
        reading: str = "lab",
        geometries: Sequence[str] = ("45:0",),
        code: str = "P",
    ) -> Panel:
        """Read a panel once by every geometry."""
        noise = [self._draw_noise(rng, reading) for _ in geometries]
        lights = [self._light([laid], geometry)[0] for geometry in geometries]
        return self._panel(code, laid, reading, list(zip(geometries, lights, noise, strict=True)))

    def spray(
        self,
        recipe: Recipe,
        rng: np.random.Generator,
        *,
        heavy: float = 1.0,
        reading: str = "lab",
        geometries: Sequence[str] = ("45:0",),
        code: str = "P",
        **today: Unpack[Today],
    ) -> Panel:
        """Spray one panel and read it once by every geometry."""
        laid = self.lay(recipe, rng, heavy=heavy, **today)
        return self.read(laid, rng, reading=reading, geometries=geometries, code=code)

    def stages(
        self, laid: CoatsSprayed, rng: np.random.Generator, *, reading: str = "lab", code: str = "P"
    ) -> tuple[Panel, ...]:
        """One card read after every coat, before any clear, and at last under its clear.

        All have its code, and its film; the stage stands among the panel's further columns.
        """
        assert laid.recipe.schedule is not None
        cards = [laid.after(n + 1) for n in range(laid.recipe.schedule.coats)]
        cards += [laid] if laid.recipe.clear else []
        read = [self.read(card, rng, reading=reading, code=code) for card in cards]
        return tuple(
            replace(p, extra=(*p.extra, ("stage", str(n + 1)))) for n, p in enumerate(read)
        )

    def _draw_noise(self, rng: np.random.Generator, reading: str) -> tuple[str, Array, Array]:
        if reading not in ("lab", "spectrum", "photo"):
            raise ValueError(f"reading is lab, spectrum or photo, not {reading!r}")
        names = list(self.instruments)
        name = names[0] if len(names) == 1 else str(rng.choice(names))
        light, lab = rng.normal(0, self.noise.reflectance, NM.size), np.zeros(3)
        if reading != "spectrum":
            lab = rng.normal(0, self.noise.lab, 3)
        if reading == "photo":
            name, lab = "", lab + self._photo_bias + rng.normal(0, self.noise.photo, 3)
        return name, light, lab

    def _panel(
        self,
        code: str,
        laid: CoatsSprayed,
        reading: str,
        seen: Sequence[tuple[str, Array, tuple[str, Array, Array]]],
    ) -> Panel:
        readings, instrument = [], ""
        for geometry, light, (instrument, noise, more) in seen:
            gain, offset = self.instruments.get(instrument, (1.0, 0.0))
            shown = gain * light + offset + noise
            viewing = Viewing(geometry=geometry)
            if reading == "spectrum":
                top = 1.3 if viewing.aspecular is None else 10.0
                values = tuple(np.clip(shown, -0.01, top).tolist())
                readings.append(
                    Reading(viewing, wavelengths=tuple(NM.tolist()), reflectance=values)
                )
                continue
            lab = spectrum_to_lab(shown) + more
            lab[0] = np.clip(lab[0], 0, 100.0 if viewing.aspecular is None else 200.0)
            source = "photo" if reading == "photo" else "spectrophotometer"
            readings.append(Reading(viewing, source=source, lab=tuple(lab.tolist())))
        return Panel.of(
            code,
            laid.recipe,
            tuple(readings),
            date=laid.date,
            sprayer=laid.sprayer,
            lot=laid.lot,
            extra=(("batch", laid.batch), ("instrument", instrument)),
        )

    def repeatability(
        self, recipes: Sequence[Recipe], *, seed: int = 0, reading: str = "lab", times: int = 4
    ) -> float:
        """Return the median ΔE00 of one panel as read against its noise-free recipe."""
        rng = np.random.default_rng([self.seed, seed, 5])
        every = [recipe for recipe in recipes for _ in range(times)]
        read = self.spray_all(every, rng, reading=reading, dates=self.days(len(every), rng))
        labs = np.array([lab_of(p.readings[0]) for p in read])
        return float(np.median(delta_e(labs, np.repeat(self.truth_labs(recipes), times, axis=0))))

    def days(self, n: int, rng: np.random.Generator | None = None) -> list[dt.date | None]:
        """So many days of spraying, in order or drawn; none where the shop has no calendar."""
        if not self.batches:
            return [None] * n
        span = (LAST_DAY - FIRST_DAY).days
        at = np.linspace(0, span, n) if rng is None else rng.uniform(0, span, n)
        return [FIRST_DAY + dt.timedelta(days=int(d)) for d in at]

    def spray_all(
        self,
        recipes: Sequence[Recipe],
        rng: np.random.Generator,
        *,
        reading: str = "lab",
        geometries: Sequence[str] = ("45:0",),
        dates: Sequence[dt.date | None] = (),
        code: str = "A",
    ) -> tuple[Panel, ...]:
        """Spray and read many panels, each by one of the geometries in turn."""
        laid, noise = [], []
        for i, recipe in enumerate(recipes):
            laid.append(self.lay(recipe, rng, date=dates[i] if dates else self._now))
            noise.append(self._draw_noise(rng, reading))
        lights = np.empty((len(laid), NM.size))
        for k, geometry in enumerate(geometries):
            lights[k :: len(geometries)] = self._light(laid[k :: len(geometries)], geometry)
        return tuple(
            self._panel(
                f"{code}{i + 1:04d}",
                card,
                reading,
                [(geometries[i % len(geometries)], lights[i], noise[i])],
            )
            for i, card in enumerate(laid)
        )

    @property
    def _now(self) -> dt.date | None:
        return LAST_DAY if self.batches else None


def _joined(names: str, known: Mapping[str, Iterable[str]], wanted: Sequence[str]) -> str:
    """Of what stands open, one for each thing wanted that is in it, in their order."""
    opened = names.split(" + ")
    found = [n for name in wanted for n in opened if name in known.get(n, ())]
    return " + ".join(dict.fromkeys(found))
