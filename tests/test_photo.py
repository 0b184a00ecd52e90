"""A panel's colour off a photograph: how near it comes, how far it trusts itself, when it refuses.

Scenes are rendered from spectra with cameras' measured sensitivities; see
`tests.tools.render_scene`, and `tests.photo_report` for the table over many scenes.
"""

from __future__ import annotations

import dataclasses
import io
from functools import cache
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from matchlib.colorimetry import delta_e00
from matchlib.errors import DomainError, FileError
from matchlib.readings.photo import (
    PARTS,
    PhotoReading,
    PhotoRefused,
    load_picture,
    standard_chart_lab,
)
from matchlib.readings.photo.chart import CENTRES, GREYS, chart_lab
from matchlib.readings.photo.correct import _left_out
from matchlib.readings.photo.find import find_chart, quad_of
from matchlib.readings.photo.fit import ChartFit, Model, Places, _expanded
from tests.tools.photographs import read_photo
from tests.tools.render_scene import Rendered, Scene, render, to_jpeg, to_png, to_tiff16
from tests.tools.scene_spectra import chart_spectra, lab_of

DAY = Scene()


@cache
def rendered(scene: Scene) -> Rendered:
    return render(scene)


@cache
def read(scene: Scene) -> PhotoReading:
    return read_photo(to_jpeg(rendered(scene)), name="panel.jpg")


def off(got: PhotoReading, truth: np.ndarray) -> float:
    return float(np.linalg.norm(np.array(got.lab) - truth))


def within(got: PhotoReading, truth: np.ndarray, *, sds: float = 2.5) -> bool:
    """Whether the reading lies within that many of its own sds, as a vector of three axes."""
    assert got.reading.sd
    return off(got, truth) <= sds * got.reading.sd * np.sqrt(3.0)


def test_the_chart_that_is_assumed_is_like_one_that_others_published() -> None:
    # ISO 17321-1, annex D's spectra, against the mean of measured charts: two charts of one
    # make, and yet as far apart as this. It is what a photograph cannot be better than.
    other = lab_of(chart_spectra("ISO 17321-1"))
    difference = delta_e00(standard_chart_lab(), other)
    assert difference.mean() < 1.0
    assert difference.max() < 2.0


def test_the_root_polynomial_is_that_of_colour_science(colour: Any) -> None:
    # Finlayson, Mackiewicz and Hurlbert 2015, second degree; the order of the terms is our own.
    rgb = np.random.default_rng(1).uniform(-0.1, 1.2, (200, 3))
    theirs = colour.characterisation.polynomial_expansion_Finlayson2015(
        rgb, degree=2, root_polynomial_expansion=True
    )
    np.testing.assert_allclose(_expanded(rgb, root=True), theirs, atol=1e-15)


@pytest.mark.parametrize("panel", ["bare silver", "teal", "red", "gold"])
def test_in_daylight_the_error_is_as_small_as_promised_and_as_stated(panel: str) -> None:
    scene = DAY.but(panel=panel)
    got = read(scene)
    assert float(delta_e00(got.lab, rendered(scene).lab)) < 3.0
    assert within(got, rendered(scene).lab)
    assert got.reading.source == "photo"
    assert got.reading.sd is not None
    assert 0.5 < got.reading.sd < 6.0
    assert got.reading.viewing.geometry == "photo"
    assert got.panel_found


def test_the_panel_and_the_chart_are_found_where_they_are() -> None:
    got, true = read(DAY.but(panel="red")), rendered(DAY.but(panel="red"))
    np.testing.assert_allclose(got.chart_corners, true.corners, atol=3.0)
    outline = np.array(got.panel_outline)
    assert (outline.min(axis=0) > true.panel.min(axis=0)).all()
    assert (outline.max(axis=0) < true.panel.max(axis=0)).all()
    assert np.ptp(outline[:, 0]) > 0.5 * np.ptp(true.panel[:, 0])


@pytest.mark.parametrize("turn", [95.0, 178.0, 265.0])
def test_however_the_chart_lies_its_patches_are_told_apart(turn: float) -> None:
    true = rendered(DAY.but(turn=turn))
    chart = find_chart(load_picture(to_jpeg(true)), standard_chart_lab())
    np.testing.assert_allclose(chart.corners, true.corners, atol=3.0)


def test_corners_may_be_clicked_from_any_of_them_and_a_little_off() -> None:
    true = rendered(DAY)
    picture = load_picture(to_jpeg(true))
    wobble = np.random.default_rng(1).uniform(-4, 4, (4, 2))
    for start in range(4):
        clicked = np.roll(true.corners, start, axis=0)[:: 1 if start % 2 else -1] + wobble
        chart = find_chart(picture, standard_chart_lab(), corners=clicked.tolist())
        np.testing.assert_allclose(chart.corners, true.corners, atol=3.0)


def test_a_linear_file_reads_as_the_encoded_one_does() -> None:
    true = rendered(DAY.but(panel="red", exposure=0.6))
    stream = io.BytesIO()
    to_tiff16(true, stream)
    got = read_photo(stream.getvalue(), linear=True)
    assert within(got, true.lab)
    assert "curve as declared" in got.method
    png = read_photo(to_png(true), panel=true.panel.tolist())
    assert not png.panel_found
    assert float(delta_e00(png.lab, got.lab)) < 2.0


def test_a_file_said_to_be_what_it_is_not_is_refused() -> None:
    true = rendered(DAY.but(exposure=0.6))
    stream = io.BytesIO()
    to_tiff16(true, stream)
    with pytest.raises(PhotoRefused) as caught:
        read_photo(stream.getvalue())
    assert caught.value.reason == "curve"
    assert "tick 'linear picture'" in str(caught.value)
    with pytest.raises(PhotoRefused) as caught:
        read_photo(to_jpeg(true), linear=True)
    assert caught.value.reason in ("curve", "too dark")


def test_a_contrasty_picture_style_is_taken_out_by_the_greys() -> None:
    true = rendered(DAY)
    got = read_photo(to_jpeg(true, contrast=0.4))
    assert "refined" in got.method
    assert within(got, true.lab)


def test_uneven_light_is_carried_on_from_the_chart_to_the_panel() -> None:
    scene = DAY.but(panel="bare silver", gradient=0.5, vignetting=0.3)
    got, even = read(scene), read(DAY.but(panel="bare silver", gradient=0.0, vignetting=0.0))
    # The light at the panel is about a fifth weaker than on the chart: L* 75 would read 69.
    assert abs(got.lab[0] - even.lab[0]) < 3.0
    assert within(got, rendered(scene).lab)


def test_warm_light_states_more_doubt_than_daylight() -> None:
    warm = read(DAY.but(panel="red", light="A"))
    day = read(DAY.but(panel="red"))
    assert (warm.reading.sd or 0) > 1.1 * (day.reading.sd or 0)
    assert warm.left_out > day.left_out


def test_the_parts_of_the_doubt_add_up() -> None:
    got = read(DAY.but(panel="red"))
    total = np.sum(list(got.parts.values()), axis=0)
    np.testing.assert_allclose(got.covariance, total, rtol=1e-9)
    assert set(got.parts) <= set(PARTS)
    assert np.linalg.eigvalsh(got.covariance).min() > 0


def test_ones_own_chart_values_are_used() -> None:
    true = rendered(DAY.but(panel="red"))
    own = lab_of(chart_spectra(DAY.chart))
    region = true.panel.tolist()
    with_own = read_photo(to_jpeg(true), chart=own, panel=region)
    with_average = read_photo(to_jpeg(true), panel=region)
    assert with_own.left_out < with_average.left_out
    # A chart declared two units redder makes a reading that is redder.
    redder = read_photo(to_jpeg(true), chart=own + np.array([0, 2, 0]), panel=region)
    assert 1.0 < redder.lab[1] - with_own.lab[1] < 3.0


def test_a_reflection_is_left_out_and_owned_up_to() -> None:
    true = rendered(DAY.but(panel="teal", window=1.2, window_size=0.5))
    got = read_photo(to_jpeg(true), panel=true.panel.tolist())
    clean = read(DAY)
    assert got.body.change > 0.01
    assert got.sd_of("gloss") > clean.sd_of("gloss")
    assert within(got, true.lab)
    assert "mirrors" in got.text()


REFUSED = {
    "clipped": DAY.but(exposure=2.0),
    "too dark": DAY.but(exposure=0.05),
    "mixed light": DAY.but(second_light="A", exposure=0.5),
    "no chart": DAY.but(chart_shown=False),
    "no panel": DAY.but(panel_shown=False),
    "glare": DAY.but(panel="red", window=3.5, window_size=0.8),
    "shade": DAY.but(shade=0.66, shade_box=True),
    "which panel": DAY.but(second="gold"),
    "two charts": DAY.but(second_chart=True),
    "chart residual": DAY.but(fade=0.45),
}


@pytest.mark.parametrize("reason", REFUSED)
def test_what_cannot_be_read_is_refused_in_words(reason: str) -> None:
    with pytest.raises(PhotoRefused) as caught:
        read_photo(to_jpeg(rendered(REFUSED[reason])), name="panel.jpg")
    assert caught.value.reason == reason
    text = str(caught.value)
    assert text.startswith("panel.jpg: ")
    assert "Expected " in text
    assert "What to do: " in text
    assert isinstance(caught.value, FileError)


def test_a_lamp_in_the_panel_is_never_read() -> None:
    true = rendered(DAY.but(highlight=3.0))
    with pytest.raises(PhotoRefused) as caught:
        read_photo(to_jpeg(true), panel=true.panel.tolist())
    assert caught.value.reason in ("clipped", "glare")


def test_a_chart_of_other_colours_is_no_chart() -> None:
    true = rendered(DAY)
    picture = load_picture(to_jpeg(true))
    # The same squares with red and blue exchanged.
    swapped = dataclasses.replace(picture, pixels=picture.pixels[..., [2, 0, 1]])
    shuffled = standard_chart_lab()
    with pytest.raises(PhotoRefused) as caught:
        find_chart(swapped, shuffled, corners=(true.panel).tolist())
    assert caught.value.reason == "no chart"


@settings(max_examples=12, deadline=None)
@given(seed=st.integers(0, 10**6), block=st.sampled_from([1, 8, 40, 400]), dark=st.booleans())
def test_pictures_of_anything_are_read_or_refused_in_words(
    seed: int, block: int, dark: bool
) -> None:
    rng = np.random.default_rng(seed)
    coarse = rng.integers(0, 3 if dark else 256, (400 // block, 400 // block, 3))
    pixels = np.kron(coarse, np.ones((block, block, 1))).astype(np.uint8)
    stream = io.BytesIO()
    Image.fromarray(pixels).save(stream, "PNG")
    for corners in (None, [[20, 20], [380, 20], [380, 250], [20, 250]]):
        with pytest.raises(PhotoRefused) as caught:
            read_photo(stream.getvalue(), corners=corners, panel=[20, 270, 300, 100])
        assert caught.value.remedy


def test_the_text_does_not_flatter() -> None:
    text = read(DAY.but(panel="red")).text()
    for words in (
        "Estimate",
        "±",
        "one standard deviation",
        "Most of that",
        "angle",
        "never counts",
    ):
        assert words in text


@pytest.mark.parametrize(
    "points",
    [None, "abc", [1, 2, 3], [[0, 0], [1, 1]], [[0, 0]] * 4, [0, 0, 9e9, 10], [float("nan")] * 4],
)
def test_corners_that_are_none_are_refused(points: object) -> None:
    with pytest.raises(DomainError, match="corners"):
        quad_of(points, (640, 480), "panel")


@pytest.mark.parametrize("bad", [np.zeros((24, 3)), np.zeros((18, 3)), "chart", None])
def test_chart_values_are_checked(bad: object) -> None:
    if bad is None:
        bad = standard_chart_lab()[::-1]
    with pytest.raises(DomainError, match="24-patch"):
        chart_lab(bad)  # type: ignore[arg-type]  # what a user may give


def even_fit(light: np.ndarray, lab: np.ndarray) -> ChartFit:
    places = Places(CENTRES, np.full(24, 0.2))
    return ChartFit(light, places, lab)


def test_patches_left_out_by_leverage_are_those_left_out_in_truth() -> None:
    # Leaving a patch out and fitting anew, against the shortcut that fits once.
    rng = np.random.default_rng(4)
    lab = standard_chart_lab()
    from matchlib.readings.photo.chart import chart_xyz

    mix = np.array([[0.9, 0.2, 0.0], [0.1, 0.8, 0.1], [0.0, 0.1, 1.0]])
    light = chart_xyz(lab) @ mix * np.exp(rng.normal(0.0, 0.02, (24, 3))) * 0.7
    fit, model = even_fit(light, lab), Model(0, root=False)
    quick = _left_out(fit, model, fit.fit(model))
    for patch in (3, 14, 19):
        without = even_fit(light, lab)
        without.importance = fit.importance.copy()
        without.importance[patch] = 1e-9
        params = without.fit(model)
        slow = without.predict(light, without.places, model, params)[patch] - lab[patch]
        np.testing.assert_allclose(quick[patch], slow, atol=0.12, rtol=0.05)


@pytest.mark.parametrize("root", [False, True])
def test_the_matrix_does_not_mind_the_exposure(root: bool) -> None:
    # Finlayson et al. 2015: root polynomials are exposure-invariant, as a matrix is.
    lab = standard_chart_lab()
    from matchlib.readings.photo.chart import chart_xyz

    light = chart_xyz(lab) * [0.9, 0.8, 0.6]
    for model in (Model(0, root), Model(1, root)):
        panel = Places(np.array([[8.0, 0], [9, 0], [8, 1], [9, 1]]), np.full(4, 0.3))
        one, two = (
            fit.predict(np.full((4, 3), 0.4) / by, panel, model, fit.fit(model))
            for fit, by in ((even_fit(light, lab), 1.0), (even_fit(light / 4.0, lab), 4.0))
        )
        np.testing.assert_allclose(one, two, atol=0.02)


def test_the_derivative_is_that_of_the_residual() -> None:
    lab = standard_chart_lab()
    from matchlib.readings.photo.chart import chart_xyz

    fit = even_fit(chart_xyz(lab) ** 0.95 * [0.9, 0.8, 0.6], lab)
    model = Model(2, root=True, tint=True)
    params = fit.fit(model)
    exact = fit.jacobian(model, params)
    for i in range(params.size):
        shift = np.zeros(params.size)
        shift[i] = 1e-6
        up, down = fit.residual(model, params + shift), fit.residual(model, params - shift)
        np.testing.assert_allclose(exact[:, i], (up - down) / 2e-6, rtol=1e-3, atol=2e-3)


def test_greys_are_where_they_are_said_to_be() -> None:
    greys = standard_chart_lab()[GREYS]
    assert (np.hypot(greys[:, 1], greys[:, 2]) < 4).all()
    assert (np.diff(greys[:, 0]) < -10).all()
