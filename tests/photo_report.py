"""Errors of photographs, by scene: ``python -m tests.photo_report [--quick]``.

Every scene is rendered from spectra (see `tests.tools.render_scene`), read by
`matchlib.readings.photo.read_photo` with an average chart's values, and compared with the panel's
true Lab. The table is to be copied to ``tests/PHOTO_RECORDED.md`` by ``--record``.
"""

from __future__ import annotations

import io
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from matchlib.colorimetry import delta_e00
from matchlib.readings.photo import PhotoReading, PhotoRefused, read_photo
from tests.tools.render_scene import CAMERAS, LIGHTS, PANELS, Scene, render, to_jpeg, to_tiff16

BASE = Scene()
SPOILED = {
    "own chart's values known": {"chart": "BabelColor Average"},
    "strong perspective": {"tilt": 0.3, "turn": 12.0},
    "upside down": {"turn": 183.0},
    "light falls by half, dark corners": {"gradient": 0.5, "vignetting": 0.4},
    "noisy (1,500 electrons)": {"electrons": 1500.0},
    "one stop under": {"exposure": 0.4},
    "coarse flake": {"grain": 0.12},
    "faint reflection on the panel": {"highlight": 0.1},
    "lamp in the panel": {"highlight": 3.0},
}
REFUSED = {
    "two stops over": {"exposure": 2.5},
    "four stops under": {"exposure": 0.05},
    "daylight left, bulb right": {"second_light": "A", "exposure": 0.5},
    "no chart": {"chart_shown": False},
    "a window's reflection over the panel": {"highlight": 0.35},
    "no panel": {"panel_shown": False},
}


def scenes() -> Iterator[tuple[str, str, str, dict[str, object]]]:
    """Group, scene, form of the file, and what of the base scene is changed."""
    for camera in CAMERAS:
        for light in LIGHTS:
            yield f"camera {camera}", light, "JPEG", {"light": light, "camera": camera}
    for light in ("D65", "D50", "A", "LED"):
        yield "linear 16 bit", light, "TIFF", {"light": light, "exposure": 0.6}
    yield "JPEG with contrast", "D65", "contrast", {}
    yield "JPEG balanced wrongly", "D65", "balance", {"exposure": 0.6}
    yield "JPEG of low quality", "D65", "quality", {}
    for name, changes in SPOILED.items():
        yield "spoiled", name, "JPEG", changes


def read(scene: Scene, form: str) -> tuple[PhotoReading | PhotoRefused, float]:
    """The reading or refusal of a scene, and the reading's ΔE00."""
    rendered = render(scene)
    try:
        if form == "TIFF":
            stream = io.BytesIO()
            to_tiff16(rendered, stream)
            got = read_photo(stream.getvalue(), linear=True)
        else:
            kinds: dict[str, dict[str, float]] = {
                "JPEG": {},
                "contrast": {"contrast": 0.35},
                "balance": {"balance": 1.12},
                "quality": {"quality": 60},
            }
            got = read_photo(to_jpeg(rendered, **kinds[form]))
    except PhotoRefused as refusal:
        return refusal, float("nan")
    return got, float(delta_e00(rendered.lab, got.lab))


def main(arguments: list[str]) -> int:
    """Print the table; with ``--record``, also write it down."""
    quick = "--quick" in arguments
    began = time.perf_counter()
    lines = [
        "| group | scene | panels read | ΔE00 median | ΔE00 worst | sd stated, mean "
        "| error by sd, rms | patches left out ΔE00 |",
        "|---|---|---|---|---|---|---|---|",
    ]
    print(*lines, sep="\n", flush=True)
    pooled = []
    for group, name, form, changes in scenes():
        if quick and name not in ("D65", "A"):
            continue
        errors, sds, ratios, left_out, refused = [], [], [], [], []
        for i, panel in enumerate(PANELS):
            scene = BASE.but(panel=panel, seed=10 + i, **changes)
            got, error = read(scene, form)
            if isinstance(got, PhotoRefused):
                refused.append(got.reason)
                continue
            from tests.tools.render_scene import lab_of, panel_spectrum

            ratio = (np.array(got.lab) - lab_of(panel_spectrum(panel))) / (got.reading.sd or 1.0)
            errors.append(error)
            sds.append(got.reading.sd or 0.0)
            ratios.append(ratio)
            left_out.append(got.left_out)
        pooled += ratios
        share = f"{len(errors)} of {len(PANELS)}"
        if refused:
            share += f" ({', '.join(sorted(set(refused)))})"
        if errors:
            rms = float(np.sqrt(np.mean(np.square(ratios))))
            row = (
                f"| {group} | {name} | {share} | {np.median(errors):.2f} | {max(errors):.2f} "
                f"| {np.mean(sds):.2f} | {rms:.2f} | {np.mean(left_out):.2f} |"
            )
        else:
            row = f"| {group} | {name} | {share} | – | – | – | – | – |"
        lines.append(row)
        print(row, flush=True)
    every = np.array(pooled)
    within = np.mean(np.abs(every) < 1.0), np.mean(np.abs(every) < 2.0)
    after = [
        "",
        f"All scenes read: error by stated sd, rms {np.sqrt(np.mean(every**2)):.2f}; within one sd "
        f"{within[0]:.0%}, within two {within[1]:.0%} of {every.size} Lab values.",
        "",
        "| to be refused, or read beside what spoils it | panels refused | reasons |",
        "|---|---|---|",
    ]
    for name, changes in {} if quick else REFUSED.items():
        reasons = []
        for i, panel in enumerate(PANELS):
            got, _ = read(BASE.but(panel=panel, seed=10 + i, **changes), "JPEG")
            if isinstance(got, PhotoRefused):
                reasons.append(got.reason)
        words = ", ".join(sorted(set(reasons))) or "–"
        after.append(f"| {name} | {len(reasons)} of {len(PANELS)} | {words} |")
    print(*after, sep="\n")
    if "--record" in arguments:
        text = (Path(__file__).parent / "PHOTO_RECORDED.md").open("w", encoding="utf-8")
        with text:
            text.write(
                "# Photographs: errors by scene\n\n"
                f"Written by `python -m tests.photo_report --record` on "
                f"{time.strftime('%Y-%m-%d')}, in {time.perf_counter() - began:.0f} s.\n"
                "Rendered scenes, six invented panels each; 'error by sd' is the rms of (reading − "
                "truth) / stated sd\nover L, a and b: 1 if the stated sd is right, less if it is "
                "cautious.\n\n" + "\n".join([*lines, *after]) + "\n"
            )
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
