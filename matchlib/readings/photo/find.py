"""Where the chart lies in a picture: found by OpenCV or clicked, then fitted patch by patch.

OpenCV's detector (its module `mcc`, no downloaded model) proposes; the proposal stands only if
the 24 colours, in one of the four ways round, are those of the chart.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from matchlib.colorimetry import delta_e00, xyz_to_lab
from matchlib.errors import DomainError
from matchlib.readings.photo.chart import CENTRES, WHITE, chart_xyz
from matchlib.readings.photo.image import Picture
from matchlib.readings.photo.refusal import PhotoRefused

__all__ = ["Chart", "find_chart", "quad_of"]

Array = NDArray[np.float64]

_SEARCH = 1400  # pixels of the longer side in which to search
_FIT = 12.0  # mean ΔE00 of a rough fit above which colours are not the chart's
_SAMPLE = 0.25  # half side of what is sampled of a patch [pitch]
_UNIT: Array = np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])
_OUTER: Array = np.array([[-0.41, -0.41], [5.41, -0.41], [5.41, 3.41], [-0.41, 3.41]])
_REMEDY = (
    "photograph the whole chart, sharp and large in the picture, or mark the outer corners of its "
    "four corner patches on the picture."
)


@dataclass(frozen=True)
class Chart:
    """A chart found in a picture."""

    homography: Array  # (3, 3), from the chart's plane [pitch; the brown patch at 0] to pixels

    def to_pixels(self, points: ArrayLike) -> Array:
        """Return pixels of points of the chart's plane; shape (n, 2)."""
        return _mapped(self.homography, np.asarray(points, dtype=np.float64))

    def to_plane(self, pixels: ArrayLike) -> Array:
        """Return points of the chart's plane of pixels; shape (n, 2)."""
        inverse: Array = np.linalg.inv(self.homography).astype(np.float64)
        return _mapped(inverse, np.asarray(pixels, dtype=np.float64))

    def patch(self, number: int) -> Array:
        """Return what is sampled of a patch; shape (4, 2)."""
        return self.to_pixels(CENTRES[number] + _SAMPLE * _UNIT)

    @property
    def corners(self) -> Array:
        """Outer corners of its corner patches, from the brown one, shape (4, 2) [pixel]."""
        return self.to_pixels(_OUTER)

    @property
    def outline(self) -> Array:
        """Corners of the chart with its usual margin, shape (4, 2) [pixel]."""
        return self.to_pixels(np.array([[-0.8, -0.8], [5.8, -0.8], [5.8, 3.8], [-0.8, 3.8]]))

    def covers(self, point: Array) -> bool:
        """Return whether a point of the picture lies on the chart."""
        import cv2

        return cv2.pointPolygonTest(self.outline.astype(np.float32), point.tolist(), False) >= 0

    @property
    def pitch(self) -> float:
        """Distance of neighbouring patches, in the mean [pixel]."""
        around = np.linalg.norm(np.roll(self.corners, -1, axis=0) - self.corners, axis=1).sum()
        return float(around / (2 * (5.82 + 3.82)))


def quad_of(points: object, size: tuple[int, int], what: str) -> Array:
    """Return four corners, (4, 2), in order around, of corners or a rectangle that a user gives."""
    import cv2

    try:
        given = np.asarray(points, dtype=np.float64)
    except (TypeError, ValueError):
        given = np.zeros(0)
    if given.shape == (4,):
        x, y, w, h = given
        given = np.array([[x, y], [x + w, y], [x + w, y + h], [x, y + h]])
    good = given.shape == (4, 2) and bool(np.all(np.isfinite(given)))
    if good:
        good = bool(np.all(given >= -1) and np.all(given <= np.array(size) + 1))
    if good:
        centre = given.mean(axis=0)
        angle = np.arctan2(given[:, 1] - centre[1], given[:, 0] - centre[0])
        order = np.argsort((angle - angle[0]) % (2 * np.pi))
        given = given[order]
        shape = given.astype(np.float32)
        good = bool(cv2.isContourConvex(shape)) and float(cv2.contourArea(shape)) >= 100.0
    if not good:
        raise DomainError(
            f"These are not corners of the {what} in the picture.",
            expected=f"four corners (x, y) within {size[0]} by {size[1]} pixels",
            got=repr(points)[:120],
            remedy="mark the four corners again, one after the other around.",
        )
    return given


def find_chart(
    picture: Picture, lab: Array, *, corners: Sequence[Sequence[float]] | None = None
) -> Chart:
    """Find the chart."""
    xyz = chart_xyz(lab)
    if corners is not None:
        proposals = [quad_of(corners, picture.size, "chart")]
    else:
        proposals = _detected(picture)
    found = []
    for proposal in proposals:
        # The four ways in which the same four corners can be those of the chart.
        turned = [Chart(_homography(_OUTER, np.roll(proposal, k, axis=0))) for k in range(4)]
        misfits = [_misfit(picture, chart, xyz) for chart in turned]
        which = int(np.argmin(misfits))
        if np.isfinite(misfits[which]):
            found.append((misfits[which], turned[which]))
    fit, best = min(found, key=lambda f: f[0], default=(np.inf, None))
    if best is not None and any(
        misfit < _FIT and not best.covers(chart.corners.mean(axis=0)) for misfit, chart in found
    ):
        raise PhotoRefused(
            "two charts",
            "There is more than one reference chart in this picture.",
            expected="one chart, the one that lies in the panel's light",
            got="two or more",
            remedy="mark the corners of the one that counts: the cleaner and newer one.",
        )
    if best is None:
        raise PhotoRefused(
            "no chart",
            "No 24-patch reference chart was found in this picture.",
            expected="the whole chart beside the panel, sharp, and not too slanted",
            got="no such pattern of squares",
            remedy=_REMEDY,
        )
    refined = Chart(_refined(picture, best))
    better = _misfit(picture, refined, xyz)
    if better <= fit * 1.1:
        best, fit = refined, min(better, fit)
    if fit > _FIT:
        raise PhotoRefused(
            "no chart",
            "What lies there has not the colours of a 24-patch reference chart.",
            expected=f"colours that fit the chart's within a mean ΔE00 of {_FIT:g}",
            got=f"{fit:.0f}",
            remedy=_REMEDY,
        )
    return best


def _mapped(homography: Array, points: Array) -> Array:
    whole = np.column_stack([points, np.ones(len(points))]) @ homography.T
    return np.asarray(whole[:, :2] / whole[:, 2:])


def _homography(plane: Array, pixels: Array) -> Array:
    import cv2

    return np.asarray(
        cv2.getPerspectiveTransform(plane.astype(np.float32), pixels.astype(np.float32)),
        dtype=np.float64,
    )


def _detected(picture: Picture) -> list[Array]:
    """Outer corners of what may be charts, shape (4, 2) each."""
    import cv2

    if not hasattr(cv2, "mcc"):
        raise PhotoRefused(
            "no chart",
            "The installed OpenCV cannot look for charts.",
            expected="OpenCV 5",
            got=str(cv2.__version__),
            remedy="mark the chart's four corners on the picture, or install OpenCV 5.",
        )
    small, scale = picture.screen(_SEARCH)
    detector = cv2.mcc.CCheckerDetector.create()
    detector.setColorChartType(cv2.mcc.MCC24)
    if not detector.process(np.ascontiguousarray(small[..., ::-1]), 3):
        return []
    found = []
    for checker in detector.getListColorChecker():
        quads = np.asarray(checker.getColorCharts(), dtype=np.float64).reshape(-1, 4, 2)
        if len(quads) != 24:
            continue
        centres = (quads.mean(axis=1) + 0.5) / scale - 0.5
        fitted, _ = cv2.findHomography(CENTRES, centres)
        if fitted is not None and np.all(np.isfinite(fitted)):
            found.append(Chart(np.asarray(fitted, dtype=np.float64)).corners)
    return found


def _centres_of_light(picture: Picture, chart: Chart) -> Array | None:
    """Mean light of the middle of each patch, quickly; None if one lies outside."""
    rows = []
    width, height = picture.size
    inner = np.stack(np.meshgrid([-0.15, 0.0, 0.15], [-0.15, 0.0, 0.15]), axis=-1).reshape(-1, 2)
    for centre in CENTRES:
        spots = np.rint(chart.to_pixels(centre + inner)).astype(np.int64)
        inside = (spots >= 0).all() and (spots < [width, height]).all()
        if not inside:
            return None
        rows.append(picture.light(picture.pixels[spots[:, 1], spots[:, 0]]).mean(axis=0))
    return np.asarray(rows)


def _misfit(picture: Picture, chart: Chart, xyz: Array) -> float:
    light = _centres_of_light(picture, chart)
    if light is None or not np.all(light.max(axis=1) > 0):
        return float("inf")
    # Weighted so that dark patches count; in the cube root a curve that is a little wrong bends
    # little, and what is asked here is only which way round the chart lies.
    root, goal = np.cbrt(light), np.cbrt(xyz)
    root = np.column_stack([root, np.ones(24)])
    solved, *_ = np.linalg.lstsq(root, goal, rcond=None)
    made = xyz_to_lab(np.maximum(root @ solved, 0.0) ** 3, WHITE)
    return float(np.mean(delta_e00(xyz_to_lab(xyz, WHITE), made)))


def _refined(picture: Picture, chart: Chart) -> Array:
    """Fit the plane to the patches' own middles, leaving out those that do not stand out."""
    import cv2

    small, scale = picture.screen(2 * _SEARCH)
    middles, seen = [], []
    for number, centre in enumerate(CENTRES):
        cell = (chart.to_pixels(centre + 0.6 * _UNIT) + 0.5) * scale
        low = np.maximum(np.floor(cell.min(axis=0)).astype(int), 0)
        high = np.ceil(cell.max(axis=0)).astype(int)
        block = small[low[1] : high[1], low[0] : high[0]].astype(np.float64)
        patch = (chart.patch(number) + 0.5) * scale - low
        inside = np.zeros(block.shape[:2], np.uint8)
        cv2.fillConvexPoly(inside, np.rint(patch).astype(np.int32), 1)
        if not inside.any():
            continue
        colour = np.median(block[inside > 0], axis=0)
        spread = np.std(block[inside > 0], axis=0).max()
        alike = (np.abs(block - colour).max(axis=2) <= 10.0 + 3.0 * spread).astype(np.uint8)
        alike = cv2.morphologyEx(alike, cv2.MORPH_OPEN, np.ones((3, 3), np.uint8))
        count, labels, stats, middle = cv2.connectedComponentsWithStats(alike, connectivity=4)
        label = np.bincount(labels[inside > 0], minlength=count)
        label[0] = 0
        which = int(label.argmax())
        area = float(cv2.contourArea(cell.astype(np.float32))) / 1.44
        x, y, w, h = stats[which, :4]
        whole = x > 0 and y > 0 and x + w < block.shape[1] and y + h < block.shape[0]
        if label[which] and whole and 0.4 * area < stats[which, 4] < area:
            middles.append((middle[which] + low + 0.5) / scale - 0.5)
            seen.append(centre)
    if len(seen) < 10:
        return chart.homography
    fitted, _ = cv2.findHomography(
        np.asarray(seen), np.asarray(middles), cv2.RANSAC, max(1.5, 0.04 * chart.pitch)
    )
    good = fitted is not None and bool(np.all(np.isfinite(fitted)))
    return np.asarray(fitted, dtype=np.float64) if good else chart.homography
