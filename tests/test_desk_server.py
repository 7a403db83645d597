"""One wall on the desk, from the photo to the report: what is mended is what a run then reads."""

import json
import signal
import subprocess
import sys
import threading
import time
from dataclasses import fields, replace
from pathlib import Path
from urllib.request import Request, urlopen

import numpy as np
import pytest
from desk_walls import HOST, TOKEN, put_bare_photo, put_wall, wait_until
from starlette.testclient import TestClient

from rootread.batch.record import write_wall
from rootread.desk import Desk, stages, walldesk
from rootread.desk.glance import glance
from rootread.desk.server import make_app
from rootread.desk.walldesk import WallDesk
from rootread.errors import BadRequest, WallRefused
from rootread.judge import CAUTIONS
from rootread.marks import LayerMark, Marks, RootMark, ScaleMark, Stroke, read_marks, write_marks
from rootread.plane import locate_scale
from rootread.settings import ReportSettings, Settings
from rootread.wall import RefusedWall, Wall, read_or_refuse

READ_S = 240
"""Seconds that a reading may take on a machine that is busy with others."""
FIRST_FIGURES_S = 0.5
LONGER = 1.15
TABLE_ROUNDING_IN = 0.0006
"""Tables have three digits; what the page is given must not be coarser, for it rounds again."""
SNAP_NEAR_IN = 0.12
"""A snapped line runs within this of the root that was clicked along: a medium root's width."""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("pit")
    put_wall(folder)
    (folder / "sheet.csv").write_text("photo,treatment\nnorth.jpg,shallow pass\n", encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def desk(folder: Path) -> Desk:
    return Desk(folder)


@pytest.fixture(scope="module")
def client(desk: Desk):
    with TestClient(make_app(desk, TOKEN), base_url=HOST, headers={"x-desk-token": TOKEN}) as client:
        wait_until(lambda: desk.wall("north").status == "read", READ_S, "the wall is read")
        yield client


def wall(client: TestClient, name: str = "north") -> dict:
    return client.get(f"/api/walls/{name}").json()


def settled(client: TestClient) -> bool:
    """Whether nothing is left to read; asked of the folder, whose answer costs less than a wall's figures."""
    return client.get("/api/desk").json()["walls"][0]["settled"]


def mend(client: TestClient, **changed) -> dict:
    """Send changed marks on top of those that are there, and wait until the photo is read for them."""
    now = wall(client)
    answer = client.put(
        "/api/walls/north/marks",
        json={"marks": {**now["marks"], **changed}, "revision": now["revision"]},
    )
    assert answer.status_code == 200, answer.text
    wait_until(lambda: settled(client), READ_S, "the change is read")
    return answer.json()


@pytest.fixture
def unmended(client: TestClient):
    wait_until(lambda: settled(client), READ_S, "nothing is left to read")
    yield client
    blank = json.loads(json.dumps({"version": 1}))
    now = wall(client)
    client.put("/api/walls/north/marks", json={"marks": blank, "revision": now["revision"]})
    wait_until(lambda: settled(client), READ_S, "the wall is as it was")


def test_with_advice_comes_what_holds_for_every_piece_of_it(client: TestClient) -> None:
    reading = wall(client)["reading"]
    assert "run points at about" in reading["advice"][0]["text"]
    assert reading["advice_cautions"] == [*CAUTIONS]


def test_the_report_is_that_of_a_run(client: TestClient, folder: Path) -> None:
    assert client.post("/api/report").status_code == 200
    wait_until(
        lambda: client.get("/api/desk").json()["report"]["state"] in ("ready", "failed"), READ_S, "report"
    )
    assert client.get("/api/desk").json()["report"]["state"] == "ready"
    page = client.get("/api/report.html").text
    assert "north" in page and "shallow pass" in page
    assert (folder / "results" / "walls.csv").exists()
    layers = (folder / "results" / "layers.csv").read_text(encoding="utf-8").splitlines()
    column = layers[0].split(",").index("depth_in")
    depths_in = [float(row.split(",")[column]) for row in layers[1:]]
    shown = wall(client)["reading"]["layers"]
    shown_in = [layer["depth_in"] for layer in shown]
    assert all(layer["ends_in"][0] == layer["ends_in"][1] for layer in shown)
    assert shown_in == [pytest.approx(depth_in, abs=TABLE_ROUNDING_IN) for depth_in in depths_in]
    assert [w["name"] for w in client.get("/api/desk").json()["walls"]] == ["north"], "results are no walls"


def test_a_wall_whose_pixels_were_let_go_is_written_without_reading_it_again(
    client: TestClient, desk: Desk, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Only a few walls at a time stay in memory with their pixels."""
    one = desk.wall("north")
    one.keep_record(tmp_path / "whole")
    one.stages.forget_large()
    monkeypatch.setattr(stages, "find_roots", None)
    one.keep_record(tmp_path / "let go")
    written = [file.relative_to(tmp_path / "whole") for file in (tmp_path / "whole").rglob("*.*")]
    assert len(written) >= 5
    for name in written:
        assert (tmp_path / "let go" / name).read_bytes() == (tmp_path / "whole" / name).read_bytes(), name


def test_a_struck_root_is_gone_at_once_and_back_when_the_strike_is_taken_back(unmended: TestClient) -> None:
    before = wall(unmended)["reading"]
    longest = max(before["roots"], key=lambda root: root["length_in"])
    after = mend(unmended, roots_struck_px=[longest["points_px"]])
    assert len(after["reading"]["roots"]) < len(before["roots"])
    assert after["reading"]["grade"] != before["grade"]
    assert after["reading"]["settled"], "the photo need not be read again, so the first figures are whole"
    undone = mend(unmended, roots_struck_px=[])
    assert undone["settled"] and undone["reading"]["grade"] == before["grade"]


def test_what_is_told_of_a_wall_while_a_change_is_looked_at_is_older_than_its_answer(
    unmended: TestClient, desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Else the page would take a reading for whole that the change has yet to be read into."""
    one, meanwhile = desk.wall("north"), []

    def glance_and_tell(*given):
        meanwhile.append(one.summary())
        return glance(*given)

    monkeypatch.setattr(walldesk, "glance", glance_and_tell)
    roots = wall(unmended)["reading"]["roots"]
    answer = mend(unmended, roots_struck_px=[roots[0]["points_px"]])
    assert meanwhile[0]["version"] < answer["version"]


def test_what_is_told_of_a_wall_while_its_reading_is_taken_in_is_of_before_or_of_after(
    unmended: TestClient, desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Else the page would take the first figures that it shows for whole ones."""
    one = desk.wall("north")
    told: list[tuple[int, bool]] = []

    def tell() -> None:
        said = one.summary()
        told.append((said["version"], said["settled"]))

    def end_stage_and_tell(one: WallDesk, stage: str) -> None:
        one.__dict__["stage"] = stage
        if not stage:
            asking = threading.Thread(target=tell)
            asking.start()
            asking.join(timeout=0.5)

    staged = property(lambda one: one.__dict__["stage"], end_stage_and_tell)
    monkeypatch.setattr(WallDesk, "stage", staged)
    now = wall(unmended)
    scale = [{"px": [400, 500], "at_in": None}, {"px": [1400, 500], "at_in": None}]
    first = mend(unmended, scale_points=scale, distance_in=30.0)
    assert not first["settled"], "another scale is read whole"
    wait_until(lambda: bool(told), READ_S, "the desk was asked meanwhile")
    assert now["version"] < first["version"] < wall(unmended)["version"]
    for version, whole in told:
        assert whole == (version > first["version"])


def test_a_struck_layer_is_gone_at_once_and_back_when_the_strike_is_taken_back(unmended: TestClient) -> None:
    before = wall(unmended)["reading"]
    assert len(before["layers"]) == 1
    after = mend(unmended, layers_struck_px=[before["layers"][0]["line_px"]])["reading"]
    assert after["settled"] and after["layers"] == []
    assert after["layers_struck_in"] == [pytest.approx(before["layers"][0]["depth_in"], abs=0.1)]
    assert after["grade"] != before["grade"]
    assert mend(unmended, layers_struck_px=[])["reading"]["layers"] == before["layers"]


def test_the_page_can_tell_a_drawn_layer_from_a_found_one(unmended: TestClient) -> None:
    drawn = {"name": "", "line_px": [[200, 700], [1400, 700]]}
    layers = mend(unmended, layers=[drawn])["reading"]["layers"]
    assert [layer["mark"] for layer in layers] == [None, 0]


def test_a_wall_ticked_off_is_still_ticked_when_the_desk_is_opened_again(
    unmended: TestClient, folder: Path
) -> None:
    before = unmended.get("/api/desk").json()["walls"][0]
    assert not before["checked"]
    answer = mend(unmended, checked=wall(unmended)["reads"])
    assert answer["checked"] and not answer["marked"], "a look is no mending"
    assert answer["settled"] and answer["reading"]["grade"] == wall(unmended)["reading"]["grade"]
    assert Desk(folder).wall("north").marks.checked == answer["reads"]


def test_a_wall_that_no_longer_reads_as_it_was_checked_needs_another_look(unmended: TestClient) -> None:
    longest = max(wall(unmended)["reading"]["roots"], key=lambda root: root["length_in"])
    mend(unmended, checked=wall(unmended)["reads"])
    after = mend(unmended, roots_struck_px=[longest["points_px"]])
    assert not after["checked"]
    assert any("check it again" in look["says"] for look in after["reading"]["looks"])


def test_a_run_writes_what_the_desk_writes_to_the_byte_from_the_marks_it_saved(
    unmended: TestClient, desk: Desk, tmp_path: Path
) -> None:
    """Every kind of mark at once; both write the same tables, lines, pictures and report."""
    reading = wall(unmended)["reading"]
    roots = sorted(reading["roots"], key=lambda root: -root["length_in"])
    lines = [root["points_px"] for root in roots]
    marked = {
        "scale_points": [{"px": [600, 500]}, {"px": [600, 900]}],
        "distance_in": 1.02 * 400 / reading["scale"]["px_per_in"],
        "plumb_px": [[800, 100], [804, 900]],
        "surface_px": [[0, 60], [1599, 66]],
        "outline_px": [[40, 40], [1560, 40], [1560, 1120], [40, 1120]],
        "loosened_floor_px": [[0, 380], [1599, 390]],
        "roots_struck_px": [lines[0]],
        "splits_px": [lines[2][len(lines[2]) // 2]],
        "joins_px": [[lines[3][-1], lines[4][0]]],
        "roots_added": [{"points_px": [[700, 300], [760, 500], [800, 700]], "width_px": 6}],
        "flattened_px": [lines[5][: len(lines[5]) // 3]],
        "not_flattened_px": [lines[1]],
        "strokes": [
            {"says": "soil", "points_px": [[900, 250], [1100, 420]], "width_px": 20},
            {"says": "root", "points_px": [[400, 700], [430, 800]], "width_px": 8},
        ],
        "layers": [{"name": "disk", "line_px": [[100, 680], [1500, 684]]}],
        "layers_struck_px": [reading["layers"][0]["line_px"]],
        "checked": "3 roots",
    }
    assert {*marked, "photo_size_px"} == {field.name for field in fields(Marks)}, "a kind of mark is left out"
    mend(unmended, **marked)
    one = desk.wall("north")
    one.keep_record(tmp_path / "desk")
    run = read_or_refuse(one.job.photo, one.job.row, one.marks_file)
    assert isinstance(run, Wall)
    assert run.marks == one.marks
    key = one.job.key(one.settings)
    write_wall(replace(run, seconds=one.seconds), tmp_path / "run", key, one.settings)
    written = sorted(file.relative_to(tmp_path / "run") for file in (tmp_path / "run").rglob("*.*"))
    assert len(written) == 5
    for name in written:
        assert (tmp_path / "desk" / name).read_bytes() == (tmp_path / "run" / name).read_bytes(), name
    shown = wall(unmended)["reading"]
    assert shown["grade"]["value"] == round(run.grade.score.value, 3)
    assert [root["id"] for root in shown["roots"]] == [root.trace.id for root in run.readings.roots]


def test_two_points_and_their_distance_set_the_scale_and_all_lengths_follow(unmended: TestClient) -> None:
    before = wall(unmended)["reading"]
    # More inches between the same two points: every root is longer by as much.
    apart_px = 400.0
    distance_in = LONGER * apart_px / before["scale"]["px_per_in"]
    points = [{"px": [600, 500]}, {"px": [600, 500 + apart_px]}]
    now = wall(unmended)
    marks = {**now["marks"], "scale_points": points, "distance_in": distance_in}
    first = unmended.put("/api/walls/north/marks", json={"marks": marks, "revision": now["revision"]}).json()[
        "reading"
    ]
    assert not first["settled"], "the photo has to be read again"
    assert first["scale"]["kind"] == "points"
    ratio = first["figures"]["root_length_in"]["value"] / before["figures"]["root_length_in"]["value"]
    assert ratio == pytest.approx(LONGER, rel=0.03)
    wait_until(lambda: settled(unmended), READ_S, "read at the new scale")
    assert wall(unmended)["reading"]["scale"]["px_per_in"] == pytest.approx(
        before["scale"]["px_per_in"] / LONGER, rel=0.02
    )


def test_a_soil_stroke_takes_what_lies_under_it_out_at_once(unmended: TestClient) -> None:
    before = wall(unmended)["reading"]
    longest = max(before["roots"], key=lambda root: root["length_in"])
    now = wall(unmended)
    stroke = {"says": "soil", "points_px": longest["points_px"], "width_px": 16}
    answer = unmended.put(
        "/api/walls/north/marks",
        json={"marks": {**now["marks"], "strokes": [stroke]}, "revision": now["revision"]},
    ).json()["reading"]
    lengths = [r["figures"]["root_length_in"]["value"] for r in (before, answer)]
    assert lengths[1] < lengths[0] - 0.7 * longest["length_in"]


def test_clicks_along_a_root_that_no_line_runs_on_become_a_line_on_it(unmended: TestClient) -> None:
    reading = wall(unmended)["reading"]
    root = max(reading["roots"], key=lambda root: root["length_in"])
    points = root["points_px"]
    mend(unmended, roots_struck_px=[points])
    clicks = [points[0], points[len(points) // 2], points[-1]]
    path = unmended.post("/api/walls/north/snap", json={"points_px": clicks}).json()
    line, truth = np.array(path["points_px"]), np.array(points)
    away_px = np.hypot(*(line[:, None] - truth[None]).transpose(2, 0, 1)).min(axis=1)
    assert np.median(away_px) / reading["scale"]["px_per_in"] < SNAP_NEAR_IN
    assert 0.4 < path["width_px"] / root["width_px"] < 2.5


def test_clicks_find_a_root_again_once_soil_that_was_painted_over_it_is_taken_back(
    unmended: TestClient,
) -> None:
    """The wall as it was before the stroke is not read anew, so its root map is not made anew either."""
    root = max(wall(unmended)["reading"]["roots"], key=lambda root: root["length_in"])
    points = root["points_px"]
    clicks = {"points_px": [points[0], points[len(points) // 2], points[-1]]}
    mend(unmended, roots_struck_px=[points])
    before = unmended.post("/api/walls/north/snap", json=clicks).json()
    mend(unmended, strokes=[{"says": "soil", "points_px": points, "width_px": 16}])
    bare = unmended.post("/api/walls/north/snap", json=clicks).json()
    mend(unmended, strokes=[])
    assert unmended.post("/api/walls/north/snap", json=clicks).json() == before != bare


@pytest.mark.parametrize(
    "changed",
    [
        {"roots_added": (RootMark(((700.0, 300.0), (760.0, 500.0))),)},
        {"roots_struck_px": (((1100.0, 376.0),),)},
        {"splits_px": ((1100.0, 376.0),)},
        {"joins_px": (((700.0, 300.0), (760.0, 500.0)),)},
        {"flattened_px": (((700.0, 300.0), (760.0, 330.0)),)},
        {"layers": (LayerMark(((100.0, 600.0), (1500.0, 600.0))),)},
        {"loosened_floor_px": ((0.0, 380.0), (1599.0, 390.0))},
        {"scale_points": (ScaleMark((600.0, 500.0)), ScaleMark((600.0, 900.0))), "distance_in": 11.0},
        {"plumb_px": ((800.0, 100.0), (804.0, 900.0))},
        {"outline_px": ((100.0, 100.0), (1500.0, 100.0), (1500.0, 900.0), (100.0, 900.0))},
        {"surface_px": ((0.0, 60.0), (1599.0, 66.0))},
        {"strokes": (Stroke("soil", ((900.0, 250.0), (1100.0, 420.0)), 20.0),)},
    ],
    ids=lambda changed: next(iter(changed)),
)
def test_first_figures_take_less_than_half_a_second(unmended: TestClient, desk: Desk, changed: dict) -> None:
    """Of the processor's time, the best of three, so that other work on this machine does not count."""
    one = desk.wall("north")
    assert one.reading is not None
    marks = Marks(**changed)
    located = one.stages.located(one.job.photo, one.job.row, marks)
    taken: list[float] = []
    while len(taken) < 3 and not any(seconds < FIRST_FIGURES_S for seconds in taken):
        begun = time.thread_time()
        first = glance(one.reading, one.reading.seen, one.job.row, marks, one.settings, located)
        taken.append(time.thread_time() - begun)
    assert first.grade.score.value > 0
    assert min(taken) < FIRST_FIGURES_S, taken


def test_marks_made_on_older_marks_are_turned_away(unmended: TestClient) -> None:
    stale = wall(unmended)
    mend(unmended, splits_px=[[800, 400]])
    answer = unmended.put(
        "/api/walls/north/marks",
        json={"marks": {**stale["marks"], "splits_px": [[1, 1]]}, "revision": stale["revision"]},
    )
    assert answer.status_code == 409
    assert wall(unmended)["marks"]["splits_px"] == [[800, 400]]


def test_a_wall_put_back_as_it_was_leaves_no_marks_file(client: TestClient, folder: Path) -> None:
    mend(client, splits_px=[[800, 400]])
    assert (folder / "marks" / "north.json").exists()
    mend(client, splits_px=[])
    assert not (folder / "marks" / "north.json").exists()


def test_the_photo_comes_whole_and_in_tiles(client: TestClient) -> None:
    for address in ("overview.jpg", "tiles/0/0/0.jpg", "tiles/1/1/1.jpg", "small.flat.jpg", "large.flat.jpg"):
        answer = client.get(f"/api/walls/north/{address}")
        assert answer.status_code == 200 and answer.content.startswith(b"\xff\xd8"), address
    assert client.get("/api/walls/north/tiles/0/99/0.jpg").status_code == 404
    assert client.get("/api/walls/nowhere/overview.jpg").status_code == 404


def test_a_second_reading_without_changes_agrees_wholly(client: TestClient) -> None:
    found = client.get("/api/walls/north/second?against=program").json()["agreement"]
    assert found["in_common"] == [1.0, 1.0]
    assert found["roots"][0] == found["roots"][1] == found["roots"][2]
    assert found["root_angle_difference_deg"] == {"mean": 0.0, "low": 0.0, "high": 0.0}


def test_a_second_person_who_struck_a_root_differs_by_that_root(client: TestClient, folder: Path) -> None:
    roots = wall(client)["reading"]["roots"]
    longest = max(roots, key=lambda root: root["length_in"])
    theirs = {"version": 1, "roots_struck_px": [longest["points_px"]]}
    found = client.put("/api/walls/north/second", json=theirs).json()["agreement"]
    assert found["length_in"][0] - found["length_in"][1] >= 0.99 * longest["length_in"]
    assert found["in_common"][0] < 1.0 and found["in_common"][1] == 1.0
    assert (folder / "marks" / "second" / "north.json").exists()
    assert wall(client)["reading"]["roots"] == roots, "the second reading changes nothing of the first"


def test_the_sheet_is_checked_as_it_is_typed_and_saved_when_it_can_be_read(
    client: TestClient, folder: Path
) -> None:
    sheet = client.get("/api/sheet").json()
    at = sheet["columns"].index("tool_depth_in")
    sheet["rows"][0][at] = "seven"
    wrong = client.post("/api/sheet/check", json=sheet).json()["faults"]
    assert [(fault["row"], fault["column"]) for fault in wrong] == [(0, "tool_depth_in")]
    assert client.put("/api/sheet", json=sheet).json()["saved"] is False
    assert "seven" not in (folder / "sheet.csv").read_text(encoding="utf-8")
    sheet["rows"][0][at] = "7.5 in"
    assert client.put("/api/sheet", json=sheet).json()["saved"] is True
    assert "7.5 in" in (folder / "sheet.csv").read_text(encoding="utf-8")


def test_a_wall_is_pictured_at_its_own_scale_again_once_another_is_taken_back(unmended: TestClient) -> None:
    def pictured() -> tuple[str, bytes]:
        answer = unmended.get("/api/walls/north/large.flat.jpg")
        return answer.headers["x-place"], answer.content

    before = pictured()
    scale = [{"px": [480, 500], "at_in": None}, {"px": [1400, 500], "at_in": None}]
    mend(unmended, scale_points=scale, distance_in=31.0)
    assert pictured() != before
    mend(unmended, scale_points=[], distance_in=None)
    assert pictured() == before


def test_a_wall_that_the_sheet_renames_keeps_its_pictures(client: TestClient) -> None:
    def rename(name: str) -> bytes:
        sheet = client.get("/api/sheet").json()
        sheet["rows"][0][sheet["columns"].index("wall")] = name
        assert client.put("/api/sheet", json=sheet).json()["saved"]
        return client.get(f"/api/walls/{name}/small.flat.jpg").content

    north = rename("north")
    try:
        assert rename("south") == north
    finally:
        rename("north")


def test_two_walls_that_change_names_in_the_sheet_are_shown_each_with_its_own_photo(tmp_path: Path) -> None:
    put_bare_photo(tmp_path, "a")
    put_wall(tmp_path, "b", width_px=800)
    desk = Desk(tmp_path)

    def shown(name: str) -> bytes:
        return desk.pyramid(desk.wall(name)).overview()

    a, b = shown("a"), shown("b")
    (tmp_path / "sheet.csv").write_text("photo,wall\na.jpg,b\nb.jpg,a\n", encoding="utf-8")
    desk.refresh()
    assert (shown("b"), shown("a")) == (a, b)


def test_a_wall_refused_for_a_change_is_read_again_when_the_change_is_taken_back(
    unmended: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: object) -> None:
        raise WallRefused("Nothing is seen.", "Look again.")

    monkeypatch.setattr(stages, "find_plane", refuse)
    now = wall(unmended)
    scale = {"scale_points": [{"px": [500, 500]}, {"px": [1400, 500]}], "distance_in": 29.0}
    sent = {"marks": {**now["marks"], **scale}, "revision": now["revision"]}
    unmended.put("/api/walls/north/marks", json=sent)
    wait_until(lambda: "cause" in wall(unmended), READ_S, "it is refused")
    undone = mend(unmended, scale_points=[], distance_in=None)
    assert undone["reading"]["grade"] == now["reading"]["grade"]
    assert undone["status"] == "read" and "cause" not in undone


def test_figures_of_before_a_refused_change_are_not_those_of_one_taken_back_before_it(
    unmended: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What was taken back may still be being read when the next change is refused."""
    may_read = threading.Event()

    def wait_and_locate(*given):
        may_read.wait()
        return locate_scale(*given)

    def send(**changed) -> dict:
        now = wall(unmended)
        sent = {"marks": {**now["marks"], **changed}, "revision": now["revision"]}
        return unmended.put("/api/walls/north/marks", json=sent).json()

    monkeypatch.setattr(stages, "locate_scale", wait_and_locate)
    before = wall(unmended)["reading"]
    other = {"scale_points": [{"px": [450, 500]}, {"px": [1400, 500]}], "distance_in": 31.0}
    assert send(**other)["reading"]["figures"] != before["figures"]
    wait_until(lambda: wall(unmended)["stage"] == "finding the scale", READ_S, "the change is read")
    assert send(scale_points=[], distance_in=None)["reading"] == before
    refused = send(roots_added=[{"points_px": _zigzag(20, 1000.0), "width_px": 6}])
    may_read.set()
    wait_until(lambda: wall(unmended)["version"] > refused["version"], READ_S, "what was taken back is read")
    now = wall(unmended)
    assert (now["cause"], now["reading"]) == (refused["cause"], refused["reading"])
    assert mend(unmended, roots_added=[])["reading"] == before


def test_a_row_that_changes_while_its_wall_is_refused_is_read_too(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    put_bare_photo(tmp_path)
    desk = Desk(tmp_path)
    rows: list[str] = []

    def refuse(_, row, *__) -> None:
        rows.append(row.treatment)
        (tmp_path / "sheet.csv").write_text("photo,treatment\nbare.jpg,deep\n", encoding="utf-8")
        desk.refresh()
        raise WallRefused("Nothing is seen.", "Look again.")

    monkeypatch.setattr(stages, "locate_scale", refuse)
    with TestClient(make_app(desk, TOKEN), base_url=HOST, headers={"x-desk-token": TOKEN}) as client:
        wait_until(lambda: wall(client, "bare")["status"] == "refused", READ_S, "the photo is refused")
    assert rows == ["", "deep"]


def test_marks_taken_back_while_the_photo_is_opened_are_no_broken_ones(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    put_bare_photo(tmp_path)
    write_marks(Marks(splits_px=((1.0, 2.0),)), tmp_path / "marks" / "bare.json")
    one = Desk(tmp_path).wall("bare")
    taking = threading.Thread(target=one.take_marks, args=({"version": 1}, one.revision))

    def take_back_and_read(*given) -> Marks:
        taking.start()
        taking.join(timeout=0.5)
        return read_marks(*given)

    monkeypatch.setattr(walldesk, "read_marks", take_back_and_read)
    one.open_photo()
    taking.join()
    assert one.broken is None and not one.marks_file.exists()


def test_a_photo_let_go_while_it_is_asked_for_is_there_or_not(desk: Desk) -> None:
    class LetGo(dict):
        def __contains__(self, name: object) -> bool:
            there = super().__contains__(name)
            self.clear()
            return there

    kept = stages.Stages(desk.settings)
    kept._kept = LetGo(photo=("key", "a photo"))
    assert kept.photo == "a photo"


def test_a_refused_photo_is_shown_and_read_once_its_scale_is_marked(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    put_bare_photo(tmp_path)
    may_read = threading.Event()
    may_read.set()

    def wait_and_locate(*given):
        may_read.wait()
        return locate_scale(*given)

    monkeypatch.setattr(stages, "locate_scale", wait_and_locate)
    with TestClient(
        make_app(Desk(tmp_path), TOKEN), base_url=HOST, headers={"x-desk-token": TOKEN}
    ) as client:
        wait_until(lambda: wall(client, "bare")["status"] == "refused", READ_S, "the photo is refused")
        refused = wall(client, "bare")
        assert refused["size_px"] == [800, 500]
        assert client.get("/api/walls/bare/overview.jpg").status_code == 200
        scale = {"scale_points": [{"px": [100, 100]}, {"px": [500, 100]}], "distance_in": 10}
        sent = {"marks": {**refused["marks"], **scale}, "revision": refused["revision"]}
        may_read.clear()
        answer = client.put("/api/walls/bare/marks", json=sent).json()
        may_read.set()
        assert answer["status"] in ("waiting", "reading") and "cause" not in answer
        wait_until(lambda: wall(client, "bare")["status"] == "read", READ_S, "it is read")
        assert wall(client, "bare")["reading"]["scale"]["px_per_in"] == pytest.approx(40, rel=0.01)


def _zigzag(turns: int, across_px: float) -> list[list[float]]:
    return [[100.0 + across_px * (turn % 2), 200.0 + 10.0 * turn] for turn in range(turns)]


def test_a_root_that_no_wall_has_is_refused_as_in_a_run_and_can_be_taken_back(
    unmended: TestClient, desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The wall lies where it lay: neither scale nor surface is looked for again to tell so."""
    before, one = wall(unmended), desk.wall("north")
    monkeypatch.setattr(stages, "find_plane", None)
    drawn = {"roots_added": [{"points_px": _zigzag(20, 1000.0), "width_px": 6}]}
    sent = {"marks": {**before["marks"], **drawn}, "revision": before["revision"]}
    said = unmended.put("/api/walls/north/marks", json=sent).json()
    run = read_or_refuse(one.job.photo, one.job.row, one.marks_file)
    assert isinstance(run, RefusedWall)
    assert (said["cause"], said["remedy"]) == (run.reason, run.remedy)
    assert "roots_added[0] would be" in said["cause"]
    undone = mend(unmended, roots_added=[])
    assert "cause" not in undone and undone["reading"]["grade"] == before["reading"]["grade"]


def test_a_checked_wall_that_is_refused_since_needs_another_look(unmended: TestClient) -> None:
    mend(unmended, checked=wall(unmended)["reads"])
    refused = mend(unmended, roots_added=[{"points_px": _zigzag(20, 1000.0), "width_px": 6}])
    assert "cause" in refused and not refused["checked"]
    assert mend(unmended, roots_added=[])["checked"]


def test_a_stroke_longer_than_any_root_is_no_root_of_the_first_figures(unmended: TestClient) -> None:
    """It is paint, of which the whole reading makes what the photo shows beneath."""
    before = wall(unmended)
    stroke = {"says": "root", "points_px": _zigzag(20, 1000.0), "width_px": 1}
    sent = {"marks": {**before["marks"], "strokes": [stroke]}, "revision": before["revision"]}
    said = unmended.put("/api/walls/north/marks", json=sent).json()
    assert "cause" not in said and not said["settled"]
    assert max(root["length_in"] for root in said["reading"]["roots"]) < 150


def test_the_desk_refuses_in_the_unit_of_its_settings(tmp_path: Path) -> None:
    put_bare_photo(tmp_path)
    marks = Marks(
        scale_points=(ScaleMark((100.0, 100.0)), ScaleMark((120.0, 100.0))),
        distance_in=20.0,
    )
    write_marks(marks, tmp_path / "marks" / "bare.json")
    settings = Settings(report=ReportSettings(units="cm"))
    desk = Desk(tmp_path, settings)
    with TestClient(make_app(desk, TOKEN), base_url=HOST, headers={"x-desk-token": TOKEN}) as client:
        wait_until(lambda: desk.wall("bare").status == "refused", READ_S, "the photo is refused")
        said = wall(client, "bare")
    one = desk.wall("bare")
    run = read_or_refuse(one.job.photo, one.job.row, one.marks_file, settings)
    assert isinstance(run, RefusedWall)
    assert (said["cause"], said["remedy"]) == (run.reason, run.remedy)


def test_values_stay_in_inches_whatever_the_page_shows(tmp_path: Path) -> None:
    put_wall(tmp_path)
    values = []
    for units in ("in", "cm"):
        desk = Desk(tmp_path, Settings(report=ReportSettings(units=units)))
        with TestClient(make_app(desk, TOKEN), base_url=HOST, headers={"x-desk-token": TOKEN}) as client:
            wait_until(lambda desk=desk: desk.wall("north").status == "read", READ_S, "the wall is read")
            assert client.get("/api/desk").json()["units"] == units
            values.append(wall(client)["reading"])
    inches, centimetres = values
    for part in ("grade", "figures", "scale", "roots", "layers", "surface_px"):
        assert inches[part] == centimetres[part]
    assert [line["depth_in"] for line in inches["rule"][:3]] == [0.0, 1.0, 2.0]
    assert [line["depth_in"] for line in centimetres["rule"][:3]] == [0.0, 1 / 2.54, 2 / 2.54]
    assert max(line["depth_in"] for line in centimetres["rule"]) == pytest.approx(
        max(line["depth_in"] for line in inches["rule"]), abs=1.0
    )


def test_a_marks_file_that_cannot_be_read_is_not_written_over(tmp_path: Path) -> None:
    put_bare_photo(tmp_path)
    path = tmp_path / "marks" / "bare.json"
    path.parent.mkdir()
    path.write_text('{"version": 1, "surfce_px": []}', encoding="utf-8")
    desk = Desk(tmp_path)
    client = TestClient(make_app(desk, TOKEN), base_url=HOST, headers={"x-desk-token": TOKEN})
    refused = wall(client, "bare")
    assert refused["status"] == "refused" and "surfce_px" in refused["cause"]
    sent = {"marks": {**refused["marks"], "splits_px": [[1, 1]]}, "revision": refused["revision"]}
    assert client.put("/api/walls/bare/marks", json=sent).status_code == 422
    assert "surfce_px" in path.read_text(encoding="utf-8")


def test_marks_of_a_photo_of_another_size_are_refused_as_in_a_run(tmp_path: Path) -> None:
    put_bare_photo(tmp_path)
    write_marks(Marks(photo_size_px=(900, 500), splits_px=((10.0, 10.0),)), tmp_path / "marks" / "bare.json")
    desk = Desk(tmp_path)
    with TestClient(make_app(desk, TOKEN), base_url=HOST, headers={"x-desk-token": TOKEN}) as client:
        wait_until(lambda: desk.wall("bare").status == "refused", READ_S, "the photo is refused")
        said, one = wall(client, "bare"), desk.wall("bare")
        run = read_or_refuse(one.job.photo, one.job.row, one.marks_file)
        assert isinstance(run, RefusedWall)
        assert (said["cause"], said["remedy"]) == (run.reason, run.remedy)
        sent = {"marks": {"version": 1}, "revision": said["revision"]}
        assert client.put("/api/walls/bare/marks", json=sent).status_code == 422, "not written over unseen"


def test_a_file_is_no_folder_of_photos(tmp_path: Path) -> None:
    photo = put_bare_photo(tmp_path)
    with pytest.raises(BadRequest, match="is no folder"):
        Desk(photo)


# --- killed midway ---


def _start(folder: Path) -> tuple[subprocess.Popen, str, str]:
    command = "from rootread.cli import main; main()"
    arguments = ["desk", str(folder), "--port", "0", "--no-browser"]
    process = subprocess.Popen(
        [sys.executable, "-u", "-c", command, *arguments],
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
    )
    assert process.stdout is not None
    address, token = process.stdout.readline().removeprefix("Desk: ").strip().split("/#")
    return process, address, token


def _ask(address: str, token: str, value: dict | None = None) -> dict:
    request = Request(address, headers={"x-desk-token": token}, method="GET" if value is None else "PUT")
    data = None if value is None else json.dumps(value).encode()
    with urlopen(request, data, timeout=60) as answer:
        return json.loads(answer.read())


def test_no_mark_that_was_answered_for_is_lost_when_the_desk_is_killed(tmp_path: Path) -> None:
    """Killed with signal 9 right after an answer, while the next change is on its way."""
    put_bare_photo(tmp_path)
    process, address, token = _start(tmp_path)
    try:
        here = f"{address}/api/walls/bare"
        now = _ask(here, token)
        answered = []
        for step in range(1, 12):
            marks = {**now["marks"], "splits_px": [[k, k] for k in range(step)]}
            now = _ask(f"{here}/marks", token, {"marks": marks, "revision": now["revision"]})
            answered.append(step)
    finally:
        process.kill()
        process.wait()
        assert process.stdout is not None
        process.stdout.close()
    kept = read_marks(tmp_path / "marks" / "bare.json")
    assert len(kept.splits_px) == answered[-1]
    assert [file.name for file in (tmp_path / "marks").iterdir()] == ["bare.json"]


@pytest.mark.parametrize("times", [1, 2])
def test_ctrl_c_closes_a_desk_that_is_reading_a_wall(times: int, tmp_path: Path) -> None:
    put_wall(tmp_path, width_px=2400)
    # What runs tests in the background may have told its children to pass Ctrl+C over.
    heed = "import signal; signal.signal(signal.SIGINT, signal.default_int_handler)"
    command = f"{heed}; from rootread.cli import main; main()"
    with subprocess.Popen(
        [sys.executable, "-u", "-c", command, "desk", str(tmp_path), "--port", "0", "--no-browser"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as process:
        assert process.stdout is not None
        address, token = process.stdout.readline().removeprefix("Desk: ").strip().split("/#")
        stages = "finding roots", "following roots"

        def stage() -> str:
            return _ask(f"{address}/api/walls/north", token)["stage"]

        wait_until(lambda: stage() in stages, READ_S, "roots are sought")
        for _ in range(times):
            process.send_signal(signal.SIGINT)
            time.sleep(0.05)  # as fast as a finger
        _, said = process.communicate(timeout=30)
    assert (process.returncode, "terminate" in said, "Traceback" in said) == (0, False, False)


def test_marks_killed_while_they_are_written_are_the_old_or_the_new(tmp_path: Path) -> None:
    code = (
        "import sys\nfrom pathlib import Path\nfrom rootread.marks import *\nprint('begun', flush=True)\n"
        "for k in range(10**6):\n"
        "    root = RootMark(tuple((float(n), float(k)) for n in range(2000)))\n"
        "    write_marks(Marks(roots_added=(root,)), Path(sys.argv[1]))\n"
    )
    path = tmp_path / "marks" / "a.json"
    rng = np.random.default_rng(8)
    for _ in range(4):
        process = subprocess.Popen([sys.executable, "-c", code, str(path)], stdout=subprocess.PIPE)
        assert process.stdout is not None
        process.stdout.readline()
        wait_until(path.exists, 30, "the first marks are written")
        time.sleep(float(rng.uniform(0.0, 0.05)))
        process.kill()
        process.wait()
        process.stdout.close()
        (root,) = read_marks(path).roots_added
        assert len({row for _, row in root.points_px}) == 1 and len(root.points_px) == 2000


def test_marks_of_the_earlier_desk_are_there_when_it_is_opened_again(tmp_path: Path) -> None:
    put_bare_photo(tmp_path)
    marks = Marks(
        roots_added=(RootMark(((1.0, 2.0), (3.0, 4.0)), 5.0),), strokes=(Stroke("soil", ((1.0, 1.0),), 9.0),)
    )
    write_marks(marks, tmp_path / "marks" / "bare.json")
    assert Desk(tmp_path).wall("bare").marks == marks
