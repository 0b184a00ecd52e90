"""A small copy of a photograph with chart and panels drawn on it, to be looked at and kept."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from matchlib.readings.photo.image import Picture

__all__ = ["four_corners", "marked_picture"]

Outline = Sequence[Sequence[float]]


def marked_picture(
    picture: Picture, *, chart: Outline = (), panels: Iterable[Outline] = (), longest: int = 800
) -> bytes:
    """Return a small JPEG of a photograph, the chart drawn dotted and panels in full.

    Parameters
    ----------
    picture : Picture
        The photograph.
    chart : sequence of (x, y)
        The chart's corners [pixel of the photograph]; none where it was not found.
    panels : iterable of sequences of (x, y)
        Outlines of panels, read or in question [pixel of the photograph].
    longest : int
        Its longer side [pixel].

    Returns
    -------
    bytes
        JPEG.
    """
    import cv2

    small, scale = picture.screen(longest)
    canvas = np.ascontiguousarray(small[..., ::-1])
    for outline, dotted in [(chart, True), *((p, False) for p in panels)]:
        if not len(outline):
            continue
        points = (np.asarray(outline, dtype=np.float64) + 0.5) * scale
        if dotted:
            ends = np.roll(points, -1, axis=0)
            shares = np.linspace(0.0, 1.0, 24, endpoint=False)[:, None]
            for start, end in zip(points, ends, strict=True):
                for x, y in np.rint(start + shares * (end - start)).astype(int):
                    cv2.circle(canvas, (int(x), int(y)), 4, (0, 0, 0), -1, cv2.LINE_AA)
                    cv2.circle(canvas, (int(x), int(y)), 2, (255, 255, 255), -1, cv2.LINE_AA)
        else:
            # White within black can be seen on any photograph.
            whole = [np.rint(points).astype(np.int32)]
            cv2.polylines(canvas, whole, True, (0, 0, 0), 6, cv2.LINE_AA)
            cv2.polylines(canvas, whole, True, (255, 255, 255), 2, cv2.LINE_AA)
    good, data = cv2.imencode(".jpg", canvas, [cv2.IMWRITE_JPEG_QUALITY, 85])
    if not good:
        raise FloatingPointError("no JPEG can be written")
    return bytes(data)


def four_corners(outline: Outline) -> tuple[tuple[float, float], ...]:
    """Return the four corners that come nearest to an outline.

    Parameters
    ----------
    outline : sequence of (x, y)
        Of a panel.

    Returns
    -------
    tuple of 4 (float, float)
        Those of the smallest rectangle about it, in any turn, where it has more than four.
    """
    import cv2

    points = np.asarray(outline, dtype=np.float32).reshape(-1, 2)
    box = points if len(points) == 4 else cv2.boxPoints(cv2.minAreaRect(points))
    return tuple((float(x), float(y)) for x, y in box)
