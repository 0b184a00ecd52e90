"""Exercises from real panels and drills of ratios: what is asked, and how it is marked."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from matchlib.colorimetry import delta_e00
from matchlib.domain import Ground, MixRatio, Panel, Recipe
from matchlib.errors import DomainError
from matchlib.lessons import (
    KINDS,
    make_drill,
    make_exercise,
    mark,
)
from matchlib.lessons.change import changes_of
from matchlib.overview import (
    panel_lab,
    panel_residuals,
)
from matchlib.regression import FilmPredictor


@pytest.mark.parametrize("kind", [k for k in KINDS if k != "change"])
def test_an_exercise_is_a_real_panel_with_distinct_answers(
    model: FilmPredictor, panels: tuple[Panel, ...], kind: str
) -> None:
    by_code = {p.code: p for p in panels}
    for seed in range(5):
        asked = make_exercise(model, panels, kind, seed=seed)
        panel = by_code[asked.panel]
        assert asked == make_exercise(model, panels, kind, seed=seed)
        assert asked.lab == panel_lab(panel, model.usual_view)
        assert asked.options[asked.right] == panel.recipe
        assert 3 <= len(asked.options) <= 4
        assert len(set(asked.texts)) == len(asked.texts)
        apart = [
            float(delta_e00(a, b)) for i, a in enumerate(asked.labs) for b in asked.labs[i + 1 :]
        ]
        assert min(apart) >= 2.0
        right = mark(asked, asked.right)
        assert right.passed
        assert (
            right.difference
            == right.best
            == pytest.approx(float(delta_e00(asked.labs[asked.right], asked.lab)))
        )
        for i in range(len(asked.options)):
            one = mark(asked, i)
            assert one.difference == pytest.approx(float(delta_e00(asked.labs[i], asked.lab)))
            assert f"{one.difference:.1f}" in one.words
            if kind != "recipe":
                assert one.passed == (i == asked.right)


def test_a_panel_with_a_wrong_back_is_never_asked_about(
    model: FilmPredictor, panels: tuple[Panel, ...]
) -> None:
    wrong = {m.panel.code for m in panel_residuals(model, panels) if m.difference > 5.0}
    assert wrong, "the archive has wrong backs"
    asked = {
        make_exercise(model, panels, kind, seed=seed).panel for kind in KINDS for seed in range(25)
    }
    assert not asked & wrong


def test_what_was_asked_lately_is_not_asked_again(
    model: FilmPredictor, panels: tuple[Panel, ...]
) -> None:
    lately: list[str] = []
    for seed in range(8):
        lately.append(make_exercise(model, panels, "ground", seed=seed, without=lately).panel)
    assert len(set(lately)) == len(lately)


def test_no_exercise_where_the_archive_cannot_support_it(
    model: FilmPredictor, panels: tuple[Panel, ...]
) -> None:
    one = [p for p in panels if p.recipe.ground == Ground.parse("silver")]
    with pytest.raises(DomainError, match="cannot support"):
        make_exercise(model, one, "ground", seed=1)
    with pytest.raises(DomainError, match="no such exercise"):
        make_exercise(model, panels, "hue", seed=1)
    asked = make_exercise(model, panels, "coats", seed=1)
    for none in (-1, len(asked.options)):
        with pytest.raises(DomainError, match="Nothing was chosen"):
            mark(asked, none)


@pytest.mark.parametrize("seed", range(40))
def test_a_drill_has_one_right_answer_and_the_usual_mistakes(seed: int) -> None:
    drill = make_drill(seed)
    assert drill == make_drill(seed)
    assert 3 <= len(set(drill.texts)) == len(drill.texts)
    for i in range(len(drill.texts)):
        passed, words = drill.mark(i)
        assert passed == (i == drill.right)
        assert drill.why in words
    numbers = [float(n) for n in re.findall(r"\d+(?:\.\d+)?", drill.question)]
    answer = drill.texts[drill.right]
    if drill.question.endswith("How much colour?"):
        carrier, one, there = numbers
        assert float(answer.removesuffix(" ml")) == pytest.approx(there / carrier * one)
    elif "poured" in drill.question:
        assert MixRatio.parse(answer) == MixRatio(int(numbers[0]), int(numbers[1]))
    else:
        share = MixRatio.parse(drill.question.split()[1].rstrip(",")).fraction
        up, down = answer.split(" ")[0].split("/")
        assert int(up) / int(down) == pytest.approx(share)
    with pytest.raises(DomainError):
        drill.mark(9)


def test_a_drill_asks_in_both_directions() -> None:
    asked = {make_drill(seed).question.rsplit(".", 1)[-1].split(",")[0] for seed in range(60)}
    assert any("How much colour" in a for a in asked)
    assert any("Which ratio" in a for a in asked)


def test_what_to_change_is_judged_by_the_law(
    model: FilmPredictor, panels: tuple[Panel, ...]
) -> None:
    by_code = {p.code: p for p in panels}
    view = model.usual_view
    for seed in range(4):
        asked = make_exercise(model, panels, "change", seed=seed)
        card = by_code[asked.panel]
        assert asked.start == panel_lab(card, view)
        law = model.predict_recipes([card.recipe, *asked.options], view)
        # The card's own distance from the law stays with it.
        np.testing.assert_allclose(asked.labs, law[1:] + asked.start - law[0], atol=1e-9)
        away = delta_e00(np.array(asked.labs), np.array(asked.lab))
        assert asked.right == int(np.argmin(away))
        now = float(delta_e00(np.array(asked.start), np.array(asked.lab)))
        assert away[asked.right] <= 0.4 * now
        found = mark(asked, asked.right)
        assert found.passed
        assert f"from ΔE00 {now:.1f} to {away[asked.right]:.1f}" in found.words
        wrong = next(i for i in range(len(away)) if i != asked.right)
        assert asked.texts[asked.right] in mark(asked, wrong).words


def test_changes_are_offered_once_each() -> None:
    for ratio in ("6:1", "3:2", "1.7:1", "1:1", "16:1"):
        named = [text for text, _ in changes_of(Recipe.of("silver", "cherry", f"3@{ratio}"), [])]
        assert len(set(named)) == len(named), "of 3:2 twice the strength rounds to once and a half"


def test_what_is_no_nearer_than_a_back_that_is_off_is_not_called_a_match(
    model: FilmPredictor, panels: tuple[Panel, ...]
) -> None:
    asked = make_exercise(model, panels, "recipe", seed=1)
    light, *rest = asked.lab
    labs = [(light - 30.0, *rest)] * len(asked.labs)
    labs[asked.right], other = (light + 4.0, *rest), (asked.right + 1) % len(labs)
    labs[other] = (light + 3.0, *rest)
    words = mark(replace(asked, labs=tuple(labs)), other).words
    assert words.startswith("Right: ")
    assert "a match" not in words
    labs[other] = (light + 0.5, *rest)
    assert "a match" in mark(replace(asked, labs=tuple(labs)), other).words
