"""The match's panels by what the order names: another difference, a box, face and flop."""

from __future__ import annotations

import base64
import re
import threading
import time
from collections.abc import Iterator
from io import BytesIO
from pathlib import Path
from typing import Any

import pypdf
import pytest

from matchlib.colorimetry import delta_e00
from matchlib.domain import Reading
from matchlib.forecast import forecast
from matchlib.suggest import Target, Tolerance
from matchlib.tails import chance_words
from tests.angle_shop import FACE, FLOP, aimed_at, angle_archive, recipe_at
from tests.test_match_panel import settled, words
from workbook.match import MatchApp
from workbook.match.keeping import Tried, Work, plain_of, work_of
from workbook.session import Session
from workbook.session.order import aim_of

BOTH = aimed_at("3@5:1")


def table_of(readings: tuple[Reading, ...]) -> bytes:
    lines = ["panel,geometry,L,a,b"]
    lines += [f"ring,{r.viewing.geometry},{','.join(map(str, r.lab or ()))}" for r in readings]
    return "\n".join(lines).encode()


@pytest.fixture
def match(tmp_path: Path) -> Iterator[MatchApp]:
    with Session.open(angle_archive(tmp_path)) as session:
        made = settled(MatchApp(session))
        panel = made.panels["target"]
        panel.way.value = "file"
        panel.file.receive("ring.csv", table_of(BOTH))
        yield made


def searched(match: MatchApp) -> Any:
    match.go("suggestions")
    settled(match)
    assert match.bench.found is not None, words(match.panels["suggestions"].said)
    return match.panels["suggestions"]


def said(view: Any) -> str:
    return " ".join(words(view).split())


def test_a_file_of_two_angles_is_a_target_at_both(match: MatchApp) -> None:
    work = match.bench.work
    assert [r.viewing for r in work.readings] == [FACE, FLOP]
    panel = match.panels["target"]
    match.go("target")
    assert "at 2 angles together" in said(panel.said)
    for reading in BOTH:
        assert f"{reading.lab[0]:.1f}" in said(panel.view)
    assert "45as110" in said(match.glance)
    assert list(panel.weights.fields) == ["45as15", "45as110"]
    cards = searched(match)
    found = match.bench.session.match(aim_of(BOTH), top=5)
    assert [s.recipe for s in match.bench.found] == [s.recipe for s in found]
    text = said(cards.cards)
    for k, suggestion in enumerate(found, 1):
        assert chance_words(suggestion.probability) in text
        assert f"Number {k} at each angle" in text
        for lab in suggestion.labs:
            assert f"{lab[0]:.1f}" in text
    assert "at the worst angle" in text
    # With its second angle removed it is one at one angle again, and undo brings both back.
    panel.way.value = "panel"
    panel.panel.value = "M3"
    panel.use.press("use")
    assert match.bench.work.readings == match.bench.session.angles_of_panel("M3")
    panel.way.value = "lab"
    panel.lab.remove(panel.lab.rows[1])
    panel.use.press("use")
    assert len(match.bench.work.readings) == 1
    match.go("target")
    assert panel.weights.box.layout.display == "none"
    match.steps.press("undo")
    match.steps.press("undo")
    assert match.bench.work.readings == BOTH


def test_a_weight_is_typed_kept_and_undone(match: MatchApp) -> None:
    match.go("target")
    panel = match.panels["target"]
    panel.weights.fields["45as110"].value = 0.25
    assert match.bench.work.weights == {"45as110": 0.25}
    searched(match)
    own = match.bench.session.match(aim_of(BOTH, weights={"45as110": 0.25}), top=5)
    assert [s.probability for s in match.bench.found] == [s.probability for s in own]
    assert "0.25 times" in said(match.panels["suggestions"].cards)
    again = settled(MatchApp(match.bench.session))
    again.go("target")
    assert again.panels["target"].weights.fields["45as110"].value == 0.25
    match.go("target")
    match.steps.press("undo")
    assert match.bench.work.weights == {}
    assert panel.weights.fields["45as110"].value == 1.0


def test_the_kind_of_tolerance_shows_its_own_fields_and_is_remembered(match: MatchApp) -> None:
    match.go("limits")
    panel = match.panels["limits"]

    def shown() -> list[bool]:
        return [f.layout.display != "none" for f in (panel.tolerance, *panel.sides)]

    assert shown() == [True, False, False, False]
    panel.kind.value = "cmc2:1"
    assert shown() == [True, False, False, False]
    assert panel.tolerance.unit == "CMC(2:1)"
    panel.kind.value = "box-lch"
    assert shown() == [False, True, True, True]
    assert "ΔH*" in panel.sides[2].label
    panel.sides[0].value = 2.0
    assert match.bench.work.order == Tolerance("LCh", box=(2.0, 1.0, 1.0))
    assert "ΔL* within ±2, ΔC* within ±1, ΔH* within ±1" in said(panel.view)
    assert "ΔL* within ±2" in said(match.glance)
    panel.sides[1].value = None  # being typed: the last one holds
    assert match.bench.work.box == (2.0, 1.0, 1.0)
    again = settled(MatchApp(match.bench.session))
    again.go("limits")
    assert again.panels["limits"].kind.value == "box-lch"
    assert again.panels["limits"].sides[0].value == 2.0
    for _ in range(3):
        match.steps.press("undo")
    assert match.bench.work.order == Tolerance()
    assert panel.kind.value == "de00"
    assert shown() == [True, False, False, False]


def test_cards_and_what_if_follow_the_kind(match: MatchApp) -> None:
    plain = {s.recipe: s.probability for s in match.bench.session.match(aim_of(BOTH), top=5)}
    match.go("limits")
    match.panels["limits"].kind.value = "cmc1:1"
    cards = searched(match)
    cmc = Tolerance("CMC", 1.0, 1.0, 1.0)
    own = match.bench.session.match(aim_of(BOTH, cmc), top=5)
    assert [s.probability for s in match.bench.found] == [s.probability for s in own]
    assert any(plain.get(s.recipe) not in (None, s.probability) for s in own)
    text = said(cards.cards)
    assert f"Next panel: CMC(1:1) {own[0].expected_delta_e00:.2f}" in text
    cards.cards.press("compare:0")
    cards.cards.press("compare:1")
    assert "expected CMC(1:1)" in said(cards.compared)
    assert "predicted at 45as110" in said(cards.compared)
    cards.cards.press("use:0")
    match.go("what-if")
    panel = match.panels["what-if"]
    aim = Target.of_readings(BOTH, tolerance=cmc)
    (own,) = forecast(match.bench.need_model(), [panel.recipe], aim)
    assert panel.predicted() == own
    assert f"CMC(1:1) {own.expected:.2f} ± {own.sd:.2f}" in said(panel.view)
    assert chance_words(own.probability) in said(panel.view)
    assert f"{own.angles[1].lab[0]:.1f}" in said(panel.view)


def spray(match: MatchApp, labs: list[tuple[float, float, float]], code: str) -> Any:
    match.go("sprayed")
    panel = match.panels["sprayed"]
    panel.code.value = code
    panel.light.value, panel.red.value, panel.yellow.value = labs[0]
    for field, value in zip(panel.others.fields["45as110"], labs[1], strict=True):
        field.value = value
    panel.buttons.press("sprayed")
    settled(match)
    return panel


def test_a_panel_is_read_at_every_angle_and_corrected_at_all(match: MatchApp) -> None:
    match.bench.change("recipe", recipe=recipe_at("3@6:1"))
    match.go("sprayed")
    panel = match.panels["sprayed"]
    assert list(panel.others.fields) == ["45as110"]
    face, flop = (r.lab for r in BOTH)
    panel.light.value, panel.red.value, panel.yellow.value = face
    panel.buttons.press("sprayed")
    assert "at 45as110 is not whole" in said(panel.said)
    assert match.bench.work.tried == ()
    panel.file.receive("face.csv", table_of(BOTH[:1]))
    assert "not read at 45as110" in said(panel.said)

    off = (flop[0] + 4.0, flop[1], flop[2])
    panel = spray(match, [face, off], "K1")
    (tried,) = match.bench.work.tried
    assert [r.lab for r in tried.readings] == [face, off]
    session, recipe = match.bench.session, recipe_at("3@6:1")
    own = [(recipe, tried.readings)]
    advice = session.correct(aim_of(BOTH), sprayed=own, limits=match.bench.limits())
    assert advice.difference == pytest.approx(float(delta_e00(flop, off)))
    for line in advice.words.splitlines():
        assert line in words(panel.view)
    assert "Panel K1 at each angle" in said(panel.view)
    assert all(f.value is None for f in panel.others.fields["45as110"])
    # Half-typed readings at the other angle outlive the kernel.
    panel.others.fields["45as110"][0].value = 21.5
    again = settled(MatchApp(session))
    again.go("sprayed")
    assert again.panels["sprayed"].others.fields["45as110"][0].value == 21.5
    assert again.bench.work == match.bench.work
    # Kept, the panel has both readings, and the advice stays as it was.
    panel.buttons.press("keep")
    settled(match)
    assert [r.lab for r in session.archive.panel("K1").readings] == [face, off]
    assert advice.words.splitlines()[0] in words(panel.view)


def test_advice_follows_a_change_of_the_tolerance(match: MatchApp) -> None:
    match.bench.change("recipe", recipe=recipe_at("3@6:1"))
    face, flop = (r.lab for r in BOTH)
    panel = spray(match, [face, (flop[0] + 1.5, flop[1], flop[2])], "K2")
    assert "This panel passes" not in words(panel.view)
    match.go("limits")
    limits = match.panels["limits"]
    limits.kind.value = "box"
    for side in limits.sides:
        side.value = 3.0
    match.go("sprayed")
    settled(match)
    assert "This panel passes: 0.50 of the box" in said(panel.view)


def test_the_job_sheet_says_tolerance_and_angles(match: MatchApp) -> None:
    match.bench.change("recipe", recipe=recipe_at("3@5:1"))
    match.go("limits")
    match.panels["limits"].kind.value = "cmc2:1"
    match.go("sheet")
    settled(match)
    panel = match.panels["sheet"]
    found = re.search(r'href="data:application/pdf;base64,([^"]+)"', panel.view.html)
    assert found, words(panel.said)
    pages = pypdf.PdfReader(BytesIO(base64.b64decode(found[1]))).pages
    text = " ".join(" ".join(p.extract_text() for p in pages).split())
    assert "CMC(2:1) at most 1, at every angle" in text
    assert "Read, 45as110: L*" in text
    assert len(pages) <= 3
    # How even it lays is told by the order's difference too.
    assert "from side to side expect up to CMC(2:1)" in text
    assert "by the order, most at 45as" in text


def test_work_of_several_angles_survives_as_plain_data() -> None:
    import json

    recipe = recipe_at("3@5:1")
    tried = (Tried("1", recipe, BOTH[0], more=BOTH[1:]),)
    work = Work(BOTH[0], "ring", 1.2, None, recipe, tried, {}, BOTH[1:], "cmc2:1", (1.0, 2.0, 3.0),
                {"45as15": 2.0})  # fmt: skip
    assert work_of(json.loads(json.dumps(plain_of(work)))) == work
    old = {k: v for k, v in plain_of(Work(BOTH[0])).items()
           if k not in ("angles", "kind", "box", "weights")}  # fmt: skip
    assert work_of(old) == Work(BOTH[0])


def test_cancel_ends_the_search_itself_and_the_bar_tells_how_far_it_is() -> None:
    from workbook.controls import Progress
    from workbook.desk import Task

    begun, steps, got, failed = threading.Event(), [], [], []
    task = Task(Progress(), failed.append)

    def work() -> None:
        for k in range(100_000):
            steps.append(k)
            task.step(k / 100_000, "looking through every recipe")
            begun.set()
            time.sleep(0.001)

    task.start("searching", work, got.append)
    assert begun.wait(30)
    assert task.bar.text == "Looking through every recipe"
    assert task.bar.value is not None
    task.cancel()
    task.thread.join(30)
    assert not task.thread.is_alive()
    assert len(steps) < 100_000
    assert (got, failed) == ([], [])
    assert "nothing was changed" in task.bar.text


def test_the_session_hands_the_steps_to_the_search(match: MatchApp) -> None:
    told: list[float | None] = []

    def step(share: float | None, words: str) -> None:
        assert words
        told.append(share)

    session = match.bench.session
    found = session.match(aim_of(BOTH), top=2, step=step)
    assert [s.recipe for s in found] == [s.recipe for s in session.match(aim_of(BOTH), top=2)]
    shares = [s for s in told if s is not None]
    assert shares == sorted(shares)
    assert shares[-1] > shares[0]

    class EnoughError(Exception):
        pass

    def stop(share: float | None, words: str) -> None:
        raise EnoughError

    with pytest.raises(EnoughError):
        session.match(aim_of(BOTH), top=2, step=stop)
