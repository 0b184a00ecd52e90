"""How a phone with a chart has read before: what it has learnt from panels that an instrument read.

A camera's eye for colour and a chart's print are wrong in the same way each time, alike for alike
colours. What they were wrong by on panels that were also read by an instrument is carried over to
a new colour by kriging (Matheron 1963; Rasmussen and Williams 2006, 'Gaussian Processes for Machine
Learning', eq. 2.25 and 2.26), the uncertainty that photographs share being the belief before.
Panels taken under one light share that light's error, which new light does not repeat.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from matchlib.domain import three
from matchlib.errors import DomainError
from matchlib.readings.photo.estimate import COMMON, PhotoReading, reading_of
from matchlib.tails import symmetric_root

__all__ = ["Profile"]

Array = NDArray[np.float64]

_ALL = 0.5  # share of the common error that all colours have alike
_REACH = 40.0  # ΔE*ab over which the rest is alike
_LIGHT = 1.0  # sd of what photographs under one light share beside that [ΔE*ab]
_STRAY = 5.0  # standard deviations at which a pair is taken for two different panels
_MOST = 200  # pairs that are kept, the newest


@dataclass(frozen=True)
class Pair:
    """A panel that was photographed and read by an instrument."""

    photo: tuple[float, ...]  # L*, a*, b*, D65/10°
    instrument: tuple[float, ...]
    common: tuple[tuple[float, ...], ...]  # covariance (3, 3) of the photograph, what all share
    own: tuple[tuple[float, ...], ...]  # and the rest of it
    light: str = ""  # what it was taken in: a word or a day


def shared(photo: PhotoReading) -> tuple[Array, Array]:
    """Return a reading's covariance by what photographs share, and by the rest, (3, 3) each."""
    common = np.sum([photo.parts[n] for n in COMMON if n in photo.parts], axis=0)
    return np.asarray(common), np.asarray(photo.covariance - common)


@dataclass(frozen=True)
class Profile:
    """A phone with a chart.

    Parameters
    ----------
    name : str
        Of the phone, as its pictures or its owner call it.
    pairs : tuple of Pair
        What was read by both.
    """

    name: str
    pairs: tuple[Pair, ...] = ()

    def learnt(
        self, photo: PhotoReading, instrument: Sequence[float], *, light: str = ""
    ) -> Profile:
        """Return the profile with one more panel that was read by both.

        Parameters
        ----------
        photo : PhotoReading
            As read, before any profile.
        instrument : sequence of 3 float
            The instrument's L*, a*, b*, D65/10°.
        light : str
            What light the photograph was taken in.

        Returns
        -------
        Profile
            The newest pairs of it.

        Raises
        ------
        DomainError
            If the instrument's numbers are no Lab, or cannot be of the same panel.
        """
        lab = tuple(float(v) for v in instrument)
        if len(lab) != 3 or not all(np.isfinite(lab)):
            raise DomainError(
                "This is no reading of an instrument.",
                expected="L, a and b",
                got=repr(lab),
                remedy="read the panel again with the instrument.",
            )
        away = np.subtract(photo.lab, lab)
        z2 = away @ np.linalg.solve(photo.covariance, away)
        if z2 > _STRAY**2:
            raise DomainError(
                "Photograph and instrument cannot have read the same panel.",
                expected=f"readings within {_STRAY:g} standard deviations",
                got=f"{np.sqrt(z2):.0f} standard deviations apart",
                remedy="look whether the right panel is marked, and that the codes are right.",
            )
        common, own = shared(photo)
        pair = Pair(photo.lab, lab, tuple(map(three, common)), tuple(map(three, own)), light)
        return replace(self, pairs=(*self.pairs, pair)[-_MOST:])

    def applied(self, photo: PhotoReading) -> PhotoReading:
        """Return a reading as this phone's past corrects it.

        Parameters
        ----------
        photo : PhotoReading
            As read.

        Returns
        -------
        PhotoReading
            With ``profile`` in place of the parts that photographs share; the same where nothing
            was learnt yet.
        """
        if not self.pairs:
            return photo
        common, _ = shared(photo)
        colours = np.array([p.instrument for p in self.pairs])
        roots = symmetric_root(np.array([p.common for p in self.pairs]))
        count = len(self.pairs)
        alike = _alike(colours, colours)
        inner = np.einsum("mn,mij,nkj->mink", alike, roots, roots)
        inner = inner.reshape(3 * count, 3 * count)
        lights = np.array([p.light for p in self.pairs])
        same = (lights[:, None] == lights[None, :]) & (lights != "")[:, None]
        inner += _LIGHT**2 * np.kron(same | np.eye(count, dtype=bool), np.eye(3))
        for i, pair in enumerate(self.pairs):
            inner[3 * i : 3 * i + 3, 3 * i : 3 * i + 3] += np.array(pair.own)
        to = _alike(np.array([photo.lab]), colours)[0]
        across = np.einsum("n,ij,nkj->ink", to, symmetric_root(common), roots).reshape(3, 3 * count)
        away = np.ravel([np.subtract(p.photo, p.instrument) for p in self.pairs])
        gain = np.linalg.solve(inner, across.T).T
        # Where what was read is further off than was believed, all of it is believed less.
        worse = max(1.0, float(away @ np.linalg.solve(inner, away)) / (3 * count))
        left = (common - gain @ across.T) * worse
        parts = {n: v for n, v in photo.parts.items() if n not in COMMON}
        parts["profile"] = _positive(left)
        lab = np.array(photo.lab) - gain @ away
        return replace(photo, reading=reading_of(lab, parts), parts=parts)


def _alike(one: Array, two: Array) -> Array:
    apart2 = np.sum((one[:, None] - two[None]) ** 2, axis=2)
    return np.asarray(_ALL + (1.0 - _ALL) * np.exp(-0.5 * apart2 / _REACH**2))


def _positive(covariance: Array) -> Array:
    size, axes = np.linalg.eigh((covariance + covariance.T) / 2.0)
    return np.asarray((axes * np.maximum(size, 0.05)) @ axes.T)
