"""Guess, then look: exercises drawn from real panels, marked in ΔE00 and in words.

A panel serves only where the law fitted to the whole archive explains its reading: a panel whose
back may be wrong would teach the wrong thing. The answers offered differ from one another by more
than an eye could miss, as the law has them, so that a right guess is not luck alone.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from matchlib.colorimetry import delta_e00
from matchlib.domain import CoatSchedule, Ground, Lab, Panel, Recipe, Viewing, three
from matchlib.errors import DomainError
from matchlib.lessons.change import changes_of, wanted_near
from matchlib.lessons.drill import check_choice
from matchlib.overview import panel_lab
from matchlib.plural import counted
from matchlib.suggest.words import direction
from matchlib.tails import region, squared_distance

if TYPE_CHECKING:
    from matchlib.regression import FilmPredictor

__all__ = ["KINDS", "Exercise", "Marked", "make_exercise", "mark"]

Array = NDArray[np.float64]

KINDS: dict[str, str] = {
    "ground": "Which ground is under it?",
    "coats": "How many coats are on it?",
    "change": "What would you change?",
    "recipe": "Which would you spray?",
}
"""Kinds of exercise, the easiest first, and their questions."""

APART = 2.0
"""Least difference between two answers offered [ΔE00]: about twice what a careful eye sees."""

PASSES = 1.0
"""Difference within which a recipe counts as a match [ΔE00] (common practice, no source)."""

ORDINARY = 0.99
"""Share of readings the law explains [-]: a panel that lies beyond asks no question."""

MOST = 4


@dataclass(frozen=True, slots=True)
class Exercise:
    """A question about a real panel.

    Parameters
    ----------
    kind : str
        One of `KINDS`.
    panel : str
        Its code; to be shown only afterwards.
    lab : tuple of 3 float
        What it reads.
    question, given : str
        What is asked, and what is told about the panel.
    options : tuple of Recipe
        Recipes that may be it.
    texts : tuple of str
        The options in words, all different.
    labs : tuple of tuple of 3 float
        What the law says each would read.
    right : int
        Which of them is on its back; of changes, which the law says comes nearest.
    start : tuple of 3 float, optional
        Of a change: what the card reads, `lab` being what is wanted.

    Examples
    --------
    >>> from matchlib.demo import demo_model, demo_panels
    >>> asked = make_exercise(demo_model(), demo_panels(), "coats", seed=1)
    >>> mark(asked, asked.right).passed
    True
    """

    kind: str
    panel: str
    lab: Lab
    question: str
    given: str
    options: tuple[Recipe, ...]
    texts: tuple[str, ...]
    labs: tuple[Lab, ...]
    right: int
    start: Lab | None = None


@dataclass(frozen=True, slots=True)
class Marked:
    """A guess and what came of it.

    Parameters
    ----------
    choice : int
        Option chosen.
    passed : bool
        Whether it was right.
    difference : float
        How far a panel of the choice would read from the panel shown, by the law [ΔE00].
    best : float
        The same of the recipe on its back: what even a right guess is off [ΔE00].
    words : str
        The same in sentences.

    Examples
    --------
    >>> from matchlib.demo import demo_model, demo_panels
    >>> asked = make_exercise(demo_model(), demo_panels(), "coats", seed=1)
    >>> mark(asked, asked.right).choice == asked.right
    True
    """

    choice: int
    passed: bool
    difference: float
    best: float
    words: str


def make_exercise(
    model: FilmPredictor,
    panels: Sequence[Panel],
    kind: str,
    *,
    seed: int,
    without: Collection[str] = (),
) -> Exercise:
    """Draw an exercise.

    Parameters
    ----------
    model : FilmPredictor
        The archive's fit.
    panels : sequence of Panel
        The archive.
    kind : str
        One of `KINDS`.
    seed : int
        Decides the panel and the order of the answers.
    without : collection of str
        Codes of panels that were asked lately.

    Returns
    -------
    Exercise
        The same for the same seed and archive.

    Raises
    ------
    DomainError
        If the archive cannot support such a question.

    Examples
    --------
    >>> from matchlib.demo import demo_model, demo_panels
    >>> asked = make_exercise(demo_model(), demo_panels(), "coats", seed=1)
    >>> len(asked.options) == len(asked.texts)
    True
    """
    if kind not in KINDS:
        raise DomainError(
            "There is no such exercise.",
            expected=", ".join(KINDS),
            got=kind,
            remedy="choose one of them.",
        )
    view = model.usual_view
    rng = np.random.default_rng(seed)
    rivals: dict[str, Callable[..., list[Recipe]]]
    rivals = {"ground": _grounds, "coats": _coats, "recipe": _recipes}
    asked = set(without)
    # A card that nobody has read yet may name a ground or colour of which no reading tells.
    panels = [p for p in panels if model.words_.knows(p.recipe)]
    trusted = _trusted(model, panels, view)
    grounds = list(dict.fromkeys(p.recipe.ground for p in panels if p.recipe.ground.neat))
    # What was asked lately comes last, not never: a small archive has few panels.
    order = sorted(rng.permutation(len(trusted)), key=lambda i: trusted[i][0].code in asked)
    for i in order:
        panel, lab = trusted[int(i)]
        if kind == "change":
            read = [t for _, t in trusted]
            found = _change(model, panel, lab, read=read, grounds=grounds, view=view, rng=rng)
            if found is not None:
                return found
            continue
        others = rivals[kind](panel.recipe, [p.recipe for p, _ in trusted], rng)
        options = [panel.recipe, *others]
        labs = model.predict_recipes(options, view)
        chosen = _apart(labs)
        if len(chosen) < 3:
            continue
        chosen = [chosen[int(j)] for j in rng.permutation(len(chosen))]
        if kind == "coats":
            chosen.sort(key=lambda j: options[j].coats)
        picked = tuple(options[j] for j in chosen)
        return Exercise(
            kind=kind,
            panel=panel.code,
            lab=lab,
            question=KINDS[kind],
            given=_given(kind, panel.recipe),
            options=picked,
            texts=tuple(_text(kind, r) for r in picked),
            labs=tuple(three(labs[j]) for j in chosen),
            right=chosen.index(0),
        )
    raise DomainError(
        "This archive cannot support the question.",
        expected="a finished panel that an instrument reads as predicted, and two other answers "
        "that look different",
        got=f"{counted(len(trusted), 'such panel')}",
        remedy="spray this colour over more grounds, or in more coats."
        if trusted
        else "read finished panels with colour on them with an instrument; photographs do not do.",
    )


def mark(exercise: Exercise, choice: int) -> Marked:
    """Mark a guess.

    Parameters
    ----------
    exercise : Exercise
        As asked.
    choice : int
        Option chosen.

    Returns
    -------
    Marked
        In ΔE00 and in words.

    Raises
    ------
    DomainError
        If there is no such option.

    Examples
    --------
    >>> from matchlib.demo import demo_model, demo_panels
    >>> asked = make_exercise(demo_model(), demo_panels(), "coats", seed=1)
    >>> right, other = (mark(asked, (asked.right + by) % len(asked.texts)) for by in (0, 1))
    >>> right.difference <= other.difference
    True
    """
    check_choice(choice, len(exercise.options))
    away = np.asarray(delta_e00(np.asarray(exercise.labs), np.asarray(exercise.lab)), float)
    difference, best = float(away[choice]), float(away[exercise.right])
    passed = choice == exercise.right
    if exercise.kind in ("recipe", "change"):
        # Any recipe that matches is right, whichever is on the back.
        passed = passed or difference <= max(PASSES, best)
    if exercise.kind == "change":
        words = _change_words(exercise, choice, away, passed=passed)
        return Marked(choice, passed, difference, best, words)
    chose, back = exercise.texts[choice], exercise.texts[exercise.right]
    if choice == exercise.right:
        words = f"Right: {back}. The prediction is ΔE00 {best:.1f} from what this panel reads"
        words += ", about as much as panels of one recipe differ." if best < 1.5 else "."
    elif passed:
        near = "a match" if difference <= PASSES else "no farther than what is on its back"
        words = (
            f"Right: {chose} would read ΔE00 {difference:.1f} from this panel, {near}. "
            f"The back says {back} (ΔE00 {best:.1f})."
        )
    else:
        how = direction(exercise.lab, exercise.labs[choice]) or ["hardly different"]
        words = (
            f"Not this time: {chose} would read ΔE00 {difference:.1f} away from this panel: "
            f"{', '.join(how)}. The back says {back} (ΔE00 {best:.1f})."
        )
    return Marked(choice, passed, difference, best, words)


def _change(
    model: FilmPredictor,
    panel: Panel,
    lab: Lab,
    *,
    read: Sequence[Lab],
    grounds: Sequence[Ground],
    view: Viewing,
    rng: np.random.Generator,
) -> Exercise | None:
    """A card, a colour of the archive that one change brings near, and changes to choose from."""
    changes = changes_of(panel.recipe, grounds)
    if len(changes) < 3 or panel.recipe.schedule is None:
        return None
    law = model.predict_recipes([panel.recipe, *(r for _, r in changes)], view)
    # What this card came out beside the law stays with the next card sprayed alike.
    after = law[1:] + (np.asarray(lab) - law[0])
    order = rng.permutation(len(read))
    found = wanted_near(np.asarray(lab), after, np.asarray(read)[order])
    if found is None:
        return None
    wanted = read[int(order[found])]
    left = np.asarray(delta_e00(after, np.asarray(wanted)))
    best = int(np.argmin(left))
    rest = [int(j) for j in rng.permutation(len(changes)) if left[j] > left[best] + APART]
    if len(rest) < 2:
        return None
    chosen = [best, *rest[: MOST - 1]]
    chosen = [chosen[int(j)] for j in rng.permutation(len(chosen))]
    return Exercise(
        kind="change",
        panel=panel.code,
        lab=wanted,
        question=KINDS["change"],
        given=f"The card is {panel.recipe.words}. Beside it is the colour that is wanted.",
        options=tuple(changes[j][1] for j in chosen),
        texts=tuple(changes[j][0] for j in chosen),
        labs=tuple(three(after[j]) for j in chosen),
        right=chosen.index(best),
        start=lab,
    )


def _change_words(exercise: Exercise, choice: int, away: Array, *, passed: bool) -> str:
    """What the change chosen would do by the law, and which comes nearest."""
    now = float(delta_e00(np.asarray(exercise.start), np.asarray(exercise.lab)))
    how = direction(exercise.lab, exercise.labs[choice])[:2] or ["hardly different"]
    head = "Right" if passed else "Not this time"
    text = (
        f"{head}: by the prediction, {exercise.texts[choice]} would take the card from ΔE00 "
        f"{now:.1f} to {away[choice]:.1f} ({', '.join(how)})."
    )
    if choice != exercise.right:
        text += f" Nearest of these: {exercise.texts[exercise.right]}, {away[exercise.right]:.1f}."
    return text


def _trusted(
    model: FilmPredictor, panels: Sequence[Panel], view: Viewing
) -> list[tuple[Panel, Lab]]:
    """Finished panels with colour whose reading the law explains."""
    finished = [p for p in panels if not p.recipe.bare and p.read_as == p.recipe]
    read = [(p, panel_lab(p, view)) for p in finished]
    some = [(p, lab) for p, lab in read if lab is not None]
    if not some:
        return []
    there = model.predict_each([p.recipe for p, _ in some], view)
    off = np.array([x for _, x in some]) - there.lab
    explained = squared_distance(off, there.covariance) <= region(ORDINARY, there.dof)
    return [pair for pair, plain in zip(some, explained, strict=True) if plain]


def _apart(labs: Array) -> list[int]:
    """Keep the first and those that differ enough from all kept before."""
    kept = [0]
    for j in range(1, len(labs)):
        if len(kept) < MOST and np.min(delta_e00(labs[kept], labs[j])) >= APART:
            kept.append(j)
    return kept


def _grounds(own: Recipe, known: Sequence[Recipe], rng: np.random.Generator) -> list[Recipe]:
    others = list(dict.fromkeys(r.ground for r in known if r.ground != own.ground))
    return [replace(own, ground=others[int(i)]) for i in rng.permutation(len(others))]


def _coats(own: Recipe, known: Sequence[Recipe], rng: np.random.Generator) -> list[Recipe]:
    if own.schedule is None or len(own.schedule.steps) != 1:
        return []
    step = own.schedule.steps[0]
    most = max(max((r.coats for r in known), default=0), step.coats + 1)
    counts = [n for n in range(1, most + 1) if n != step.coats]
    counts.sort(key=lambda n: (abs(n - step.coats), rng.random()))
    return [replace(own, schedule=CoatSchedule.of(n, step.ratio)) for n in counts]


def _recipes(own: Recipe, known: Sequence[Recipe], rng: np.random.Generator) -> list[Recipe]:
    near = [r for r in dict.fromkeys(known) if r != own and r.clear == own.clear]
    mixed = [near[int(i)] for i in rng.permutation(len(near))]
    # One answer of another ground and one of another schedule make the reader weigh both.
    return sorted(mixed, key=lambda r: (r.colour != own.colour, rng.random()))[:30]


def _given(kind: str, recipe: Recipe) -> str:
    schedule = "" if recipe.schedule is None else recipe.schedule.words
    clear = "under clear coat" if recipe.clear else "without clear coat"
    if kind == "ground":
        return f"{_colours(recipe)}, {schedule}, {clear}."
    if kind == "coats" and recipe.schedule is not None:
        ratio = recipe.schedule.steps[0].ratio
        return f"{recipe.colour} over {recipe.ground}, at {ratio} ({ratio.words}), {clear}."
    return f"A customer wants this colour, {clear}."


def _text(kind: str, recipe: Recipe) -> str:
    if kind == "ground":
        return str(recipe.ground)
    if kind == "coats":
        return counted(recipe.coats, "coat")
    schedule = "" if recipe.schedule is None else recipe.schedule.words
    return f"{_colours(recipe)} over {recipe.ground}: {schedule}"


def _colours(recipe: Recipe) -> str:
    return " then ".join(map(str, recipe.colours))
