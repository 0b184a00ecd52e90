"""Errors of photographs, by scene: ``python -m tests.photo_report [--quick] [--record]``.

Every scene is rendered from spectra (`tests.tools.render_scene`), read with an average chart's
values, and compared with the panel's true Lab. A *silent error* is a reading that is given out
although an axis of it is more than three of its stated standard deviations from the truth.
``--record`` writes the table to ``tests/PHOTO_RECORDED.md``; ``--quick`` takes two panels a scene.
"""

from __future__ import annotations

import io
import sys
import time
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from matchlib.colorimetry import delta_e00
from matchlib.readings.photo import PhotoReading, PhotoRefused, combine
from tests.tools.photographs import read_photo
from tests.tools.render_scene import Rendered, Scene, render, to_jpeg, to_tiff16
from tests.tools.scene_spectra import CAMERAS, PANELS

BASE = Scene()
ORDINARY: dict[str, dict[str, Any]] = {
    **{
        f"{light}, camera {camera}": {"light": light, "camera": camera}
        for camera in CAMERAS
        for light in ("D65", "D50", "LED", "fluorescent")
    },
    "warm LED": {"light": "warm LED"},
    "light falls by half, dark corners": {"gradient": 0.5, "vignetting": 0.4},
    "strong perspective": {"tilt": 0.3, "turn": 12.0},
    "one stop under": {"exposure": 0.4},
    "noisy (1,500 electrons)": {"electrons": 1500.0},
    "coarse flake": {"grain": 0.12},
    "JPEG of low quality": {"form": "quality"},
    "JPEG with contrast": {"form": "contrast"},
    "JPEG balanced wrongly": {"form": "balance", "exposure": 0.6},
    "linear 16 bit": {"form": "TIFF", "exposure": 0.6},
}
BAD: dict[str, dict[str, Any]] = {
    "soft window in the gloss, wide": {"window": 2.5, "window_size": 1.2, "gloss": 0.35},
    "soft window in the gloss, all over": {"window": 2.0, "window_size": 2.0, "gloss": 0.5},
    "soft window in the gloss, small": {"window": 2.0, "window_size": 0.4, "gloss": 0.15},
    "sky of 2 % mirrored": {"sky": 0.5},
    "sky of 4 % mirrored": {"sky": 1.0},
    "own slope of brightness, ± 0.5 log": {"flop": 1.0},
    "own slope, the other way": {"flop": -1.0, "flop_turn": 60.0},
    "half the chart in shade": {"shade": 0.7, "shade_at": 0.27},
    "shade across the panel": {"shade": 0.7, "shade_at": 0.75},
    "panel in 40 % shade": {"shade": 0.66, "shade_box": True},
    "panel in 25 % shade": {"shade": 0.4, "shade_box": True},
    "panel and table in 40 % shade": {"shade": 0.66, "shade_at": 0.555, "shade_lean": 0.0},
    "masking paper in view": {"paper": True},
    "two panels": {"second": "gold"},
    "chart faded by a fifth": {"fade": 0.2},
    "chart faded by two fifths": {"fade": 0.4},
    "dirty chart": {"dirt": 0.15},
    "another print": {"reprint": 1.0},
    "two charts, one of them faded": {"second_chart": True},
    "local tone mapping": {"mapped": 0.2},
    "strong local tone mapping": {"mapped": 0.35},
    "stray light, 3 %": {"flare": 0.03},
    "two kinds of lamp": {"second_light": "A", "exposure": 0.5},
    "a lamp in the panel": {"highlight": 3.0},
    "a lamp's faint reflection": {"highlight": 0.2},
    "light of three narrow bands": {"light": "three-band"},
    "lamp light (A), camera phone": {"light": "A", "camera": "phone"},
}
TO_REFUSE: dict[str, dict[str, Any]] = {
    "two stops over": {"exposure": 2.5},
    "four stops under": {"exposure": 0.05},
    "no chart": {"chart_shown": False},
    "no panel": {"panel_shown": False},
}
TURNED: list[dict[str, Any]] = [
    {"window_at": (0.8, 0.3), "sky": 0.5, "turn": 4.0},
    {"window_at": (1.6, 0.9), "sky": 0.2, "turn": -6.0, "lamp": (20.0, 2.0, 30.0)},
    {"window_at": (-0.3, 1.2), "sky": 0.3, "turn": 12.0, "lamp": (7.0, -9.0, 28.0)},
]
"""A panel taken three times: it is turned, and the window goes elsewhere in its gloss."""
SEVERAL: dict[str, dict[str, Any]] = {
    "turned under a soft window": {"window": 2.5, "window_size": 1.0},
    "turned, metallic with a slope": {"flop": 0.7},
    "turned under an ordinary sky": {},
}


@dataclass
class Tally:
    """What came of the panels of one scene, or of many."""

    errors: list[float] = field(default_factory=list)
    sds: list[float] = field(default_factory=list)
    worst: list[float] = field(default_factory=list)  # z of the worst axis, a reading
    ratios: list[NDArray[np.float64]] = field(default_factory=list)
    refused: list[str] = field(default_factory=list)

    def add(self, got: PhotoReading | PhotoRefused, lab: NDArray[np.float64]) -> None:
        """Count a reading or a refusal."""
        if isinstance(got, PhotoRefused):
            self.refused.append(got.reason)
            return
        ratio = (np.array(got.lab) - lab) / np.sqrt(np.diag(got.covariance))
        self.errors.append(float(delta_e00(lab, got.lab)))
        self.sds.append(got.reading.sd or 0.0)
        self.ratios.append(ratio)
        self.worst.append(float(np.abs(ratio).max()))

    def join(self, other: Tally) -> None:
        """Add another's counts."""
        for name in ("errors", "sds", "worst", "ratios", "refused"):
            getattr(self, name).extend(getattr(other, name))

    @property
    def silent(self) -> int:
        """Readings of which an axis is more than three standard deviations off."""
        return sum(z > 3.0 for z in self.worst)

    @property
    def count(self) -> int:
        """Photographs."""
        return len(self.errors) + len(self.refused)

    def row(self, name: str) -> str:
        """A row of the table."""
        why = ", ".join(f"{r} {n}" for r, n in sorted(Counter(self.refused).items()))
        read = f"{len(self.errors)} of {self.count}" + (f" ({why})" if why else "")
        if not self.errors:
            return f"| {name} | {read} | – | – | – | – | – |"
        return (
            f"| {name} | {read} | {np.median(self.errors):.1f} | {max(self.errors):.1f} "
            f"| {np.median(self.sds):.1f} | {max(self.worst):.1f} | {self.silent} |"
        )


HEAD = [
    "| scene | read | ΔE00 median | ΔE00 worst | sd median | worst z | silent |",
    "|---|---|---|---|---|---|---|",
]


def taken(rendered: Rendered, form: str, **how: Any) -> PhotoReading | PhotoRefused:
    """Read a rendered scene in the form of some file."""
    kinds: dict[str, dict[str, Any]] = {
        "contrast": {"contrast": 0.35},
        "balance": {"balance": 1.12},
        "quality": {"quality": 60},
    }
    if form == "TIFF":
        stream = io.BytesIO()
        to_tiff16(rendered, stream)
        data, linear = stream.getvalue(), True
    else:
        data, linear = to_jpeg(rendered, **kinds.get(form, {})), None
    try:
        return read_photo(data, linear=linear, **how)
    except PhotoRefused as refusal:
        return refusal


def of_scene(changes: Mapping[str, Any], panels: tuple[str, ...], *, marked: bool = False) -> Tally:
    """Read all panels in one scene, the panel looked for or marked."""
    tally, changes = Tally(), dict(changes)
    form = str(changes.pop("form", "JPEG"))
    for i, panel in enumerate(panels):
        rendered = render(BASE.but(panel=panel, seed=10 + i, **changes))
        how = {"panel": rendered.panel.tolist()} if marked else {}
        tally.add(taken(rendered, form, **how), rendered.lab)
    return tally


def of_turned(changes: Mapping[str, Any], panels: tuple[str, ...]) -> tuple[Tally, Tally]:
    """Read all panels in the first of three photographs, and in all three solved together."""
    one, three = Tally(), Tally()
    for i, panel in enumerate(panels):
        got = []
        for j, turned in enumerate(TURNED):
            rendered = render(
                BASE.but(**{"panel": panel, "seed": 40 + 7 * i + j, **turned, **changes})
            )
            got.append(taken(rendered, "JPEG", panel=rendered.panel.tolist()))
        one.add(got[0], rendered.lab)
        read = [g for g in got if isinstance(g, PhotoReading)]
        three.add(combine(read) if read else got[0], rendered.lab)
    return one, three


def tables(quick: bool) -> Iterator[str]:
    """The lines of the report."""
    panels = PANELS[1::4] if quick else PANELS
    sums = {}
    for title, scenes, marked in (
        ("Ordinary scenes, the panel looked for", ORDINARY, False),
        ("Bad scenes, the panel looked for", BAD, False),
        ("Bad scenes, the panel marked", BAD, True),
        ("To be refused", TO_REFUSE, False),
    ):
        yield from ("", f"## {title}", "", *HEAD)
        total = Tally()
        for name, changes in scenes.items():
            one = of_scene(changes, panels, marked=marked)
            total.join(one)
            yield one.row(name)
        sums[title] = total
        yield total.row("**all**")
    yield from ("", "## Three photographs, the panel turned between them", "", *HEAD)
    for name, changes in SEVERAL.items():
        one, three = of_turned(changes, panels)
        yield one.row(f"{name}: one photograph")
        yield three.row(f"{name}: three together")
    yield ""
    for title, total in sums.items():
        if total.ratios:
            z = np.abs(np.array(total.ratios))
            yield (
                f"- {title}: {total.silent} silent of {total.count}, "
                f"{len(total.refused)} refused; within one sd {np.mean(z < 1):.0%}, within two "
                f"{np.mean(z < 2):.0%} of {z.size} Lab values."
            )


def main(arguments: list[str]) -> int:
    """Print the table; with ``--record``, also write it down."""
    began, lines = time.perf_counter(), []
    for line in tables("--quick" in arguments):
        print(line, flush=True)
        lines.append(line)
    if "--record" in arguments:
        place = Path(__file__).parent / "PHOTO_RECORDED.md"
        kept = place.read_text(encoding="utf-8").split("## Large pictures")
        place.write_text(
            "# Photographs: errors by scene\n\n"
            f"Written by `python -m tests.photo_report --record` on {time.strftime('%Y-%m-%d')}, "
            f"in {time.perf_counter() - began:.0f} s.\n"
            f"Rendered scenes of 640 by 400 pixels, {len(PANELS)} invented panels each:\n"
            f"{', '.join(PANELS)}. z is error by\nstated sd, the worst of L, a and b; *silent* "
            "counts readings with z over 3.\n"
            + "\n".join(lines)
            + "\n\n## Large pictures"
            + kept[1],
            encoding="utf-8",
        )
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
