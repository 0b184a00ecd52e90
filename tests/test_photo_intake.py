"""Photographs on a page and on the command line: marked, read, confirmed, kept, learnt from."""

from __future__ import annotations

import io
import json
import re
import time
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from matchlib.archive import Archive
from matchlib.domain import CoatSchedule, Colour, Ground, Panel, Recipe
from matchlib.errors import FileError
from matchlib.readings import read_target
from matchlib.readings.photo import Marks, PhotoRefused
from matchlib.readings.photo.chart import chart_lab
from tests.cli_shop import fails, json_of, refused, run
from tests.tools.render_scene import Rendered, Scene, render, to_jpeg
from workbook.page import Page, Press
from workbook.photo_intake import PhotoIntake
from workbook.session.photos import Photographed, Shot, photograph

DAY = Scene()


@cache
def taken(scene: Scene = DAY) -> Rendered:
    return render(scene)


@cache
def jpeg(scene: Scene = DAY) -> bytes:
    return to_jpeg(taken(scene))


class Nothing:
    """A screen of nothing."""

    def __init__(self) -> None:
        self.address: dict[str, str] = {}
        self.drawn = 0

    def draw(self) -> str:
        self.drawn += 1
        return ""

    def press(self, done: Press) -> None: ...

    def wrong(self, error: Exception, done: Press | None) -> None: ...


def intake_of(used: list[Photographed], folder: Path) -> PhotoIntake:
    archive = Archive.open(folder / "panels.db", create=True)
    return PhotoIntake(Page(Nothing()), lambda found, _: used.append(found), archive, list)


def after(
    intake: PhotoIntake, do: str, value: str = "", content: bytes = b"", **fields: str
) -> str:
    """Press, and wait for what is read; returns the page."""
    drawn = intake.page.screen.drawn
    intake.press(Press(do, value, fields, content))
    for _ in range(1200):
        if intake.page.screen.drawn > drawn:
            break
        time.sleep(0.1)
    return intake.draw()


def mark(corners: np.ndarray, size: tuple[int, int], code: str = "") -> dict[str, object]:
    return {"kind": "panel", "points": ((corners + 0.5) / size).tolist(), "code": code}


def test_a_photograph_is_shown_with_what_was_found_and_used_when_confirmed(tmp_path: Path) -> None:
    used: list[Photographed] = []
    intake = intake_of(used, tmp_path)
    intake.press(Press("photo_use"))
    assert "no reading of a photograph yet" in intake.draw()
    page = after(intake, "photo_file", "panel.jpg", jpeg())
    assert "no reading of a photograph yet" not in page
    assert intake.marks.picture.startswith("data:image/jpeg;base64,")
    assert [m["kind"] for m in intake.marks.marks] == ["chart", "panel"]
    assert not used  # it is proposed, and a person confirms
    intake.press(Press("photo_use"))
    (got,) = used
    assert got.reading is not None
    assert got.reading.reading.source == "photo"
    assert got.reading.reading.viewing.geometry == "photo"
    assert intake.shots == []
    assert intake.marks.picture == ""


def test_a_refused_photograph_is_shown_marked_and_read(tmp_path: Path) -> None:
    scene, used = DAY.but(second="gold"), list[Photographed]()
    intake = intake_of(used, tmp_path)
    page = after(intake, "photo_file", "<two>.jpg", jpeg(scene))
    assert "More than one area" in page
    assert "<two>" not in page
    assert intake.marks.picture
    assert [m["kind"] for m in intake.marks.marks] == ["chart", "panel", "panel"]
    true, size = taken(scene), (scene.width, scene.height)
    intake.marks.marks = [mark(true.second, size)]
    after(intake, "photo_read")
    intake.press(Press("photo_use"))
    assert used[0].reading is not None
    assert used[0].reading.lab[2] > 40, "the gold one was marked"


def test_what_was_marked_on_a_photograph_is_not_lost_when_the_next_is_chosen(
    tmp_path: Path,
) -> None:
    scene = DAY.but(second="gold")
    intake = intake_of([], tmp_path)
    after(intake, "photo_file", "two.jpg", jpeg(scene))
    intake.marks.marks = [mark(taken(scene).panel, (scene.width, scene.height), "T1")]
    after(intake, "photo_file", "panel.jpg", jpeg())
    (found,) = intake.found
    assert found.code == "T1"
    assert not found.refused
    assert found.reading is not None
    assert found.reading.photographs == 2


def test_several_panels_of_one_photograph_are_kept_with_their_cards(tmp_path: Path) -> None:
    scene, used = DAY.but(second="gold"), list[Photographed]()
    intake = intake_of(used, tmp_path)
    silver = Recipe(Ground.parse("silver"), None, None, "yes")
    intake.archive.add([Panel.of(code, silver, ()) for code in ("T1", "G1")])
    after(intake, "photo_file", "two.jpg", jpeg(scene))
    true, size = taken(scene), (scene.width, scene.height)
    intake.marks.marks = [mark(true.panel, size, "T1"), mark(true.second, size, "G1")]
    page = after(intake, "photo_read")
    assert "Keep each with its card" in page
    intake.press(Press("photo_use", "G1"))
    assert used[0].reading is not None
    assert used[0].reading.lab[2] > 40, "the gold one was asked for"
    after(intake, "photo_file", "two.jpg", jpeg(scene))
    intake.marks.marks = [mark(true.panel, size, "T1"), mark(true.second, size, "G1")]
    after(intake, "photo_read")
    intake.press(Press("photo_keep"))
    assert "T1, G1: " in intake.draw()
    assert len(intake.archive.history()) == 2, "what came in together is one change"
    read = {code: intake.archive.panel(code).readings[0].lab for code in ("T1", "G1")}
    assert read["T1"][2] < 20
    assert read["G1"][2] > 40


def test_what_is_said_of_the_picture_reads_it_again_and_it_can_be_dropped(tmp_path: Path) -> None:
    intake = intake_of([], tmp_path)
    intake.press(Press("photo_file", "panel.jpg", content=jpeg()))
    assert intake.page.working
    intake.press(Press("photo_drop"))
    assert not intake.page.working
    after(intake, "photo_file", "panel.jpg", jpeg())
    after(intake, "photo_read", photo_is="matt")
    assert intake.shots[0].marks.matt
    assert len(intake.found) == 1, "what was dropped is not read with it"


def test_several_photographs_of_one_panel_are_read_together() -> None:
    shots = [Shot(f"{i}.jpg", jpeg(DAY.but(seed=i, turn=4.0 + 6 * i)), Marks()) for i in range(2)]
    broken = Shot("broken.jpg", b"no picture", Marks())
    (got,) = photograph([*shots, broken])
    assert got.reading is not None
    assert got.reading.photographs == 2
    assert len(got.refused) == 1
    assert "broken.jpg" in got.text


def test_one_panel_may_be_marked_in_some_of_its_photographs() -> None:
    scene = DAY.but(paper=True)
    marked = Shot("a.jpg", jpeg(scene), Marks(panels={"P7": taken(scene).panel.tolist()}))
    (got,) = photograph([marked, Shot("b.jpg", jpeg(), Marks())])
    assert got.code == "P7"
    assert got.reading is not None
    assert got.reading.photographs == 2


def box(corners: np.ndarray) -> str:
    (left, top), (right, low) = corners.min(axis=0) + 12, corners.max(axis=0) - 12
    return f"{left:.0f},{top:.0f},{right - left:.0f},{low - top:.0f}"


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    colour, coats = Colour.parse("teal"), CoatSchedule.parse("4@6:1")
    recipe = Recipe(Ground.parse("silver"), colour, coats, "yes")
    with Archive.open(tmp_path / "panels.db", create=True) as archive:
        archive.add([Panel.of("T1", recipe, ())])
    (tmp_path / "panel.jpg").write_bytes(jpeg())
    (tmp_path / "two.jpg").write_bytes(jpeg(DAY.but(second="gold")))
    return tmp_path


def test_the_command_reads_and_writes_the_marked_picture(shop: Path) -> None:
    got = json_of("photo", "panel.jpg", "--picture", "seen.jpg", cwd=shop)
    (panel,) = got["panels"]
    assert panel["geometry"] == "photo"
    assert np.linalg.norm(np.array(panel["lab"]) - taken().lab) < 8
    assert np.shape(panel["covariance"]) == (3, 3)
    assert (shop / "seen.jpg").read_bytes().startswith(b"\xff\xd8\xff")
    words = run("photo", "panel.jpg", cwd=shop).stdout
    assert "Estimate from a photograph" in words


def test_the_command_refuses_in_words_and_still_shows_the_picture(shop: Path) -> None:
    done = run("photo", "two.jpg", "--picture", "seen.jpg", "--json", cwd=shop)
    assert done.exit_code == 1
    assert json.loads(done.stdout)["panels"][0]["refused"][0]["reason"] == "which panel"
    assert (shop / "seen.jpg").is_file()
    assert run("photo", "two.jpg", "--panel", "T1=1,2,3", cwd=shop).exit_code == 2
    twice = ["--panel", "T1=1,2,3,4", "--panel", "T1=5,6,7,8"]
    assert "twice" in fails(run("photo", "two.jpg", *twice, cwd=shop), 2)
    for more in (["two.jpg"], twice[:2]):
        done = run("photo", ".", *more, "--codes", "codes.csv", cwd=shop)
        assert "--codes takes one folder" in fails(done, 2)
    assert run("photo", "panel.jpg", "--keep", cwd=shop).exit_code == 2
    refused("photo", ".", "--codes", "none.csv", cwd=shop)


def test_a_reading_is_kept_with_its_covariance_and_a_small_picture(shop: Path) -> None:
    where = box(taken(DAY.but(second="gold")).panel)
    second = box(taken(DAY.but(second="gold")).second)
    args = ["photo", "two.jpg", "--panel", f"T1={where}", "--panel", f"G9={second}", "--keep"]
    found = json_of(*args, "--phone", "a phone", cwd=shop)["told"]
    assert found[0].startswith("T1: ")
    assert "G9: not kept" in found[1]
    with Archive.open(shop / "panels.db") as archive:
        (reading,) = archive.panel("T1").readings
        (kept,) = archive.attachments("T1")
    assert reading.source == "photo"
    assert reading.viewing.geometry == "photo"
    assert reading.covariance is not None
    assert reading.instrument == "a phone"
    assert reading.picture == kept.name


def test_the_same_photograph_is_not_kept_twice(shop: Path) -> None:
    args = ("photo", "panel.jpg", "--panel", f"T1={box(taken().panel)}", "--keep")
    assert json_of(*args, cwd=shop)["told"][0].endswith("1 reading added.")
    assert "kept already" in json_of(*args, cwd=shop)["told"][0]
    with Archive.open(shop / "panels.db") as archive:
        assert len(archive.panel("T1").readings) == 1
        assert len(archive.history("T1")) == 2


def test_what_is_kept_while_a_phone_learns_is_as_it_reads_from_then_on(shop: Path) -> None:
    where = ("--panel", f"T1={box(taken().panel)}", "--phone", "mine")
    lab = [f"{v:.2f}" for v in taken().lab]
    taught = json_of("photo", "panel.jpg", *where, "--lab", *lab, "--keep", cwd=shop)["panels"][0]
    after = json_of("photo", "panel.jpg", *where, cwd=shop)["panels"][0]
    assert taught["lab"] == after["lab"]
    with Archive.open(shop / "panels.db") as archive:
        (reading,) = archive.panel("T1").readings
    assert reading.lab == pytest.approx(after["lab"], abs=0.001)


def test_tables_of_codes_and_charts_come_as_spreadsheets_write_them(shop: Path) -> None:
    (shop / "codes.csv").write_text("File;Panel\r\npanel.jpg;T1\r\n;\r\n", encoding="utf-8")
    (panel,) = json_of("photo", ".", "--codes", "codes.csv", cwd=shop)["panels"]
    plain = chart_lab(None)
    rows = [";".join(f"{v:.3f}".replace(".", ",") for v in row) for row in plain]
    (shop / "chart.csv").write_text("\n".join(["L (D65/10°);a;b", *rows]), encoding="utf-8")
    (own,) = json_of("photo", "panel.jpg", "--chart", "chart.csv", cwd=shop)["panels"]
    assert own["lab"] == pytest.approx(panel["lab"], abs=0.05)
    headless = "\r\n".join([*rows, ";;"]).encode("utf-16")
    (shop / "chart.csv").write_bytes(headless)
    assert json_of("photo", "panel.jpg", "--chart", "chart.csv", cwd=shop)["panels"] == [own]
    (shop / "chart.csv").write_text("\n".join(["no;numbers;here", *rows[1:]]), encoding="utf-8")
    told = refused("photo", "panel.jpg", "--chart", "chart.csv", cwd=shop)
    assert "Got 'no;numbers;here'" in told


def test_a_photograph_is_given_wherever_a_file_of_readings_is(shop: Path) -> None:
    run("add", "--panel", "B7", "--ground", "silver", "--reading", "panel.jpg", "--yes", cwd=shop)
    with Archive.open(shop / "panels.db") as archive:
        (reading,) = archive.panel("B7").readings
    assert reading.source == "photo"
    assert reading.covariance is not None
    assert read_target(shop / "panel.jpg")[0].covariance == reading.covariance
    with pytest.raises(PhotoRefused, match="More than one area"):
        read_target(shop / "two.jpg")
    for ending in (".NEF", ".cr2"):
        (shop / f"card{ending}").write_bytes(b"II*\0, but cut off")
        with pytest.raises(FileError, match="This picture is broken"):
            read_target(shop / f"card{ending}")


def test_a_folder_comes_in_by_a_table_of_codes(shop: Path) -> None:
    (shop / "again.jpg").write_bytes(jpeg(DAY.but(seed=5, turn=-3.0)))
    (shop / "codes.csv").write_text("File,Panel\npanel.jpg,T1\nagain.jpg,T1\n", encoding="utf-8")
    got = json_of("photo", ".", "--codes", "codes.csv", "--keep", cwd=shop)
    assert [p["photographs"] for p in got["panels"]] == [2]
    (shop / "codes.csv").write_text("file,panel\n\n../panel.jpg,T1\n", encoding="utf-8")
    assert "row 3" in refused("photo", ".", "--codes", "codes.csv", cwd=shop)


def test_a_phone_learns_from_an_instrument_and_is_remembered(shop: Path) -> None:
    lab = [f"{v:.2f}" for v in taken().lab]
    before = json_of("photo", "panel.jpg", cwd=shop)["panels"][0]
    for light in ("noon", "evening", "hall"):
        learn = ["photo", "panel.jpg", "--phone", "mine", "--light", light, "--lab", *lab]
        found = json_of(*learn, cwd=shop)["told"]
    assert found == ["mine has now learnt from 3 panels under 3 lights."]
    after = json_of("photo", "panel.jpg", "--phone", "mine", cwd=shop)["panels"][0]
    assert "profile" in after["parts"]
    truth = taken().lab
    assert np.linalg.norm(np.array(after["lab"]) - truth) < np.linalg.norm(
        np.array(before["lab"]) - truth
    )
    wrong = run("photo", "panel.jpg", "--phone", "mine", "--lab", 90, 0, 0, cwd=shop)
    assert wrong.exit_code == 1
    assert "same panel" in wrong.stderr


def test_on_what_is_no_picture_nothing_is_to_be_marked(tmp_path: Path) -> None:
    intake = intake_of([], tmp_path)
    page = after(intake, "photo_file", "x.jpg", b"no picture")
    assert "This is no picture" in page
    assert "Read as marked" not in page
    assert re.search(r'wb-go"[^>]*data-do="photo_drop"', page), "the way on is another"


def test_a_picture_of_nothing_is_told_and_no_more() -> None:
    stream = io.BytesIO()
    (got,) = photograph([Shot("x.jpg", stream.getvalue(), Marks())])
    assert got.reading is None
    assert got.picture == b""
    with pytest.raises(FileError, match="No photograph"):
        photograph([])


def test_a_phone_is_taught_on_the_page_and_then_counts_in(tmp_path: Path) -> None:
    with Archive.open(tmp_path / "panels.db", create=True) as archive:
        intake = PhotoIntake(Page(Nothing()), lambda *_: None, archive, list)
        after(intake, "photo_file", "panel.jpg", jpeg())
        (before,) = intake.found
        assert before.reading is not None
        intake.press(Press("photo_teach"))
        assert "cannot learn from this yet" in intake.draw()
        typed = {
            "photo_phone": "shop phone",
            "photo_instrument": "{:.2f} {:.2f} {:.2f}".format(*taken().lab),
        }
        intake.press(Press("photo_teach", "", typed))
        assert "shop phone has now learnt from 1 panel" in intake.draw()
        assert archive.profiles("phone").keys() == {"shop phone"}
        (now,) = intake.found
        assert now.reading is not None
        assert now.reading.reading.instrument == "shop phone"
        assert now.reading.reading.sd < before.reading.reading.sd
        away = [np.linalg.norm(np.array(r.reading.lab) - taken().lab) for r in (before, now)]
        assert away[1] < away[0]
        assert "how this phone and chart have read before" in now.reading.text() or away[1] < 5
