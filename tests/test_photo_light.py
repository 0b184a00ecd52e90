"""Whether chart and panel stand in one light, and what is refused or widened where they do not."""

from __future__ import annotations

import numpy as np
import pytest

from matchlib.readings.photo import Marks, PhotoReading, PhotoRefused, load_picture
from matchlib.readings.photo import read_photo as read_panels
from matchlib.readings.photo.light import panel_edge
from matchlib.readings.photo.sample import Samples
from tests.tools.photographs import read_photo
from tests.tools.render_scene import Rendered, Scene, render, to_jpeg

DAY = Scene()


def marked(scene: Scene, **how: object) -> tuple[PhotoReading, Rendered]:
    true = render(scene)
    return read_photo(to_jpeg(true), panel=true.panel.tolist(), **how), true


def cells(light: np.ndarray) -> Samples:
    x, y = np.meshgrid(np.arange(8.0), np.arange(8.0))
    return Samples(
        light[:, None] * np.array([0.3, 0.5, 0.4]),
        np.full((64, 3), 0.001),
        np.column_stack([x.ravel(), y.ravel()]) * 20,
        np.zeros(64),
        np.zeros((64, 3)),
    )


def test_an_edge_is_told_from_a_slope() -> None:
    rng = np.random.default_rng(1)
    x = np.tile(np.arange(8.0), 8) / 7
    noise = np.exp(0.01 * rng.standard_normal(64))
    step, error = panel_edge(cells(np.where(x > 0.5, 0.6, 1.0) * noise))
    assert abs(step) == pytest.approx(abs(np.log(0.6)), rel=0.35)
    assert abs(step) > 6 * error
    slope, _ = panel_edge(cells(np.exp(x) * noise))
    assert abs(slope) < 0.08


@pytest.mark.parametrize(
    "scene",
    [
        DAY.but(shade=0.7, shade_at=0.27),
        DAY.but(shade=0.7, shade_at=0.75),
        DAY.but(shade=0.66, shade_box=True),
        DAY.but(shade=0.66, shade_at=0.555, shade_lean=0.0),
    ],
    ids=["half the chart", "across the panel", "about the panel", "panel and table"],
)
def test_shade_is_found_and_refused(scene: Scene) -> None:
    with pytest.raises(PhotoRefused) as caught:
        marked(scene)
    assert caught.value.reason == "shade"
    assert caught.value.chart_corners


@pytest.mark.parametrize("flop", [1.0, -1.0])
def test_a_metallics_own_slope_is_not_taken_for_the_lights(flop: float) -> None:
    plain, true = marked(DAY)
    got, _ = marked(DAY.but(flop=flop))
    assert np.linalg.norm(np.subtract(got.lab, plain.lab)) < 3.0
    away = np.abs(np.array(got.lab) - true.lab)
    assert np.all(away < 3.0 * np.sqrt(np.diag(got.covariance)))
    assert any("metallics" in w for w in got.warnings)


def test_the_surface_around_narrows_what_is_known_of_the_light() -> None:
    with_it, _ = marked(DAY)
    without, _ = marked(DAY, one_surface=False)
    assert with_it.sd_of("light") < without.sd_of("light")
    assert any("not checked" in w for w in without.warnings)


def test_a_colour_outside_the_file_is_widened_and_said_so() -> None:
    got, true = marked(DAY.but(panel="deep teal"))
    assert got.sd_of("beyond") > 2.0
    assert any("red at nought" in w for w in got.warnings)
    assert np.all(np.abs(np.array(got.lab) - true.lab) < 3.0 * np.sqrt(np.diag(got.covariance)))


def test_several_panels_are_read_by_their_codes_and_do_not_take_each_other_along() -> None:
    true = render(DAY.but(second="gold"))
    places = {"T1": true.panel, "G1": true.second, "over the chart": true.corners}
    found = read_panels(
        load_picture(to_jpeg(true), name="two.jpg"),
        Marks(panels={code: place.tolist() for code, place in places.items()}),
    )
    assert isinstance(found["T1"], PhotoReading)
    assert isinstance(found["G1"], PhotoReading)
    assert np.linalg.norm(np.array(found["T1"].lab) - true.lab) < 8.0
    assert found["G1"].lab[2] > 40
    refused = found["over the chart"]
    assert isinstance(refused, PhotoRefused)
    assert str(refused).startswith("two.jpg, panel over the chart: ")
    assert len(refused.outlines) == 3


def test_what_may_be_the_panel_is_shown_with_the_question() -> None:
    true = render(DAY.but(paper=True))
    with pytest.raises(PhotoRefused) as caught:
        read_photo(to_jpeg(true))
    assert caught.value.reason == "which panel"
    assert len(caught.value.outlines) == 2
    got = read_photo(to_jpeg(true), panel=true.panel.tolist())
    assert np.linalg.norm(np.array(got.lab) - true.lab) < 8.0


def test_no_sentence_names_what_only_python_knows() -> None:
    for scene in (DAY.but(paper=True), DAY.but(panel_shown=False), DAY.but(chart_shown=False)):
        with pytest.raises(PhotoRefused) as caught:
            read_photo(to_jpeg(render(scene)))
        assert "=" not in str(caught.value)
        assert "click" not in str(caught.value)
