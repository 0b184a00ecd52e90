"""A target typed at several angles is what a file of them gives, and outlives the kernel."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from matchlib.domain import Reading, Viewing
from tests.angle_shop import aimed_at, angle_archive
from tests.test_match_order import said, table_of
from tests.test_match_panel import settled
from workbook.match import MatchApp
from workbook.match.typed_angles import STANDARD
from workbook.session import Session

LABS = tuple(tuple(round(v, 2) for v in r.lab or ()) for r in aimed_at("3@5:1"))


@pytest.fixture
def match(tmp_path: Path) -> Iterator[MatchApp]:
    with Session.open(angle_archive(tmp_path)) as session:
        made = settled(MatchApp(session))
        made.go("target")
        yield made


def typed(match: MatchApp, angles: tuple[str, ...], labs: Any = LABS) -> Any:
    panel = match.panels["target"]
    while len(panel.lab.rows) < len(angles):
        panel.lab.more.press("more")
    for row, angle, lab in zip(panel.lab.rows, angles, labs, strict=True):
        row.angle.value = angle
        for field, value in zip(row.lab, lab, strict=True):
            field.value = value
    return panel


def test_typed_angles_are_what_a_file_gives(match: MatchApp, tmp_path: Path) -> None:
    panel = typed(match, ("45as15", "45as110"))
    panel.lab.rows[1].weight.value = 0.5
    panel.use.press("use")
    file = tmp_path / "ring.csv"
    file.write_bytes(
        table_of(
            tuple(
                Reading(Viewing(geometry=g), "spectrophotometer", lab)
                for g, lab in zip(("45as15", "45as110"), LABS, strict=True)
            )
        )
    )
    work = match.bench.work
    assert work.readings == match.bench.session.angles_of_file(file)
    assert work.weights == {"45as110": 0.5}
    assert "at 2 angles together" in said(panel.said)
    assert panel.weights.fields["45as110"].value == 0.5
    # Weights set below are those of the rows too, so that neither undoes the other.
    panel.weights.fields["45as110"].value = 2.0
    assert panel.lab.rows[1].weight.value == 2.0
    panel.use.press("use")
    assert match.bench.work.weights == {"45as110": 2.0}
    match.steps.press("undo")
    assert panel.lab.rows[1].weight.value == 0.5


def test_one_row_is_as_it_always_was(match: MatchApp) -> None:
    panel = match.panels["target"]
    (row,) = panel.lab.rows
    assert [f.label for f in row.lab] == ["L*", "a*", "b*"]
    assert row.angle.value == match.bench.model.words_.geometries[0]
    assert row.weight.layout.display == row.away.layout.display == "none"
    typed(match, ("45:0",), LABS[:1]).use.press("use")
    (reading,) = match.bench.work.readings
    assert (reading.viewing, reading.lab) == (Viewing(), LABS[0])
    panel.illuminant.value = "A"
    panel.use.press("use")
    assert match.bench.work.target.viewing == Viewing("A")


def test_rows_are_named_offered_added_and_removed(match: MatchApp) -> None:
    panel = match.panels["target"]
    for _ in STANDARD:
        panel.lab.more.press("more")
    rows = panel.lab.rows
    assert {*STANDARD} <= {r.angle.value for r in rows}
    assert len({r.angle.value for r in rows}) == len(rows)
    labels = [c.label + c.spoken for r in rows for c in (r.angle, *r.lab, r.weight)]
    assert len(set(labels)) == len(labels)
    assert rows[2].lab[0].label + rows[2].lab[0].spoken == "L* angle 3"
    rows[1].away.press("x")
    assert panel.lab.rows == (rows[0], *rows[2:])
    assert rows[2].angle.label == "Angle 2"
    for row in panel.lab.rows[1:]:
        row.away.press("x")
    assert panel.lab.rows == (rows[0],)
    rows[0].away.press("x")
    assert panel.lab.rows == (rows[0],)
    rows[0].angle.value = "45as15"
    assert rows[0].lab[0].max == 200
    rows[0].angle.value = "45:0"
    assert rows[0].lab[0].max == 100


@pytest.mark.parametrize(
    ("angles", "labs", "says"),
    [
        (("45as15", "45as110"), (LABS[0], (30.0, None, 2.0)), "target at 45as110 is not whole"),
        (("45as15", "45as15"), LABS, "typed twice at 45as15"),
        (("45as15", "45:0"), (LABS[0], (99.0, 90.0, -90.0)), "45:0: No surface can have"),
        (("45as15",), ((30.0, None, 2.0),), "target is not whole"),
    ],
)
def test_what_is_no_target_is_refused_by_its_angle(
    match: MatchApp, angles: tuple[str, ...], labs: Any, says: str
) -> None:
    before = match.bench.work
    panel = typed(match, angles, labs)
    panel.use.press("use")
    assert says in said(panel.said)
    assert match.bench.work == before


def test_half_typed_rows_outlive_the_kernel(match: MatchApp) -> None:
    panel = typed(match, ("45as15", "45as75"))
    panel.lab.rows[1].weight.value = 3.0
    panel.lab.rows[1].lab[2].value = None
    again = settled(MatchApp(match.bench.session))
    rows = again.panels["target"].lab.rows
    assert [r.angle.value for r in rows] == ["45as15", "45as75"]
    assert [f.value for f in rows[0].lab] == list(LABS[0])
    assert [f.value for f in rows[1].lab] == [*LABS[1][:2], None]
    assert [r.weight.value for r in rows] == [1.0, 3.0]
    assert again.bench.work.target is None
    # Pressed, it is the target in hand that is shown after a restart.
    panel.lab.rows[1].lab[2].value = 1.5
    panel.use.press("use")
    again = settled(MatchApp(match.bench.session))
    assert [r.plain for r in again.panels["target"].lab.rows] == [r.plain for r in panel.lab.rows]
    assert again.bench.work.readings == match.bench.work.readings


def test_a_target_from_elsewhere_can_be_changed_by_hand(match: MatchApp) -> None:
    panel = match.panels["target"]
    panel.way.value = "panel"
    panel.panel.value = "M3"
    panel.use.press("use")
    readings = match.bench.session.angles_of_panel("M3")
    assert [r.angle.value for r in panel.lab.rows] == [r.viewing.geometry for r in readings]
    panel.way.value = "lab"
    panel.lab.rows[1].lab[0].value += 1.0
    panel.use.press("use")
    face, flop = match.bench.work.readings
    assert face.lab == tuple(round(v, 2) for v in readings[0].lab)
    assert flop.lab[0] == pytest.approx(round(readings[1].lab[0], 2) + 1.0)


def test_what_was_kept_and_is_nonsense_is_left_alone(match: MatchApp) -> None:
    panel = match.panels["target"]
    for odd in ("x", [], [{"angle": "45as15"}], [{"angle": "45as15", "lab": [1], "weight": 1}]):
        match.bench.forms.keep_typed("target", {"angles": odd})
        again = settled(MatchApp(match.bench.session))
        assert again.panels["target"].lab.rows
    assert panel.lab.rows
