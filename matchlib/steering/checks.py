"""Whether the readings of a card in progress can be what they are said to be."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from matchlib.colorimetry import delta_e76
from matchlib.correction import Belief, Sprayed
from matchlib.domain import Recipe, Viewing, three
from matchlib.errors import DomainError

__all__ = ["DRY_MINUTES", "check_stages", "too_soon"]

DRY_MINUTES = 15.0
"""Least time from a coat to a reading of it [min] (common practice, no source; the product's data
sheet has the time at which a coat is touch dry)."""

FAR = 4.0
"""Standard deviations beyond which a reading is refused until somebody looked again."""


def check_stages(belief: Belief, stages: Sequence[Sprayed], *, sure: bool = False) -> list[Sprayed]:
    """Return a card's stages, one reading each; refuse what no such card can have.

    Parameters
    ----------
    belief : Belief
        Before this card.
    stages : sequence of Sprayed
        Its readings in the order sprayed; repeats of a stage follow each other.
    sure : bool
        Whether readings that cannot be were looked at again and are so.

    Returns
    -------
    list of Sprayed
        The mean of a stage's repeats.

    Raises
    ------
    DomainError
        If there is no reading, the stages do not follow each other, two readings of one stage
        disagree, or one is lighter than the bare ground or darker than a coat more would be.

    Examples
    --------
    >>> from matchlib import Recipe
    >>> from matchlib.correction import Belief, Sprayed
    >>> from matchlib.demo import demo_model
    >>> two = Recipe.of("pale gold", "cherry", "2@3:1")
    >>> read = demo_model().predict_recipes([two])[0]
    >>> (stage,) = check_stages(Belief.of(demo_model()), [Sprayed.of((two, read))])
    >>> print(stage.recipe)
    cherry over pale gold, 2@3:1
    """
    if not stages:
        raise DomainError(
            "This card was not read yet.",
            expected="a reading after its first coats",
            got="none",
            remedy="spray up to the first look, let it dry, and read it.",
        )
    found: list[list[Sprayed]] = []
    for number, stage in enumerate(stages, 1):
        if found and stage.recipe == found[-1][0].recipe:
            if stage.clear_to_come == found[-1][0].clear_to_come:
                found[-1].append(stage)
                continue
        elif found:
            try:
                stage.recipe.after(found[-1][0].recipe)
            except DomainError as error:
                raise error.at(f"stage {number}") from None
        found.append([stage])
    rows = [_mean(belief, same, number) for number, same in enumerate(found, 1)]
    if not sure:
        for number, row in enumerate(rows, 1):
            _possible(belief, row, number)
    return rows


def _mean(belief: Belief, same: Sequence[Sprayed], number: int) -> Sprayed:
    """The mean of repeats under each viewing, if under the first they are as near as reading is."""
    if len(same) == 1:
        return same[0]
    views: dict[Viewing, list[Sprayed]] = {}
    for view in (view for repeat in same for view in repeat.views):
        views.setdefault(view.viewing, []).append(view)
    labs = np.array([view.lab for view in views[same[0].viewing]])
    _, noise = belief.model.noise_split_
    sd = float(np.sqrt(noise[same[0].source]))
    most = FAR * np.sqrt(2.0) * max(sd, 0.05) * np.sqrt(3.0)
    apart = float(delta_e76(labs[:, None], labs[None]).max())
    if apart > most:
        raise DomainError(
            f"Two readings of stage {number} differ by more than reading does.",
            expected=f"at most ΔE*ab {most:.2f} between them",
            got=f"{apart:.2f}",
            remedy="read it a third time at the same place, dry and clean, and leave the wrong one "
            "out.",
        )
    means = [
        replace(each[0], lab=three(np.mean([v.lab for v in each], axis=0)), also=())
        for each in views.values()
    ]
    return replace(means[0], also=tuple(means[1:]))


def _possible(belief: Belief, row: Sprayed, number: int) -> None:
    """Refuse a reading lighter than the bare ground, or darker than a coat more would be."""
    recipe = row.read_as
    if recipe.schedule is None:
        return
    bare = Recipe(recipe.ground, clear=recipe.clear)
    predicted = belief.predict_each([bare, recipe], row.viewing, sources=row.source)
    lab, sd = predicted.lab, np.sqrt(predicted.covariance[:, 0, 0])
    light = row.lab[0]
    # Over a dark ground colour may scatter: only where coats darken is lighter than bare wrong.
    if lab[1, 0] < lab[0, 0] - sd[0] and light > lab[0, 0] + FAR * sd[0]:
        raise DomainError(
            "This reading is lighter than its bare ground.",
            expected=f"L* of at most {lab[0, 0]:.1f}, that of {recipe.ground} with no colour on it",
            got=f"L* {light:.1f}",
            remedy="see whether the card lies on the ground that is written on it, and read it "
            "again, dry.",
            where=f"stage {number}",
        )
    film = np.log1p(1.0 / recipe.schedule.coats)
    more = belief.linear([recipe], row.viewing, sources=row.source, film=film, slopes=False)
    darker = more.lab[0, 0]
    if light < min(darker, lab[1, 0]) - FAR * sd[1]:
        raise DomainError(
            "This reading is darker than a whole coat more could make it.",
            expected=f"about L* {lab[1, 0]:.1f} for {recipe.schedule}, and {darker:.1f} with one "
            "coat more",
            got=f"L* {light:.1f}",
            remedy="count the coats, see what was in the cup and on which ground it lies, and read "
            "it again, dry.",
            where=f"stage {number}",
        )


def too_soon(minutes: float | None) -> str:
    """Return a question where a card was read so soon that it may not have been dry.

    Parameters
    ----------
    minutes : float, optional
        From the last coat to the reading [min]; None where nobody said.

    Returns
    -------
    str
        Empty where there is nothing to ask.

    Examples
    --------
    >>> too_soon(1.0).partition(":")[0]
    'It was read 1 min after its last coat'
    """
    if minutes is None or minutes >= DRY_MINUTES:
        return ""
    ago = "less than a minute" if minutes < 1 else f"{minutes:.0f} min"
    return (
        f"It was read {ago} after its last coat: was it dry? A wet coat reads darker and glossier "
        "than it will be. If it was not touch dry by its data sheet, read it again."
    )
