"""Gloss parted from paint, photographs solved together, a phone that has learnt."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from matchlib.colorimetry import white_point, xyz_to_lab
from matchlib.errors import DomainError
from matchlib.plain import dump, from_plain, load, to_plain
from matchlib.readings.photo import PhotoReading, Profile, combine
from matchlib.readings.photo.estimate import COMMON
from matchlib.readings.photo.gloss import Body, body_lab, part_gloss
from matchlib.readings.photo.profile import shared
from tests.photo_report import TURNED
from tests.tools.photographs import read_photo
from tests.tools.render_scene import Scene, render, to_jpeg

WHITE = np.asarray(white_point("D65", "10") / 100.0)
RED = np.array([0.16, 0.10, 0.03]) * WHITE
x, y = np.meshgrid(np.linspace(0, 1, 8), np.linspace(0, 1, 8))
PLACES = np.column_stack([x.ravel(), y.ravel()])


def test_what_is_mirrored_in_part_of_a_coloured_panel_is_taken_off() -> None:
    # Shafer 1985: light from a surface is body colour plus light's own colour, each by a factor.
    mirrored = 0.05 * np.exp(-((PLACES - 0.8) ** 2).sum(axis=1) / 0.1)
    areas = RED + mirrored[:, None] * WHITE
    body = part_gloss(areas, 0.002 * areas, PLACES)
    assert body.change > 0.02
    assert np.abs(body.xyz - RED).max() < 0.35 * np.abs(areas.mean(axis=0) - RED).max()


def test_a_metallics_own_slope_is_no_reflection() -> None:
    areas = RED * np.exp(1.0 * (PLACES[:, :1] - 0.5))
    body = part_gloss(areas, 0.002 * areas, PLACES)
    assert body.change < 0.01
    assert body.slope == pytest.approx(1.0, rel=0.25)


@given(
    mirrored=st.floats(0.0, 0.04),
    dark=st.floats(0.015, 0.3),
    chroma=st.tuples(*3 * [st.floats(0.75, 1.3)]),
)
def test_a_clear_coats_whole_reflection_stays_within_three_deviations(
    mirrored: float, dark: float, chroma: tuple[float, float, float]
) -> None:
    # Fresnel's 4 % of surroundings as bright as a white, seen nowhere in the picture.
    true = dark * np.array(chroma) * WHITE
    lab, covariance = body_lab(Body(true + mirrored * WHITE, 0.0, 0.0))
    away = lab - xyz_to_lab(true, WHITE)
    # Beside the gloss there is always the rest of what a photograph is not free of.
    total = covariance + 1.5**2 * np.eye(3)
    assert np.all(np.abs(away) < 3.0 * np.sqrt(np.diag(total)))


def test_more_photographs_know_more_only_if_they_mirror_otherwise() -> None:
    dark = Body(np.array([0.06, 0.05, 0.08]) * WHITE, 0.0, 0.0)
    one = np.trace(body_lab(dark)[1])
    alike = np.trace(body_lab(dark, [0.0, 0.0])[1])
    turned = np.trace(body_lab(dark, [0.02, 0.05])[1])
    assert alike == pytest.approx(one, rel=1e-9)
    assert turned < 0.5 * one


def test_no_body_is_darker_than_its_darkest_channel_allows() -> None:
    # A red whose blue returns 1 % cannot hide 4 % of white light.
    tight = body_lab(Body(np.array([0.2, 0.1, 0.008]) * WHITE, 0.0, 0.0))[1]
    loose = body_lab(Body(np.array([0.2, 0.1, 0.06]) * WHITE, 0.0, 0.0))[1]
    assert tight[0, 0] < 0.2 * loose[0, 0]


@cache
def turned(panel: str, **changes: float) -> tuple[PhotoReading, ...]:
    scenes = [
        Scene().but(panel=panel, seed=3 + i, **{**t, **changes}) for i, t in enumerate(TURNED)
    ]
    pictures = [render(s) for s in scenes]
    return tuple(read_photo(to_jpeg(p), panel=p.panel.tolist()) for p in pictures)


def test_three_photographs_together_tell_the_paint_of_a_dark_panel() -> None:
    truth = render(Scene().but(panel="near-black")).lab
    each = turned("near-black")
    together = combine(each)
    assert together.photographs == 3
    assert together.reading.sd is not None
    assert together.reading.sd < 0.8 * np.median([r.reading.sd or 0 for r in each])
    away = np.array(together.lab) - truth
    assert np.all(np.abs(away) < 3.0 * np.sqrt(np.diag(together.covariance)))
    assert np.linalg.norm(away) < np.median([np.linalg.norm(np.array(r.lab) - truth) for r in each])


def test_what_photographs_share_does_not_shrink_with_their_number() -> None:
    each = turned("near-black")
    many = combine(each * 8)
    shared_part = np.sum([many.parts[n] for n in COMMON if n in many.parts], axis=0)
    before = np.mean([shared(r)[0] for r in each], axis=0)
    np.testing.assert_allclose(shared_part, before, rtol=1e-9)
    assert np.trace(many.covariance) > np.trace(before)


def test_nothing_is_combined_of_nothing() -> None:
    with pytest.raises(DomainError, match="no photograph"):
        combine([])


def shifted(reading: PhotoReading, by: np.ndarray) -> tuple[float, float, float]:
    light, red, yellow = np.array(reading.lab) - by
    return float(light), float(red), float(yellow)


def test_a_phone_learns_what_it_is_always_wrong_by() -> None:
    one, two, _ = turned("near-black")
    wrong = np.array([1.5, -2.0, 1.0])
    profile = Profile("a phone")
    for light in ("booth", "noon", "morning", "evening", "hall"):
        profile = profile.learnt(one, shifted(one, wrong), light=light)
    after = profile.applied(two)
    gained = np.linalg.norm(np.array(after.lab) - shifted(two, wrong))
    assert gained < 0.6 * np.linalg.norm(wrong)
    assert np.trace(after.covariance) < np.trace(two.covariance)
    assert "profile" in after.parts
    assert from_plain(Profile, load(dump(to_plain(profile)))) == profile


def test_panels_under_one_light_teach_less_than_under_several() -> None:
    one, two, _ = turned("near-black")
    truth = shifted(one, np.zeros(3))
    spread = []
    for lights in (["noon"] * 6, [f"day {i}" for i in range(6)]):
        profile = Profile("a phone")
        for light in lights:
            profile = profile.learnt(one, truth, light=light)
        spread.append(np.trace(profile.applied(two).parts["profile"]))
    assert spread[1] < spread[0]


def test_a_new_phone_changes_nothing_and_a_wrong_panel_teaches_nothing() -> None:
    one, *_ = turned("near-black")
    assert Profile("new").applied(one) is one
    with pytest.raises(DomainError, match="same panel"):
        Profile("new").learnt(one, (80.0, 50.0, 50.0))
    with pytest.raises(DomainError, match="instrument"):
        Profile("new").learnt(one, (80.0, float("nan"), 50.0))


def test_errors_worse_than_believed_are_believed() -> None:
    one, two, _ = turned("near-black")
    root = np.linalg.cholesky(one.covariance)
    signs = [np.array(s) for s in ((1, 1, 1), (-1, 1, -1), (1, -1, -1), (-1, -1, 1))]
    good = bad = Profile("p")
    for i, sign in enumerate(signs):
        good = good.learnt(one, one.lab, light=str(i))
        bad = bad.learnt(one, shifted(one, 4.0 / np.sqrt(3.0) * root @ sign), light=str(i))
    assert np.trace(bad.applied(two).parts["profile"]) > np.trace(
        good.applied(two).parts["profile"]
    )
