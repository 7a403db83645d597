"""One photo in, one graded wall out; a folder in, tables, pictures and a report out."""

import csv
import json
import shutil
import sys
from pathlib import Path

import cv2
import numpy as np
import pytest
import skimage.data

import rootread
from rootread.batch import Record, grade_walls, plan_walls
from rootread.errors import BadRequest
from rootread.scene import draw_scene, render, write_scene
from rootread.schema import TABLES
from rootread.settings import JudgeSettings, ReportSettings, Settings, read_settings
from rootread.store import file_stem, write_bytes
from rootread.wall import Wall

SHEET = """photo,wall,pit,treatment,scale,layers
blocked.jpg,north face,pit 1,shallow pass,card,disk 6.0
gravel.jpg,,pit 1,=cmd(),,
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One made wall with a card, one photo without any scale, one that is no photo, and their sheet."""
    place = tmp_path_factory.mktemp("photos")
    scene = draw_scene(np.random.default_rng(41), kind="blocked", difficulty="clean", scale="card")
    write_scene(render(scene, (1500, 1125)), place, "blocked")
    gravel = cv2.resize(skimage.data.gravel(), (1024, 1024))
    cv2.imwrite(str(place / "gravel.jpg"), gravel)
    (place / "broken.jpg").write_bytes(b"\xff\xd8\xff\xe0 not a photo")
    for truth in (*place.glob("*.json"), *place.glob("*.png")):
        truth.unlink()
    (place / "sheet.csv").write_text(SHEET, encoding="utf-8")
    return place


@pytest.fixture(scope="module")
def out(folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("out")
    run = grade_walls(plan_walls([folder]), place)
    assert run.refused == 2
    return place


def table(out: Path, name: str) -> list[dict[str, str]]:
    with (out / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def north_face(out: Path) -> dict[str, str]:
    (row,) = [row for row in table(out, "walls") if row["wall"] == "north face"]
    return row


def without_times(out: Path) -> dict[str, bytes]:
    """Every file of a run, the seconds taken blanked."""
    content = {}
    for path in sorted(out.rglob("*")):
        if path.is_file() and path.name != "walls.csv" and path.parent.name != "records":
            content[str(path.relative_to(out))] = path.read_bytes()
    content["walls"] = repr([{**row, "seconds": ""} for row in table(out, "walls")]).encode()
    return content


def test_read_wall_gives_each_stage_its_value(folder: Path) -> None:
    wall = rootread.read_wall(folder / "blocked.jpg")
    assert isinstance(wall, Wall)
    assert wall.plane.scale.kind == "card"
    assert wall.image.rgb.shape[:2] == wall.root_map.mask.shape == wall.image.grid.shape
    assert len(wall.traces) == len(wall.readings.roots) > 5
    assert 0 <= wall.grade.score.low <= wall.grade.score.value <= wall.grade.score.high <= 100


def test_every_table_has_the_columns_of_the_schema(out: Path) -> None:
    for name, columns in TABLES.items():
        with (out / f"{name}.csv").open(encoding="utf-8", newline="") as file:
            assert next(csv.reader(file)) == [column.name for column in columns]


def test_a_wall_without_scale_is_refused_in_words_and_the_rest_done(out: Path) -> None:
    rows = {row["wall"]: row for row in table(out, "walls")}
    assert set(rows) == {"north face", "gravel", "broken"}
    assert rows["north face"]["status"] == "read"
    for name in ("gravel", "broken"):
        assert rows[name]["status"] == "refused" and len(rows[name]["reason"]) > 20
        assert rows[name]["grade"] == ""


def test_the_sheet_goes_into_the_rows_and_no_cell_is_a_formula(out: Path) -> None:
    rows = {row["wall"]: row for row in table(out, "walls")}
    assert rows["north face"]["pit"] == "pit 1"
    assert rows["gravel"]["treatment"] == "'=cmd()"


def test_traces_and_picture_are_named_after_the_wall(out: Path) -> None:
    traces = json.loads((out / "traces" / "north face.json").read_text(encoding="utf-8"))
    assert traces["units"] == "in" and np.shape(traces["plane_to_photo"]) == (3, 3)
    assert len(traces["roots"]) == int(north_face(out)["roots"])
    assert cv2.imread(str(out / "pictures" / "north face.jpg")) is not None


def test_a_second_run_reads_nothing_again(folder: Path, out: Path) -> None:
    traces = out / "traces" / "north face.json"
    before, stamp = without_times(out), traces.stat().st_mtime_ns
    grade_walls(plan_walls([folder]), out)
    assert traces.stat().st_mtime_ns == stamp
    assert without_times(out) == before


def test_a_changed_sheet_row_is_read_again(folder: Path, out: Path, tmp_path: Path) -> None:
    photos, again = tmp_path / "photos", tmp_path / "again"
    shutil.copytree(folder, photos)
    shutil.copytree(out, again)
    (photos / "sheet.csv").write_text(SHEET.replace("shallow pass", "deep pass"), encoding="utf-8")
    grade_walls(plan_walls([photos]), again)
    assert north_face(again)["treatment"] == "deep pass"


def test_two_workers_write_what_one_writes(folder: Path, out: Path, tmp_path: Path) -> None:
    grade_walls(plan_walls([folder]), tmp_path / out.name, workers=2)
    assert without_times(tmp_path / out.name) == without_times(out)


def test_a_photo_named_alone_has_its_row_of_the_sheet(folder: Path) -> None:
    (job,) = plan_walls([folder / "blocked.jpg"]).jobs
    assert job.row.wall == "north face" and job.row.treatment == "shallow pass"


def test_a_place_that_is_not_there_is_a_wrong_request(tmp_path: Path) -> None:
    with pytest.raises(BadRequest, match="no file or folder"):
        plan_walls([tmp_path / "nowhere"])
    with pytest.raises(BadRequest, match="holds no photo"):
        plan_walls([tmp_path])


@pytest.mark.parametrize(("asked", "library"), [("pdf", "plutoprint"), ("parquet", "pyarrow")])
def test_a_library_that_is_missing_is_told_before_any_wall_is_read(
    asked: str, library: str, folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, library, None)
    told: list[Record] = []
    with pytest.raises(BadRequest, match=f"needs {library}, which is not installed"):
        grade_walls(
            plan_walls([folder]), tmp_path, progress=lambda *done: told.append(done[2]), **{asked: True}
        )
    assert not told


def test_two_walls_of_one_name_are_a_wrong_request(folder: Path, tmp_path: Path) -> None:
    other = tmp_path / "other"
    other.mkdir()
    shutil.copy(folder / "gravel.jpg", other / "gravel.jpg")
    with pytest.raises(BadRequest, match="both be wall gravel"):
        plan_walls([folder, other])


@pytest.mark.parametrize("name", ["../../etc/passwd", "..", ".hidden", "a/b", "c:\\d", "wall?", "x" * 500])
def test_a_wall_name_never_leaves_its_folder(name: str, tmp_path: Path) -> None:
    path = tmp_path / "traces" / f"{file_stem(name)}.json"
    write_bytes(path, b"{}")
    assert [found.parent for found in tmp_path.rglob("*.json")] == [tmp_path / "traces"]


def test_an_interrupted_write_leaves_the_old_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "walls.csv"
    write_bytes(path, b"old")

    def stop(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(Path, "replace", stop)
    with pytest.raises(KeyboardInterrupt):
        write_bytes(path, b"new")
    assert path.read_bytes() == b"old"
    assert list(tmp_path.iterdir()) == [path]


def test_the_settings_that_walls_were_read_by_lie_beside_the_tables(folder: Path, tmp_path: Path) -> None:
    settings = Settings(judge=JudgeSettings(permutations=199), report=ReportSettings(units="cm"))
    only = plan_walls([folder / "broken.jpg"])
    grade_walls(only, tmp_path, settings)
    assert read_settings(tmp_path / "settings.toml") == settings
    grade_walls(only, tmp_path)
    assert read_settings(tmp_path / "settings.toml") == Settings()


def test_the_picture_of_the_scale_lies_beside_the_wall_and_the_report_links_to_it(out: Path) -> None:
    assert cv2.imread(str(out / "pictures" / "north face-scale.jpg")) is not None
    html = (out / "report.html").read_text(encoding="utf-8")
    assert 'href="pictures/north%20face-scale.jpg"' in html
