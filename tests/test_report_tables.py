import csv
import io
import json
from unicodedata import east_asian_width

import cv2
import numpy as np
import pandas as pd
import pytest
from report_walls import LENS, empty_wall, open_wall, refused_wall, turned_wall

from rootread.geometry import apply_homography
from rootread.report import rows_of, table_csv, traces_json, walls_text
from rootread.schema import TABLES

HALF_A_THOUSANDTH_IN = 0.0005
A_HUNDREDTH_PX = 0.01


def table(name, *walls):
    rows = [row for wall in walls for row in rows_of(wall)[name]]
    return pd.read_csv(io.StringIO(table_csv(name, rows)), keep_default_na=False)


@pytest.mark.parametrize("name", TABLES)
@pytest.mark.parametrize("wall", [turned_wall, open_wall, empty_wall, refused_wall])
def test_every_table_has_the_columns_of_the_schema_whatever_the_wall(name, wall):
    assert list(table(name, wall()).columns) == [column.name for column in TABLES[name]]
    for row in rows_of(wall())[name]:
        assert list(row) == [column.name for column in TABLES[name]]


def test_a_bare_wall_is_read_and_has_no_figures_for_what_has_no_roots():
    (row,) = rows_of(empty_wall())["walls"]
    assert (row["status"], row["roots"], row["root_length_in"]) == ("read", 0, 0.0)
    assert (row["descent_deg"], row["grade"], row["sideways_flag"]) == (None, None, "no")
    assert table("walls", empty_wall())["grade"][0] == ""


def test_a_refused_wall_gives_its_reason_and_remedy_and_no_figures():
    (row,) = rows_of(refused_wall())["walls"]
    assert row["status"] == "refused"
    assert row["reason"] == "No scale object. Hang the card."
    assert row["px_per_in"] is None
    assert rows_of(refused_wall())["roots"] == []


def test_a_wall_whose_roots_turned_at_a_layer_is_flagged_and_an_open_one_is_not():
    assert rows_of(turned_wall())["walls"][0]["sideways_flag"] == "yes"
    assert rows_of(open_wall())["walls"][0]["sideways_flag"] == "no"


def test_lengths_in_the_file_are_those_of_the_wall():
    wall = turned_wall()
    roots = table("roots", wall)
    runs = table("runs", wall)
    assert roots["length_in"].sum() == pytest.approx(
        wall.readings.root_length_in, abs=8 * HALF_A_THOUSANDTH_IN
    )
    assert runs["length_in"].sum() == pytest.approx(wall.readings.sideways_in, abs=8 * HALF_A_THOUSANDTH_IN)
    assert set(runs["root"]) <= set(roots["root"])
    assert table("layers", wall)["recorded"].tolist() == ["disk"]


def test_the_passage_of_a_layer_has_its_interval_in_the_table():
    (row,) = table("layers", turned_wall()).to_dict("records")
    assert row["passage"] == pytest.approx(row["crossed"] / row["reached"], abs=1e-4)
    # Wilson's interval of none of n: 0 to z^2 / (n + z^2)
    assert row["crossed"] == 0 and row["passage_low"] == 0
    assert row["passage_high"] == pytest.approx(1.96**2 / (row["reached"] + 1.96**2), abs=1e-3)


def test_a_layer_that_the_sheet_does_not_know_is_called_unrecorded():
    assert table("layers", turned_wall(layers=()))["recorded"].tolist() == ["unrecorded"]


@pytest.mark.parametrize("start", ["=", "+", "-", "@"])
def test_text_that_a_spreadsheet_would_run_is_made_text(start):
    wall = open_wall(treatment=f"{start}2+5", pit=f"pit {start}")
    row = table("walls", wall).iloc[0]
    assert row["treatment"] == f"'{start}2+5"
    assert row["pit"] == f"pit {start}"


def test_a_number_below_zero_stays_a_number():
    (first, *_) = rows_of(turned_wall())["runs"]
    text = table_csv("runs", [first | {"x_from_in": -3.25, "x_to_in": -0.00001}])
    cells = next(csv.DictReader(io.StringIO(text)))
    assert (cells["x_from_in"], cells["x_to_in"]) == ("-3.25", "0")


def test_a_cell_with_commas_quotes_and_line_breaks_comes_back_whole():
    treatment = 'deep, "winged"\nsecond line'
    assert table("walls", open_wall(treatment=treatment))["treatment"][0] == treatment


@pytest.mark.parametrize("lens", [None, LENS])
def test_the_traces_file_puts_a_root_where_it_is_in_the_photo(lens):
    wall = turned_wall(lens=lens)
    kept = json.loads(json.dumps(traces_json(wall), allow_nan=False))
    assert (kept["wall"], kept["photo"], kept["units"]) == ("turned", "turned.jpg", "in")
    assert set(kept) == {"wall", "photo", "units", "plane_to_photo", "lens", "surface", "crowns", "roots"}
    root = kept["roots"][3]
    undistorted = apply_homography(kept["plane_to_photo"], root["points"])
    in_photo = undistorted
    if kept["lens"]:
        # OpenCV's own projection is the reference for what the lens does.
        given = kept["lens"]
        matrix = np.array([[given["fx"], 0, given["cx"]], [0, given["fy"], given["cy"]], [0, 0, 1]])
        rays = np.column_stack([undistorted, np.ones(len(undistorted))]) @ np.linalg.inv(matrix).T
        bends = np.array([given[name] for name in ("k1", "k2", "p1", "p2", "k3")])
        in_photo = cv2.projectPoints(rays, np.zeros(3), np.zeros(3), matrix, bends)[0].reshape(-1, 2)
    expected = wall.plane.to_photo_px(wall.readings.roots[3].trace.points)
    assert np.abs(in_photo - expected).max() < A_HUNDREDTH_PX
    assert len(root["width"]) == len(root["flattened"]) == len(root["points"])
    assert len(root["inferred"]) == len(root["points"]) and root["cut"] is False


def test_the_traces_of_a_bare_wall_are_an_empty_list():
    assert json.loads(json.dumps(traces_json(empty_wall()), allow_nan=False))["roots"] == []


def test_the_console_table_fits_a_hundred_columns_and_says_why_a_wall_was_refused():
    walls = [turned_wall("x" * 60, treatment="a treatment with a long name"), empty_wall(), refused_wall()]
    text = walls_text([rows_of(wall)["walls"][0] for wall in walls])
    assert max(len(line) for line in text.splitlines()) <= 100
    assert "lost: not read. No scale object. Hang the card." in text
    assert turned_wall().grade.verdict in text
    assert "* roots ran sideways at a layer" in text


def test_the_console_has_a_word_for_a_run_without_walls():
    assert walls_text([]) == "No walls."


def test_wide_letters_keep_the_columns_of_the_console_in_line():
    row = rows_of(turned_wall())["walls"][0]
    names = ("none", "深松", "壁面一号的深松处理方法在这里", "é" * 9)
    lines = walls_text([row | {"treatment": name} for name in names]).splitlines()
    ends = {len(line) + sum(east_asian_width(letter) == "W" for letter in line) for line in lines[:5]}
    assert len(ends) == 1
