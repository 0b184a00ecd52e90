"""The film law with its free values: recipes in, reflectance and its exact derivatives out.

A row's internal reflectance is ``rho exp(-A) + S (1 - exp(-A)) / A`` (see `matchlib.film`) with

* ``log rho``: the ground's spectrum. A blend of grounds is the mean of the logarithms weighted by
  share times hiding strength (a dark flake counts for more than its share), plus a ladder term
  per pair that vanishes at both ends;
* ``A = path * sum of dose_c a_c``: ``a_c > 0`` the absorption spectrum of colour c for one coat
  of 6:1;
* ``S = path * sum of dose_c s_c``: ``s_c > 0`` the little that a colour hides, level and tilt;
* ``dose_c = share_c * sum over steps of h_c(fraction) * coats``, where ``log h`` is linear in the
  logarithm of the fraction with a slope near 1 and a slight bend (absorption in translucent
  coatings is not exactly linear in concentration: Gorji Bandpay et al. 2018), the first coat lays
  thinner, and later ones may lay a little more or less.

A is that of an even film. Where the evidence is for it, the film is found to leave some of the
ground bare (`matchlib.film.patchy_absorbance`), more or less so by colour, ground and build.

Then the surface (Saunderson 1942; `matchlib.film.saunderson`), with its own internal reflectance
under clear coat and without, and residual fields for what the law leaves (`Residual`).

Every derivative is written out by the chain rule; a test compares them with differences.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from matchlib.film import EXTERNAL_K1, INTERNAL_K2, patchy_absorbance, single_scatter
from matchlib.regression.priors import Priors
from matchlib.regression.residual import Residual
from matchlib.regression.state import State
from matchlib.regression.table import RecipeTable, Vocabulary

__all__ = ["FilmLaw"]

Array = NDArray[np.float64]

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
    residual : Residual
        The fields of what the law leaves; empty for none.
    """

    words: Vocabulary
    priors: Priors
    residual: Residual
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
            **{part.name: (part.size, part.name) for part in self.residual.parts},
        }
        slices, groups, owner, at = {}, [], [], 0
        for name, (size, group) in sizes.items():
            slices[name] = slice(at, at + size)
            at += size
            if group not in groups:
                groups.append(group)
            owner += [groups.index(group)] * size
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

        Parameters
        ----------
        z : ndarray, shape (size,)
            Free values.

        Returns
        -------
        log_ground : ndarray, shape (q, g, b)
            Log internal reflectance of the base grounds by geometry.
        absorption : ndarray, shape (c, b)
            Absorbance of one coat of 6:1, both ways at 45:0 [-].
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

    def plain(self, z: Array) -> tuple[FilmLaw, Array]:
        """Return the law without its residual fields.

        Parameters
        ----------
        z : ndarray, shape (size,)
            Free values.

        Returns
        -------
        law : FilmLaw
            The film alone.
        z : ndarray
            Its values among those given.
        """
        alone = FilmLaw(self.words, self.priors, Residual())
        return alone, z[: alone.size]

    def _take(self, z: Array, name: str, count: int) -> Array:
        curves = self.curves[name]
        result: Array = z[self.slices[name]].reshape(count, curves.shape[1]) @ curves.T
        return result

    def _doses(self, z: Array, t: RecipeTable) -> tuple[Array, ...]:
        p = self.priors
        slope, bend, first, later = z[self.slices["dose"]]
        slopes = 1.0 + p.slope_sd * slope + p.own_slope_sd * z[self.slices["own slope"]]
        coats = (
            t.coats
            - (p.first_coat + p.first_coat_sd * first) * t.first
            + p.later_sd * later * t.logk
        )
        people = z[self.slices["sprayer"]]
        person = np.append(people, 0.0)[t.sprayer] if len(people) else np.zeros(len(t))
        laid = t.path * np.exp(person)
        share = t.colour_share * laid[:, None] * np.exp(self.residual.film(z, self.slices, t))
        x = t.bend
        bent = slopes[None, :, None] * x[:, None, :] + (p.bend_sd * bend * x**2)[:, None, :]
        h = np.exp(np.clip(bent, -12.0, 6.0))
        # Sum over steps; a padded step has no coats and drops out.
        dose = share * (h * coats[:, None, :]).sum(axis=2)
        by_slope = share * (h * (coats * x)[:, None, :]).sum(axis=2)
        by_bend = share * (h * (coats * x**2)[:, None, :]).sum(axis=2) * p.bend_sd
        by_first = -share * (h * t.first[:, None, :]).sum(axis=2) * p.first_coat_sd
        by_later = share * (h * t.logk[:, None, :]).sum(axis=2) * p.later_sd
        return dose, by_slope, by_bend, by_first, by_later

    def _ground(self, z: Array, t: RecipeTable, log_ground: Array) -> tuple[Array, Array, Array]:
        strength = t.ground_share * np.exp(0.7 * z[self.slices["hiding"]])
        weight = strength / strength.sum(axis=1, keepdims=True)
        if len(log_ground) == 1:
            ground = log_ground[0]
            mixed = weight @ ground
        else:
            ground = log_ground[np.maximum(t.geometry, 0)]
            mixed = np.einsum("ng,ngb->nb", weight, ground)
        if self.words.pairs:
            ladder = self._take(z, "ladder", 2 * len(self.words.pairs))
            mixed = mixed + self._ladder_shares(t) @ ladder
        return weight, ground, mixed

    def _ladder_shares(self, t: RecipeTable) -> Array:
        a, b = np.array(self.words.pairs, np.intp).T
        sa, sb = t.ground_share[:, a], t.ground_share[:, b]
        product = 4.0 * sa * sb
        return np.stack([product, product * (sa - sb)], axis=2).reshape(len(t), -1)

    def evaluate(self, z: Array, t: RecipeTable) -> State:
        """Evaluate the law.

        Parameters
        ----------
        z : ndarray, shape (size,)
            Free values.
        t : RecipeTable
            n rows.

        Returns
        -------
        State
            Reflectance, shape (n, 31), and its derivatives.
        """
        log_ground, absorption = self.spectra(z)
        weight, ground, mixed = self._ground(z, t, log_ground)
        dose, by_slope, by_bend, by_first, by_later = self._doses(z, t)
        scattering = self.priors.scatter * np.exp(
            np.clip(self._take(z, "scatter", len(self.words.colours)), -8.0, 4.0)
        )
        bare, by_odds = self.residual.bare(z, self.slices, t)
        a, a_slope, a_bare = patchy_absorbance(dose @ absorption, bare[:, None])
        s = dose @ scattering
        phi, phi_slope = single_scatter(a)
        field_ = np.exp(self.residual.field(z, self.slices, t))
        filtered = np.exp(np.minimum(mixed - a, 4.0)) * field_
        inner = filtered + s * phi * field_
        by_shown = s * phi_slope * field_ - filtered
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
        gain = np.where(uncleared, np.exp(0.06 * gain_z), 1.0)[:, None] * (1.0 - EXTERNAL_K1)
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
            reflectance=core + (haze + gloss)[:, None],
            by_ground=slope * filtered,
            by_absorbance=slope * by_shown * a_slope,
            by_bare=slope * by_shown * a_bare * by_odds[:, None],
            by_scatter=slope * phi * field_,
            by_field=slope * inner,
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
            haze=np.where(uncleared, 0.8, 1.0) * haze,
        )

    def jacobian(self, s: State, z: Array, t: RecipeTable, m: Array) -> tuple[Array, Array]:
        """Carry derivatives by reflectance back to the free values.

        Parameters
        ----------
        s : State
            The law at `z`.
        z : ndarray, shape (size,)
            Free values.
        t : RecipeTable
            n rows.
        m : ndarray, shape (n, k, b)
            Derivative of k observations by measured reflectance.

        Returns
        -------
        jacobian : ndarray, shape (n, k, size)
            Derivative of the observations by the free values.
        effects : ndarray, shape (n, k, 2)
            As `effects` gives them.
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
        by_haze = m.sum(axis=2) * s.haze[:, None]
        out[:, :, surface + 2] = by_haze * ~t.cleared[:, None]
        out[:, :, surface + 4] = by_haze * t.cleared[:, None]
        out[:, :, surface + 3] = np.einsum("nkb,nb->nk", m, s.by_gain)
        for j in range(len(self.words.sprayers)):
            out[:, :, at["sprayer"].start + j] = film * (t.sprayer == j)[:, None]
        self.residual.fill(
            out,
            at,
            t,
            by_film=dosed * s.dose[:, None, :],
            by_bare=np.einsum("nkb,nb->nk", m, s.by_bare),
            by_field=m * s.by_field[:, None, :],
        )
        return out, np.stack([film, by_ground.sum(axis=2)], axis=2)

    @staticmethod
    def _by_dose(s: State, m: Array) -> tuple[Array, Array, Array]:
        by_a = m * s.by_absorbance[:, None, :]
        by_s = m * s.by_scatter[:, None, :]
        # Effect of one unit more of each colour's dose, shape (n, k, c).
        return by_a, by_s, by_a @ s.absorption.T + by_s @ s.scattering.T

    def effects(self, s: State, m: Array) -> Array:
        """Return what varies from panel to panel.

        Parameters
        ----------
        s : State
            The law, n rows.
        m : ndarray, shape (n, k, b)
            Derivative of k observations by measured reflectance.

        Returns
        -------
        ndarray, shape (n, k, 2)
            Derivative by the logarithm of the whole film and of the ground's level.
        """
        film = np.einsum("nkc,nc->nk", self._by_dose(s, m)[2], s.dose)
        return np.stack([film, np.einsum("nkb,nb->nk", m, s.by_ground)], axis=2)
