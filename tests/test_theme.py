"""Contrast of the style sheet, computed as WCAG defines it, and the grey of the surround."""

from __future__ import annotations

import re

import numpy as np
import pytest

from matchlib.colorimetry import to_srgb
from workbook.theme import SURROUND, VOILA_TEMPLATE, jupyter_folder, read_static


def luminance(colour: str) -> float:
    """Relative luminance as WCAG 2.2 defines it, with the threshold of IEC 61966-2-1."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def themes() -> dict[str, dict[str, str]]:
    css = read_static("page.css")
    found = {}
    for name, start in (
        ("light", ":root {"),
        ("dark", 'body[data-jp-theme-light="false"] {'),
        ("dark by the reader's setting", "body:not([data-jp-theme-light]) {"),
    ):
        block = css[css.index(start) :].split("}", 1)[0]
        colours = dict(re.findall(r"--wb-([\w-]+): #([0-9a-f]{3,6})", block))
        found[name] = {
            k: "#" + (v if len(v) == 6 else "".join(2 * c for c in v)) for k, v in colours.items()
        }
    return found


def test_black_on_white_is_21_to_1() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)


@pytest.mark.parametrize("name", ["light", "dark", "dark by the reader's setting"])
def test_contrast(name: str) -> None:
    theme = themes()[name]
    for behind in (theme["bg"], theme["paper"]):
        for ink in ("ink", "mute"):
            assert contrast(theme[ink], behind) >= 4.5, f"{ink} on {behind}"
        assert contrast(theme["edge"], behind) >= 3.0, f"edge on {behind}"
    assert contrast(theme["on-go"], theme["go"]) >= 4.5


def test_both_dark_themes_are_one() -> None:
    found = themes()
    assert found["dark"] == found["dark by the reader's setting"]


def test_the_surround_is_neutral_and_of_middle_lightness() -> None:
    rgb, _ = to_srgb(np.array([[50.0, 0.0, 0.0]]))
    wanted = np.rint(255 * rgb[0])
    assert [int(SURROUND[i : i + 2], 16) for i in (1, 3, 5)] == pytest.approx(wanted, abs=1)
    assert themes()["light"]["sur"] == SURROUND


@pytest.mark.parametrize("sheet", ["page.css", "photo_marks.css"])
def test_nothing_is_fetched(sheet: str) -> None:
    css = read_static(sheet)
    assert "url(" not in css
    assert "@import" not in css


def test_the_photograph_takes_no_colour_that_the_page_does_not_name() -> None:
    asked = set(re.findall(r"var\(--wb-([\w-]+)\)", read_static("photo_marks.css")))
    assert asked <= set(themes()["light"])


def test_the_page_is_where_voila_looks() -> None:
    place = jupyter_folder() / "voila" / "templates" / VOILA_TEMPLATE
    assert {p.name for p in place.iterdir()} >= {"conf.json", "index.html.j2"}
