"""Light at all angles in a coating on a ground, written from the literature.

Light crosses the surface by Fresnel's equations, runs through the film at the slant it was bent to,
returns from the ground at all angles, and is kept under the surface by angle (Williams and Clapper
1953, J. Opt. Soc. Am. 43, 595): a set of streams stands for all angles, and every further return is
added up. Diffuse illumination or collection is the same by reciprocity. What the film scatters it
scatters once, evenly (Chandrasekhar 1950, Radiative Transfer). Flakes are facets about a mean tilt
(Torrance and Sparrow 1967, J. Opt. Soc. Am. 57, 1105; tilts by Beckmann). Citations from memory.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from scipy.special import roots_legendre

from tests.benchmarks.lightlab import Array

__all__ = [
    "INDEX",
    "Coating",
    "Flakes",
    "Streams",
    "droplets",
    "flakes",
    "fresnel",
    "light_out",
    "looking",
]

INDEX = 1.5
"""Refractive index of film and clear coat."""


def fresnel(cosine: Array, index: float = INDEX) -> Array:
    """Reflectance of unpolarised light meeting a smooth surface from outside (Born and Wolf)."""
    inside = np.sqrt(1 - (1 - cosine**2) / index**2)
    s = (cosine - index * inside) / (cosine + index * inside)
    p = (inside - index * cosine) / (inside + index * cosine)
    return (s * s + p * p) / 2


@dataclass(frozen=True)
class Streams:
    """Angles in the film: those shut in by total reflection, then those that can leave.

    The last of them is where the instrument looks, and weighs nothing.
    """

    cosine: Array
    share: Array  # of a flux that is the same at every angle
    kept: Array  # Fresnel reflectance from inside

    @classmethod
    def looking(cls, view: float, *, shut: int = 4, free: int = 5) -> Streams:
        """Streams and a view at a cosine outside the film."""
        edge = np.sqrt(1 - 1 / INDEX**2)
        x, w = roots_legendre(shut)
        low, low_share = edge * (x + 1) / 2, edge**2 * w * (x + 1) / 2
        x, w = roots_legendre(free)
        out = (x + 1) / 2
        high = np.sqrt(1 - (1 - out**2) / INDEX**2)
        high_share = w * out / INDEX**2  # d(mu^2) is the same on both sides but for the index
        seen = np.sqrt(1 - (1 - view**2) / INDEX**2)
        return cls(
            np.concatenate([low, high, [seen]]),
            np.concatenate([low_share, high_share, [0.0]]),
            np.concatenate([np.ones(shut), fresnel(out), [fresnel(np.array(view))]]),
        )


@dataclass(frozen=True)
class Flakes:
    """Facets of one spread of tilt, as seen by the streams and by a beam."""

    streams: Array  # (M, M) radiance factor at the first from the second, every azimuth
    beam: Array  # (M,) from the beam, at the view in its own plane

    @classmethod
    def of(cls, tilt: float, streams: Streams, beam: float, slant: float) -> Flakes:
        """Flakes under a beam at a cosine in the film, the view so far [rad] from its mirror."""
        mu, into = streams.cosine, np.append(streams.cosine, beam)
        pairs = _facets(tilt, mu[:, None], into)
        # Few streams sample a narrow lobe badly: what they return in all is set to what it is.
        x, w = roots_legendre(200)
        whole = (w * (x + 1) / 2) @ _facets(tilt, ((x + 1) / 2)[:, None], into)
        pairs *= whole / (streams.share @ pairs)
        at_view = _facet(tilt, mu[-1], beam, np.cos(slant / 2), np.cos(np.arccos(beam) - slant / 2))
        return cls(pairs[:, :-1], np.append(pairs[:-1, -1], at_view))


def _facet(tilt: float, out: Array, into: Array, upright: Array, half: Array) -> Array:
    """Radiance factor of facets whose normal stands `upright`, `half` the way from out to in."""
    slope = np.exp((1 - 1 / upright**2) / tilt**2) / (np.pi * tilt**2 * upright**4)  # Beckmann
    groove = np.minimum(1.0, 2 * upright * np.minimum(out, into) / half)  # Torrance, Sparrow
    return np.pi * slope * groove / (4 * out * into)


def _facets(tilt: float, out: Array, into: Array) -> Array:
    """The same as a mean over azimuth."""
    azimuth = np.cos((np.arange(96) + 0.5) * np.pi / 96)
    sines = np.sqrt(1 - out**2) * np.sqrt(1 - into**2)
    half = np.sqrt((1 + (out * into)[..., None] + sines[..., None] * azimuth) / 2)
    upright = np.minimum((out + into)[..., None] / (2 * half), 1.0)
    both = np.broadcast_arrays(out[..., None], into[..., None])
    return _facet(tilt, *both, upright, half).mean(axis=-1)


@dataclass(frozen=True)
class Coating:
    """What lies on the ground and the ground: arrays that broadcast to (panels, 31, places)."""

    film: Array  # optical thickness of the colour, all that leaves a beam
    scatter: Array  # of it by scattering
    clear: Array  # optical thickness of the clear coat
    diffuse: Array  # reflectance of the ground, in the film
    flake: Array


def light_out(
    coating: Coating, lobe: Flakes, streams: Streams, *, beam: float, all_round: bool
) -> Array:
    """Reflectance factor at the view of `streams`, or of all light out, under a beam in the film.

    Every return from ground and surface is followed; after some the rest is a geometric series.
    """
    mu, q, kept = streams.cosine, streams.share, streams.kept
    film = coating.film[..., None]
    down, veil = np.exp(-film / mu), np.exp(-coating.clear[..., None] / mu)
    outside = np.sqrt(1 - (1 - beam**2) * INDEX**2)
    entered = (1 - fresnel(np.array(outside))) * np.exp(-coating.clear / beam)
    ground_beam = entered * np.exp(-coating.film / beam)
    lobes = (lobe.streams * q).T

    def ground(d: Array, straight: Array | float = 0.0) -> Array:
        straight = np.asarray(straight)[..., None]
        even = coating.diffuse[..., None] * ((d @ q)[..., None] + straight)
        return even + coating.flake[..., None] * (d @ lobes + lobe.beam * straight)

    # Light scattered once, from every stream and from the beam into every stream.
    turbid = bool(np.any(coating.scatter > 0))
    if turbid:
        albedo = (coating.scatter / coating.film / 4)[..., None, None]
        source = np.append(mu, beam)
        more = film[..., None]
        sent_back = albedo * -np.expm1(-more * (1 / mu[:, None] + 1 / source))
        sent_back /= mu[:, None] + source
        apart = mu[:, None] - source
        apart = np.where(np.abs(apart) < 1e-9, 1e-9, apart)
        sent_on = -np.expm1(-more * apart / (mu[:, None] * source)) / apart
        sent_on *= albedo * np.exp(-more / mu[:, None])
        back, on = sent_back[..., :-1] * q, sent_on[..., :-1] * q

    def scattered(how: Array, light: Array) -> Array:
        return (how @ light[..., None])[..., 0]

    def leaving(light: Array) -> Array:
        light = light * veil
        return light @ (q * (1 - kept)) if all_round else light[..., -1] * (1 - kept[-1]) / INDEX**2

    if turbid:
        up = ground(sent_on[..., -1] * entered[..., None], ground_beam)
        top = down * up + scattered(on, up) + sent_back[..., -1] * entered[..., None]
    else:
        up = ground(np.zeros_like(down), ground_beam)
        top = down * up
    out = last = leaving(top)
    for _ in range(8):
        again = veil**2 * kept * top
        below = down * again
        if turbid:
            below = below + scattered(on, again) + scattered(back, up)
        up = ground(below)
        top = down * up
        if turbid:
            top = top + scattered(on, up) + scattered(back, again)
        last, before = leaving(top), last
        out = out + last
    rate = np.clip(last / np.maximum(before, 1e-300), 0.0, 0.95)
    return out + last * rate / (1 - rate)


def droplets(shape: float, places: int = 3) -> tuple[Array, Array]:
    """Film at some places, of its mean, and their weights: a gamma distribution's Gauss rule.

    From the recurrence of the Laguerre polynomials (Golub and Welsch 1969).
    """
    i = np.arange(places)
    beside = np.sqrt(i[1:] * (i[1:] + shape - 1))
    at, vectors = np.linalg.eigh(np.diag(2 * i + shape) + np.diag(beside, 1) + np.diag(beside, -1))
    return at / shape, vectors[0] ** 2


@cache
def looking(geometry: str) -> tuple[Streams, float, float, bool]:
    """Streams, cosine of the beam in the film, its slant to the mirror [rad], all light or a view.

    Diffuse illumination at a view of 8 degrees is, by reciprocity, all the light out of a beam
    that comes in there.
    """
    if "d" in geometry:
        beam = np.sqrt(1 - (np.sin(np.radians(8)) / INDEX) ** 2)
        return Streams.looking(1.0), float(beam), 0.0, True
    turn = np.radians(45 - float(geometry[4:])) if geometry.startswith("45as") else 0.0
    beam = np.arcsin(np.sin(np.pi / 4) / INDEX)
    slant = beam - np.arcsin(np.sin(turn) / INDEX)
    return Streams.looking(float(np.cos(turn))), float(np.cos(beam)), float(slant), False


@cache
def flakes(tilt: float, geometry: str) -> Flakes:
    """Flakes of a tilt as that geometry sees them."""
    streams, beam, slant, _ = looking(geometry)
    return Flakes.of(tilt, streams, beam, slant)
