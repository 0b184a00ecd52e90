"""The film law with its free values: recipes in, reflectance and its exact derivatives out.

A row's internal reflectance is ``rho exp(-A) + S (1 - exp(-A)) / A`` (see `matchlib.film`) with

* ``log rho``: the ground's spectrum. A blend of grounds is the mean of the logarithms weighted by
  share times hiding strength (a dark flake counts for more than its share), plus a ladder term
  per pair that vanishes at both ends;
* ``A = path * sum of dose_c a_c``: ``a_c > 0`` the absorption spectrum of colour c for one coat
  of 6:1;
* ``S = path * sum of dose_c s_c``: ``s_c > 0`` the little that a colour hides, level and tilt;
* ``dose_c = sum over steps of share_c h_c(fraction) * coats``, where ``log h`` rises with the
  logarithm of the fraction by construction: its slope there is ``exp(s_c + b x)``, near 1 and
  slightly bent (absorption in translucent coatings is not exactly linear in concentration: Gorji
  Bandpay et al. 2018), the first coat lays thinner, and later ones may lay a little more or less;
* coats of one colour over another's hide what those below scatter: `S` is summed from the top;
* what panels share beside the recipe: a sprayer, a lot of colour and the days (drift, a Brownian
  motion) lay more or less film, a batch of ground is lighter or darker, a named clear coat absorbs
  a little, an instrument reads a little higher or lower.

Then the surface (Saunderson 1942; `matchlib.film.saunderson`), with its own internal reflectance
under clear coat and without.

Every derivative is written out by the chain rule; a test compares them with differences.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from matchlib.film import EXTERNAL_K1, INTERNAL_K2, single_scatter
from matchlib.regression.priors import Priors
from matchlib.regression.state import State
from matchlib.regression.table import RecipeTable
from matchlib.regression.vocabulary import Vocabulary

__all__ = ["FilmLaw", "motion"]

Array = NDArray[np.float64]

_MOTIONS = 3
"""Waves of the drift: changes over less than a fifth of the archive's days are a sprayer's own."""

_LARGEST, _NEAREST = 1.7, 0.98
"""Internal reflectance from which on the surface is taken as linear, and the same times k2: the
pole is at 1/k2, and a fit to Lab alone could hide a few wavelengths in it."""


@dataclass(frozen=True)
class FilmLaw:
    """The law for one vocabulary: where each free value stands and how strong its prior is.

    Parameters
    ----------
    words : Vocabulary
        Names in use.
    priors : Priors
        Beliefs.
    """

    words: Vocabulary
    priors: Priors
    slices: dict[str, slice] = field(init=False, repr=False)
    groups: tuple[str, ...] = field(init=False, repr=False)
    group_of: NDArray[np.intp] = field(init=False, repr=False)

    def __post_init__(self) -> None:
        p = self.priors
        curves = p.curves()
        g, c = len(self.words.grounds), len(self.words.colours)
        sizes = {
            "ground": (g * curves["ground"].shape[1], "fixed"),
            "ground wave": (g * curves["ground wave"].shape[1], "ground wave"),
            "geometry": (
                g * (len(self.words.geometries) - 1) * curves["geometry"].shape[1],
                "fixed",
            ),
            "hiding": (g, "fixed"),
            "ladder": (2 * len(self.words.pairs) * curves["ladder"].shape[1], "fixed"),
            "colour": (c * curves["colour"].shape[1], "fixed"),
            "colour wave": (c * curves["colour wave"].shape[1], "colour wave"),
            "scatter": (c * curves["scatter"].shape[1], "fixed"),
            "own slope": (c, "own slope"),
            "dose": (4, "dose"),
            "surface": (5, "surface"),
            "own k2": (g, "own k2"),
            "sprayer": (len(self.words.sprayers), "sprayer"),
            "lot": (len(self.words.lots), "lot"),
            "batch": (len(self.words.batches), "batch"),
            "drift": (_MOTIONS if self.words.days else 0, "drift"),
            "clear": (len(self.words.clears) * curves["clear"].shape[1], "clear"),
            "instrument": (len(self.words.instruments) * curves["clear"].shape[1], "instrument"),
        }
        slices, groups, owner, at = {}, [], [], 0
        for name, (size, group) in sizes.items():
            slices[name] = slice(at, at + size)
            at += size
            if size and group not in groups:
                groups.append(group)
            owner += [groups.index(group)] * size if size else []
        object.__setattr__(self, "curves", curves)
        object.__setattr__(self, "slices", slices)
        object.__setattr__(self, "groups", tuple(groups))
        object.__setattr__(self, "group_of", np.array(owner, np.intp))

    curves: dict[str, Array] = field(init=False, repr=False)

    @property
    def size(self) -> int:
        """Number of free values."""
        return len(self.group_of)

    def spectra(self, z: Array) -> tuple[Array, Array]:
        """Return the spectra that the values stand for.

        Shapes: log_ground (q, g, b), absorption (c, b).
        """
        g, c = len(self.words.grounds), len(self.words.colours)
        q = max(1, len(self.words.geometries))
        take = self._take
        base = self.priors.ground_level + take(z, "ground", g) + take(z, "ground wave", g)
        log_ground = np.repeat(base[None], q, axis=0)
        if q > 1:
            extra = take(z, "geometry", (q - 1) * g).reshape(q - 1, g, -1)
            log_ground[1:] += extra
        absorption = np.exp(
            np.minimum(
                self.priors.colour_level + take(z, "colour", c) + take(z, "colour wave", c), 4.0
            )
        )
        return log_ground, absorption

    def _take(self, z: Array, name: str, count: int) -> Array:
        curves = self.curves[name]
        result: Array = z[self.slices[name]].reshape(count, curves.shape[1]) @ curves.T
        return result

    def _doses(self, z: Array, t: RecipeTable) -> tuple[Array, ...]:
        p = self.priors
        slope, bend, first, later = z[self.slices["dose"]]
        rise = np.exp(p.slope_sd * slope + p.own_slope_sd * z[self.slices["own slope"]])
        coats = (
            t.coats
            - (p.first_coat + p.first_coat_sd * first) * t.first
            + p.later_sd * later * t.logk
        )
        more = _pick(z[self.slices["sprayer"]], t.sprayer)
        if self.words.days:
            more = more + motion(t.time) @ z[self.slices["drift"]]
        laid = np.repeat((t.path * np.exp(more))[:, None], t.colour_share.shape[2], axis=1)
        if self.words.lots:
            laid = laid * np.exp(_pick(z[self.slices["lot"]], t.lot))
        x = t.bend
        line, curve = _bent(x, 2.0 * p.bend_sd * bend)
        bent = rise[None, :, None] * line[:, None, :]
        h = np.exp(np.clip(bent, -12.0, 6.0)) * t.colour_share.swapaxes(1, 2) * laid[:, :, None]
        # Sum over steps; a padded step has no coats and drops out.
        steps = h * coats[:, None, :]
        by_slope = (steps * bent).sum(axis=2)
        by_bend = 2.0 * p.bend_sd * rise * (steps * curve[:, None, :]).sum(axis=2)
        by_first = -(h * t.first[:, None, :]).sum(axis=2) * p.first_coat_sd
        by_later = (h * t.logk[:, None, :]).sum(axis=2) * p.later_sd
        return steps, by_slope, by_bend, by_first, by_later

    @staticmethod
    def _under(t: RecipeTable, steps: Array, absorption: Array, scattering: Array) -> Array:
        """What layers let out of the light that those below scatter, by what a mixture would."""
        layered = (t.colour_share != t.colour_share[:, :1]).any(axis=(1, 2))
        share = np.ones((len(t), 1))
        if layered.any():
            each = steps[layered].swapaxes(1, 2)
            a, s = each @ absorption, each @ scattering
            above = a.sum(axis=1, keepdims=True) - a.cumsum(axis=1)
            seen = (s * single_scatter(a)[0] * np.exp(-above)).sum(axis=1)
            mixed = s.sum(axis=1) * single_scatter(a.sum(axis=1))[0]
            share = np.ones((len(t), a.shape[2]))
            share[layered] = seen / np.maximum(mixed, 1e-300)
        return share

    def _ground(self, z: Array, t: RecipeTable, log_ground: Array) -> tuple[Array, Array, Array]:
        strength = t.ground_share * np.exp(0.7 * z[self.slices["hiding"]])
        weight = strength / strength.sum(axis=1, keepdims=True)
        ground = log_ground[0]
        if len(log_ground) > 1:
            ground = log_ground[np.maximum(t.geometry, 0)]
        if self.words.batches:
            ground = ground + _pick(z[self.slices["batch"]], t.batch)[:, :, None]
        mixed = weight @ ground if ground.ndim == 2 else np.einsum("ng,ngb->nb", weight, ground)
        if self.words.pairs:
            ladder = self._take(z, "ladder", 2 * len(self.words.pairs))
            mixed = mixed + self._ladder_shares(t) @ ladder
        return weight, ground, mixed

    def _own(self, z: Array, name: str, place: NDArray[np.intp]) -> Array:
        """Curve of each row's named clear coat or instrument, 0 for none; shape (n, b)."""
        if self.slices[name].start == self.slices[name].stop:
            return np.zeros((len(place), 1))
        curves = self.curves["clear"]
        return _pick(z[self.slices[name]].reshape(-1, curves.shape[1]) @ curves.T, place)

    def _ladder_shares(self, t: RecipeTable) -> Array:
        a, b = np.array(self.words.pairs, np.intp).T
        sa, sb = t.ground_share[:, a], t.ground_share[:, b]
        product = 4.0 * sa * sb
        return np.stack([product, product * (sa - sb)], axis=2).reshape(len(t), -1)

    def evaluate(self, z: Array, t: RecipeTable) -> State:
        """Evaluate the law."""
        log_ground, absorption = self.spectra(z)
        weight, ground, mixed = self._ground(z, t, log_ground)
        steps, by_slope, by_bend, by_first, by_later = self._doses(z, t)
        dose = steps.sum(axis=2)
        scattering = self.priors.scatter * np.exp(
            np.clip(self._take(z, "scatter", len(self.words.colours)), -8.0, 4.0)
        )
        a = dose @ absorption
        s = dose @ scattering
        under = self._under(t, steps, absorption, scattering)
        phi, phi_slope = (under * v for v in single_scatter(a))
        absorbed = self._own(z, "clear", t.clear)
        mixed, veil = mixed - absorbed, np.exp(-absorbed)
        filtered = np.exp(np.minimum(mixed - a, 4.0))
        inner = filtered + s * phi * veil
        by_shown = s * phi_slope * veil - filtered
        k2_logit = (
            np.log(INTERNAL_K2 / (1 - INTERNAL_K2))
            + self.priors.k2_sd * z[self.slices["surface"]][:2]
        )
        own_k2 = np.clip(weight @ z[self.slices["own k2"]], -5.0, 3.0)
        k2 = 1.0 / (1.0 + np.exp(-k2_logit[np.where(t.cleared, 0, 1)] - own_k2))
        k2 = np.where(t.aspecular, 0.0, k2)[:, None]
        _, _, haze_z, gain_z, gloss_z = z[self.slices["surface"]]
        uncleared = ~t.cleared
        bloom = 0.004 * np.exp(np.clip(0.8 * haze_z, -6, 4))
        leak = 0.0004 * np.exp(np.clip(gloss_z, -6, 4))
        haze = np.where(uncleared, bloom, leak)
        scale = np.exp(self._own(z, "instrument", t.instrument))
        gain = np.where(uncleared, np.exp(0.06 * gain_z), 1.0)[:, None] * (1.0 - EXTERNAL_K1)
        gain = gain * scale
        most = np.minimum(_LARGEST, _NEAREST / np.maximum(k2, 0.1))
        safe = np.where(t.aspecular[:, None], inner, np.minimum(inner, most))
        pole = 1.0 - k2 * safe
        slope = gain * (1.0 - k2) / pole**2
        # Beyond the largest it goes on along its tangent, so that a step too far finds back.
        core = gain * (1.0 - k2) * safe / pole + slope * (inner - safe)
        # d/dk2 of (1-k2) R / (1 - k2 R) is -(R - R^2) / (1 - k2 R)^2; times dk2/dlogit.
        by_k2 = gain * (safe**2 - safe) / pole**2 * k2 * (1.0 - k2)
        gloss = np.where(t.glossy, EXTERNAL_K1, 0.0)
        return State(
            reflectance=core + (haze + gloss)[:, None] * scale,
            by_ground=slope * filtered,
            by_absorbance=slope * by_shown,
            by_scatter=slope * phi * veil,
            by_veil=slope * inner,
            by_k2=by_k2,
            by_gain=0.06 * core * uncleared[:, None],
            absorption=absorption,
            scattering=scattering,
            dose=dose,
            by_slope=by_slope,
            by_bend=by_bend,
            by_first=by_first,
            by_later=by_later,
            weight=weight,
            ground=ground,
            mixed=mixed,
            haze=(np.where(uncleared, 0.8, 1.0) * haze)[:, None] * scale,
        )

    def jacobian(self, s: State, z: Array, t: RecipeTable, m: Array) -> tuple[Array, Array]:
        """Carry derivatives by reflectance back to the free values.

        Shapes: jacobian (n, k, size), effects (n, k, 2).
        """
        n, k, _ = m.shape
        p, at = self.priors, self.slices
        out = np.zeros((n, k, self.size))
        by_ground = m * s.by_ground[:, None, :]
        by_k2 = np.einsum("nkb,nb->nk", m, s.by_k2)

        def fill(name: str, scale: Array, block: Array) -> None:
            # scale (n, j) times block (n, k, v) for each of j owners.
            full = scale[:, None, :, None] * block[:, :, None, :]
            out[:, :, at[name]] = full.reshape(n, k, -1)

        fill("ground", s.weight, by_ground @ self.curves["ground"])
        fill("ground wave", s.weight, by_ground @ self.curves["ground wave"])
        q = len(self.words.geometries)
        if q > 1:
            member = (t.geometry[:, None] == np.arange(1, q)).astype(float)
            owners = (member[:, :, None] * s.weight[:, None, :]).reshape(n, -1)
            fill("geometry", owners, by_ground @ self.curves["geometry"])
        if self.words.pairs:
            fill("ladder", self._ladder_shares(t), by_ground @ self.curves["ladder"])
            own = s.ground if s.ground.ndim == 3 else s.ground[None]
            plain = np.einsum("ng,ngb->nb", s.weight, np.broadcast_to(own, (n, *own.shape[1:])))
            gaps = np.einsum("nkb,ngb->nkg", by_ground, own - plain[:, None, :])
            own_k2 = z[at["own k2"]]
            gaps += by_k2[:, :, None] * (own_k2 - (s.weight @ own_k2)[:, None])[:, None, :]
            out[:, :, at["hiding"]] = 0.7 * s.weight[:, None, :] * gaps
        by_a, by_s, dosed = self._by_dose(s, m)
        waves, level = self.curves["colour wave"], self.curves["colour"]
        for c in range(len(self.words.colours)):
            weighted = by_a * (s.dose[:, c, None] * s.absorption[c])[:, None, :]
            v = waves.shape[1]
            start = at["colour wave"].start + c * v
            out[:, :, start : start + v] = weighted @ waves
            out[:, :, at["colour"].start + c] = weighted @ level[:, 0]
            weighted = by_s * (s.dose[:, c, None] * s.scattering[c])[:, None, :]
            start = at["scatter"].start + 2 * c
            out[:, :, start : start + 2] = weighted @ self.curves["scatter"]
        out[:, :, at["own slope"]] = dosed * s.by_slope[:, None, :] * p.own_slope_sd
        shared = (s.by_slope * p.slope_sd, s.by_bend, s.by_first, s.by_later)
        for j, by in enumerate(shared):
            out[:, :, at["dose"].start + j] = np.einsum("nkc,nc->nk", dosed, by)
        film = np.einsum("nkc,nc->nk", dosed, s.dose)
        surface = at["surface"].start
        out[:, :, surface] = p.k2_sd * by_k2 * t.cleared[:, None]
        out[:, :, surface + 1] = p.k2_sd * by_k2 * ~t.cleared[:, None]
        out[:, :, at["own k2"]] = by_k2[:, :, None] * s.weight[:, None, :]
        by_haze = np.einsum("nkb,nb->nk", m, np.broadcast_to(s.haze, s.reflectance.shape))
        out[:, :, surface + 2] = by_haze * ~t.cleared[:, None]
        out[:, :, surface + 4] = by_haze * t.cleared[:, None]
        out[:, :, surface + 3] = np.einsum("nkb,nb->nk", m, s.by_gain)
        by_colour = dosed * s.dose[:, None, :]
        by_level = by_ground.sum(axis=2)
        for j in range(len(self.words.sprayers)):
            out[:, :, at["sprayer"].start + j] = film * (t.sprayer == j)[:, None]
        for j in range(len(self.words.lots)):
            out[:, :, at["lot"].start + j] = np.einsum("nkc,nc->nk", by_colour, t.lot == j)
        for j in range(len(self.words.batches)):
            of = (s.weight * (t.batch == j)).sum(axis=1)
            out[:, :, at["batch"].start + j] = by_level * of[:, None]
        if self.words.days:
            out[:, :, at["drift"]] = film[:, :, None] * motion(t.time)[:, None, :]
        if self.words.clears:
            own = -(m * s.by_veil[:, None, :]) @ self.curves["clear"]
            fill("clear", _members(t.clear, len(self.words.clears)), own)
        if self.words.instruments:
            read = (m * s.reflectance[:, None, :]) @ self.curves["clear"]
            fill("instrument", _members(t.instrument, len(self.words.instruments)), read)
        return out, np.stack([film, by_level], axis=2)

    @staticmethod
    def _by_dose(s: State, m: Array) -> tuple[Array, Array, Array]:
        by_a = m * s.by_absorbance[:, None, :]
        by_s = m * s.by_scatter[:, None, :]
        # Effect of one unit more of each colour's dose, shape (n, k, c).
        return by_a, by_s, by_a @ s.absorption.T + by_s @ s.scattering.T

    def effects(self, s: State, m: Array) -> Array:
        """Return what varies from panel to panel; shape (n, k, 2)."""
        film = np.einsum("nkc,nc->nk", self._by_dose(s, m)[2], s.dose)
        return np.stack([film, np.einsum("nkb,nb->nk", m, s.by_ground)], axis=2)


def motion(time: Array) -> Array:
    """Return what drift is made of: the slowest waves of a Brownian motion (Karhunen and Loève).

    Shapes: (n, 3).
    """
    turn = (np.arange(_MOTIONS) + 0.5) * np.pi
    known = np.nan_to_num(np.clip(time, 0.0, 1.0))[:, None]
    waves = np.sqrt(2.0) * np.sin(turn * known) / turn
    unknown = np.isnan(time)[:, None]
    return np.asarray(np.where(unknown, np.sqrt(2.0) / turn**2, waves), float)


def _pick(values: Array, place: NDArray[np.intp]) -> Array:
    """Each row's value, 0 where it has none."""
    padded: Array = np.concatenate([values, np.zeros((1, *values.shape[1:]))])
    return np.asarray(padded[place])


def _members(place: NDArray[np.intp], count: int) -> Array:
    return np.asarray(place[:, None] == np.arange(count), float)


def _bent(x: Array, bend: float) -> tuple[Array, Array]:
    """The integral of exp(bend x) from 0, which only rises, and its derivative by the bend."""
    u = np.clip(bend * x, -20.0, 20.0)
    small = np.abs(u) < 1e-3
    v = np.where(small, 1.0, u)
    line = x * np.where(small, 1.0 + u / 2.0 + u**2 / 6.0, np.expm1(v) / v)
    curve = x**2 * np.where(small, 0.5 + u / 3.0 + u**2 / 8.0, (np.exp(v) * (v - 1.0) + 1.0) / v**2)
    return line, curve
