"""Chart files of others, as they lie in public repositories, read to the values printed in them.

Sources, commits, licences and what was left out stand in `tests/data/README.md`.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from matchlib.colorimetry import delta_e00, reflectance_to_lab
from matchlib.domain import Viewing
from matchlib.readings import accepted, read_target, understand

CHARTS = Path(__file__).parents[1] / "data" / "charts"


@pytest.fixture
def backs(tmp_path):
    def write(text):
        path = tmp_path / "backs.csv"
        path.write_text(f"panel,ground,colour,schedule\n{text}")
        return path

    return write


def test_a_printed_chart_gives_its_lab_under_the_light_that_its_instrument_line_names(backs):
    found = understand(
        [CHARTS / "printed_chart.ti3", backs("1,paper,,\n9,paper,magenta,1@1:1\n")],
        answers={"join": "code"},
    )
    paper, solid = accepted(found, keep_good=True).panels
    assert paper.readings[0].lab == (95.97, 0.50, -3.30)
    assert solid.readings[0].lab == (47.23, 75.94, -3.75)
    assert {r.viewing for p in (paper, solid) for r in p.readings} == {Viewing("D50", "2", "45:0")}


@pytest.mark.parametrize(
    ("said", "key"), [("", "light"), ("D65, 10 degree, ", "twice")], ids=["unsaid", "wrong"]
)
def test_its_xyz_say_for_which_light_its_lab_holds(said, key, tmp_path, backs):
    chart = tmp_path / "chart.ti3"
    text = (CHARTS / "printed_chart.ti3").read_text()
    chart.write_text(text.replace("D50, 2 degree, ", said))
    report = understand([chart, backs("1,paper,,\n")])
    (question,) = report.open
    assert question.key == key
    words = question.text + " ".join(c.means for c in question.choices if c.key == "D50/2")
    assert "ΔE00 0.01" in words
    assert "own X, Y, Z" in words


def test_a_measured_patch_gives_its_lab_to_its_whole_numbers():
    (reading,) = read_target(CHARTS / "red_patch.txt")
    assert len(reading.wavelengths) == 36
    assert (reading.wavelengths[0], reading.wavelengths[-1]) == (380.0, 730.0)
    assert (reading.reflectance[0], reading.reflectance[-1]) == (0.061782, 0.83537)
    lab = reflectance_to_lab(
        np.array(reading.reflectance), Viewing("D50", "2"), wavelengths=reading.wavelengths
    )
    assert np.floor(lab).tolist() == [43, 56, 16]  # whole numbers in the file, cut off


def test_the_scale_of_a_patch_follows_from_the_lightness_beside_it(backs):
    report = understand(
        [CHARTS / "red_patch.txt", backs("1,paper,red,1@1:1\n")], answers={"geometry": "45:0"}
    )
    assert not report.open
    assert "taken as 0-1, since only so do they give the file's L" in " ".join(report.assumed)


def test_oil_paints_are_read_as_percent(backs):
    backs = backs("01A_b,black chart,,\n01A_w,white chart,,\n01A_ow,white chart,red,1@1:1\n")
    given = {"geometry": "di:8", "join": "code"}
    report = understand([CHARTS / "oil_paints.txt", backs], answers=given)
    panels = {p.code: p.readings[0] for p in accepted(report, keep_good=True).panels}
    assert panels["01A_w"].reflectance[:2] == pytest.approx((0.5483, 0.7298))
    assert panels["01A_ow"].reflectance[-1] == pytest.approx(0.8539)
    assert panels["01A_b"].wavelengths == tuple(map(float, range(400, 701, 10)))
    # Lab by their own numbers: the black chart is the darkest, and the paint over white is red
    lab = {c: np.asarray(reflectance_to_lab(np.array(r.reflectance))) for c, r in panels.items()}
    assert lab["01A_b"][0] < 30 < lab["01A_ow"][0] < lab["01A_w"][0]
    assert lab["01A_ow"][1] > 50
    assert float(delta_e00(lab["01A_w"], lab["01A_ow"])) > 30
