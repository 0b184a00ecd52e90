"""A spray booth whose light is followed at every angle in the film (`streams`).

Dye aggregates: monomer and dimer in equilibrium by its concentration in the dry film, each with a
spectrum of its own. Pigment scatters a little. A coat is a heap of droplets, so film under the
instrument is gamma-distributed and evens out with coats. A metallic ground is flakes beside a
diffuse ground; a solid one is diffuse. The clear coat absorbs a little violet, a yellowed one more.
Lots of colour, batches of ground, instruments, sprayers and days each have their own. Magnitudes
are common practice, no source. What the two simulators share with the law of `matchlib`:

| | `booth` | `spray` | the law |
|---|---|---|---|
| light in the film | streams at all angles | one path, Kubelka-Munk layers | one path |
| kept under the surface | by angle | a constant a ground | a constant a ground, and a way |
| strength of a colour | monomer and dimer, two spectra | bends in rich mixes | bends, hue turns |
| scatter in the film | pigments only, once | every colour, all orders | once |
| metallic ground | facets beside a diffuse ground | diffuse, a gain by angle | one a geometry |
| unevenness | droplets, gamma | log-normal | none |
| blend of colours | each dye pairs with itself | doses add, bend together | doses add |
| blend of grounds | pigment by K/S, flake by area | K/S and tinting power | a ladder |
| sprayer | own mean and own spread | own mean | own mean |
| lot, batch, instrument, day | each its own | one lot for all colours | own means, and a drift |
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from matchlib.domain import Colour, Ground
from tests.benchmarks.layouts import Layouts
from tests.benchmarks.lightlab import NM, Array
from tests.benchmarks.streams import Coating, droplets, flakes, fresnel, light_out, looking
from tests.benchmarks.workshop import FIRST_DAY, LAST_DAY, CoatsSprayed, Noise

__all__ = ["Shop", "share_alone"]

# Diffuse reflectance, share of flake, its tilt (slope), warmth, hiding power in a blend.
_GROUND_KINDS = {
    "silver": (0.10, 0.46, 0.26, 0.0, 1.0),
    "graphite": (0.045, 0.17, 0.24, -0.05, 1.5),
    "pale gold": (0.08, 0.56, 0.27, 0.9, 0.9),
    "solid white": (0.90, 0.0, 0.2, 0.0, 0.5),
    "solid black": (0.011, 0.0, 0.2, 0.0, 1.2),
    "bright silver": (0.08, 0.68, 0.22, 0.0, 0.8),
    "grey primer": (0.24, 0.0, 0.2, 0.02, 0.8),
    "bronze": (0.06, 0.36, 0.25, 1.3, 1.0),
}
# Bands of the monomer (centre, width [nm], height a unit dose), whether it is a dye.
_COLOUR_KINDS = {
    "garnet": (((528, 34, 4.2), (470, 36, 1.6)), True),
    "marine": (((632, 44, 3.4), (575, 34, 1.1)), True),
    "saffron": (((430, 44, 3.8),), False),
    "fern": (((428, 38, 2.3), (662, 36, 2.7)), True),
    "heather": (((562, 40, 3.5), (522, 34, 1.3)), True),
    "smoke": (((600, 110, 1.9), (450, 90, 1.3)), False),
}


def share_alone(tendency: Array) -> Array:
    """Share of a dye that is in no pair, by the law of mass action: c = m + 2 K m², given K c."""
    return 2 / (1 + np.sqrt(1 + 8 * tendency))


@dataclass
class Shop(Layouts):
    """A workshop by these optics, drawn from a seed.

    Lots of colour and batches of ground follow one another by date; with `lot_trend` strengths run
    from that much below to that much above, in order, and what is sprayed now is the last.
    """

    noise: Noise = field(
        default_factory=lambda: Noise(film=0.03, coat=0.035, day=0.012, sprayer=0.04, lot=0.05)
    )
    lot_trend: float = 0.0

    def _draw(self, rng: np.random.Generator) -> None:
        self._ground = {name: self._draw_ground(name, rng) for name in _GROUND_KINDS}
        self._colour = [self._draw_colour(name, rng) for name in _COLOUR_KINDS]
        self.grounds = tuple(Ground.parse(n) for n in list(_GROUND_KINDS)[: self.n_grounds])
        picked = rng.permutation(list(_COLOUR_KINDS))[: self.n_colours]
        self.colours = tuple(Colour.parse(str(n)) for n in picked)
        people = [f"sprayer {i + 1}" for i in range(3)]
        self.sprayers = {name: float(rng.normal(0, self.noise.sprayer)) for name in people}
        self._hands = {name: float(rng.uniform(0.6, 1.5)) for name in people}
        self.instruments = {
            name: (1 + float(rng.normal(0, 0.004)), float(rng.normal(0, 0.0004)))
            for name in ("meter A", "meter B")
        }
        self._droplets = rng.uniform(20, 70)
        self._solids = rng.uniform(0.28, 0.38), rng.uniform(0.3, 0.45)  # of carrier, of colour
        self._overspray = rng.uniform(-0.02, 0.08)
        self._haze = rng.uniform(0.03, 0.08)  # of what the surface throws back, to the side
        violet = [np.exp(-(NM - 400) / w) for w in (rng.uniform(25, 40), rng.uniform(50, 70))]
        self._clear = rng.uniform(0.01, 0.03) * violet[0]
        self._yellowed = self._clear + rng.uniform(0.1, 0.2) * violet[1]
        self._phase = rng.uniform(0, 0.9, 64)
        self.lots, self.batches = {}, {}
        self._in_turn: list[list[str]] = []
        for name in _COLOUR_KINDS:
            strengths = rng.uniform(-self.noise.lot, self.noise.lot, 3)
            if self.lot_trend:
                strengths = np.linspace(-self.lot_trend, self.lot_trend, 6) + rng.normal(0, 0.01, 6)
            names = [f"{name} {i + 1}" for i in range(strengths.size)]
            self.lots |= {n: {name: float(s)} for n, s in zip(names, strengths, strict=True)}
            self._in_turn.append(names)
        for name in _GROUND_KINDS:
            names = [f"{name} batch {i + 1}" for i in range(2)]
            self.batches |= {n: {name: rng.normal(0, (0.012, 0.03, 0.012))} for n in names}
            self._in_turn.append(names)

    @staticmethod
    def _draw_ground(name: str, rng: np.random.Generator) -> dict[str, Array | float]:
        diffuse, flake, tilt, warm, power = _GROUND_KINDS[name]
        tint = np.exp(-warm / (1 + np.exp((NM - rng.uniform(510, 535)) / rng.uniform(20, 30))))
        wave = rng.normal(0, 0.008) * np.cos((NM - rng.uniform(400, 700)) / rng.uniform(45, 90))
        titania = 1 / (1 + np.exp(-(NM - 402) / 8)) if name == "solid white" else 1.0
        level = np.exp(rng.normal(0, 0.02)) * tint * (1 + wave)
        return {
            "diffuse": np.minimum(diffuse * level, 0.93) * (0.25 + 0.75 * titania),
            "flake": flake * level * (1 - 0.03 * (NM - 550) / 150),
            "tilt": round(float(tilt * rng.uniform(0.93, 1.07)), 3),
            "power": power * rng.uniform(0.8, 1.25),
        }

    @staticmethod
    def _draw_colour(name: str, rng: np.random.Generator) -> dict[str, Array | float]:
        bands, dye = _COLOUR_KINDS[name]
        shift = rng.uniform(18, 34) if dye else 0.0  # aggregates absorb towards the blue
        single = np.full(NM.size, rng.uniform(0.01, 0.04))
        paired = single.copy()
        for centre, width, height in bands:
            middle, wide = centre + rng.normal(0, 6), width * rng.uniform(0.9, 1.1)
            high = height * rng.uniform(0.85, 1.15)
            single += high * np.exp(-0.5 * ((NM - middle) / wide) ** 2)
            paired += 0.75 * high * np.exp(-0.5 * ((NM - middle + shift) / (1.15 * wide)) ** 2)
        haze = 0.0 if dye else rng.uniform(0.04, 0.12)
        return {
            "single": single,
            "paired": paired,
            "pairing": rng.uniform(0.15, 0.7) if dye else 0.0,
            "scatter": haze * (NM / 550) ** -rng.uniform(0.5, 2.5),
        }

    # -- who and what stands open --------------------------------------------------------------

    def _open(self, known: Mapping[str, object], date: dt.date | None) -> str:
        part = ((date or LAST_DAY) - FIRST_DAY).days / (LAST_DAY - FIRST_DAY).days
        names = [
            turn[min(int(part * len(turn) + phase), len(turn) - 1)]
            for turn, phase in zip(self._in_turn, self._phase, strict=False)
        ]
        return " + ".join(n for n in names if n in known)

    def _open_lots(self, date: dt.date | None, rng: np.random.Generator) -> str:
        return self._open(self.lots, date)

    def _open_batches(self, date: dt.date | None) -> str:
        return self._open(self.batches, date)

    def _spread(self, sprayer: str) -> float:
        return self._hands[sprayer]

    @property
    def clears(self) -> tuple[str, str]:
        """The clear coats: fresh, and yellowed."""
        return "yes", "yellowed clear"

    # -- optics --------------------------------------------------------------------------------

    def _bare(self, panel: CoatsSprayed) -> tuple[Array, Array, float]:
        """Reflectance of the ground in the film, diffuse and by flakes, and their tilt."""
        parts = []
        for name, share in panel.recipe.ground.shares.items():
            if name not in self._ground:
                raise KeyError(f"the simulated shop has no {name}")
            kind = self._ground[name]
            level, balance, warmth = sum(
                (self.batches[b].get(name, 0.0) for b in panel.batch.split(" + ") if b), np.zeros(3)
            )
            own = panel.level * np.exp(level + warmth * (NM - 550) / 150)
            parts.append(
                (
                    share * kind["power"],
                    kind["diffuse"] * own * np.exp(balance if kind["flake"].any() else 0.0),
                    kind["flake"] * own,
                    kind["tilt"],
                )
            )
        weight, diffuse, flake, tilt = (np.array(v) for v in zip(*parts, strict=True))
        weight /= weight.sum()
        diffuse = np.clip(diffuse, 0.005, 0.95)
        ratio = weight @ ((1 - diffuse) ** 2 / (2 * diffuse))  # pigments add by K/S, flakes by area
        even = 1 + ratio - np.sqrt(ratio * ratio + 2 * ratio)
        shiny = np.minimum(weight @ flake, 0.96 - even)
        cover = weight * flake.mean(axis=1) + 1e-9
        return even, shiny, round(float(cover @ tilt / cover.sum()), 3)

    def _films(self, panels: Sequence[CoatsSprayed]) -> tuple[Array, Array]:
        """Optical thickness of the colour (n, 31), and of it by scattering."""
        known = {name: i for i, name in enumerate(_COLOUR_KINDS)}
        of, which, fraction, used, film = [], [], [], [], []
        for i, panel in enumerate(panels):
            colour, schedule = panel.recipe.colour, panel.recipe.schedule
            if colour is None or schedule is None:
                continue
            ratios = np.repeat(
                [float(s.ratio.fraction) for s in schedule.steps],
                [s.coats for s in schedule.steps],
            )
            for name, share in colour.shares.items():
                if name not in known:
                    raise KeyError(f"the simulated shop has no {name}")
                strength = float(share) * np.exp(self.strength(panel.lot, name))
                of += [i] * ratios.size
                which += [known[name]] * ratios.size
                fraction.append(ratios)
                used.append(ratios * panel.dose * strength)
                film.append(panel.film)
        absorbed, scattered = np.zeros((2, len(panels), NM.size))
        if not of:
            return absorbed, scattered
        pot, dose, thick = (np.concatenate(v) for v in (fraction, used, film))
        dry = self._solids[0] * (1 - pot) + self._solids[1] * pot
        amount = dose * thick * (1 + self._overspray * np.log(pot / 0.15))
        single, paired, scatter = (
            np.array([c[k] for c in self._colour])[which] for k in ("single", "paired", "scatter")
        )
        pairing = np.array([c["pairing"] for c in self._colour])[which]
        alone = share_alone(pairing * dose / dry)[:, None]
        np.add.at(absorbed, of, amount[:, None] * (alone * single + (1 - alone) * paired))
        np.add.at(scattered, of, amount[:, None] * scatter)
        return absorbed + scattered, scattered

    def _light(self, panels: Sequence[CoatsSprayed], geometry: str) -> Array:
        streams, beam, _, all_round = looking(geometry)
        film, scatter = self._films(panels)
        bare = [self._bare(p) for p in panels]
        clear = np.array([self._over(p.recipe.clear) for p in panels])
        coats = np.array([max(p.film.size, 1) for p in panels])
        light = np.empty((len(panels), NM.size))
        groups: dict[tuple[float, bool], list[int]] = {}
        for i, (_, _, tilt) in enumerate(bare):
            groups.setdefault((tilt, bool(scatter[i].any())), []).append(i)
        rules = {n: droplets(self._droplets * n) for n in set(coats.tolist())}
        for (tilt, _), every in groups.items():
            for some in np.array_split(every, 1 + len(every) // 64):
                at, weight = (np.array([rules[n][k] for n in coats[some]]) for k in (0, 1))
                coating = Coating(
                    film[some][:, :, None] * at[:, None, :] + 1e-12,
                    scatter[some][:, :, None] * at[:, None, :],
                    clear[some][:, :, None],
                    *(np.array([bare[i][k] for i in some])[:, :, None] for k in (0, 1)),
                )
                out = light_out(
                    coating, flakes(tilt, geometry), streams, beam=beam, all_round=all_round
                )
                light[some] = np.einsum("nwp,np->nw", out, weight)
        surface = fresnel(np.cos(np.radians(8 if all_round else 45)))
        rough = np.array([p.recipe.clear is None for p in panels])
        light += (rough * self._haze * surface)[:, None]
        return light + (surface if "di" in geometry else 0.0)

    def _over(self, clear: str | None) -> Array:
        if clear is None:
            return np.zeros(NM.size)
        return self._yellowed if "yellow" in clear else self._clear
