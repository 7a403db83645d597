"""What a person drew on a photo is kept exactly, or refused with the place that makes no sense."""

import json
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import rootread.marks
from rootread.errors import BadMarks
from rootread.marks import (
    LayerMark,
    Marks,
    RootMark,
    ScaleMark,
    Stroke,
    marks_path,
    marks_values,
    read_marks,
    write_marks,
)

RECTANGLE = (
    ScaleMark((100.0, 100.0), (0.0, 0.0)),
    ScaleMark((900.0, 120.0), (24.0, 0.0)),
    ScaleMark((880.0, 1100.0), (24.0, 30.0)),
    ScaleMark((120.0, 1080.0), (0.0, 30.0)),
)
FULL = Marks(
    photo_size_px=(4000, 3000),
    scale_points=RECTANGLE,
    surface_px=((0.0, 310.0), (3999.0, 322.5)),
    outline_px=((90.0, 300.0), (3900.0, 310.0), (3880.0, 2900.0)),
    roots_added=(RootMark(((700.0, 400.0), (760.0, 520.0)), 9.0), RootMark(((1.0, 2.0), (3.0, 4.0)))),
    roots_struck_px=(((1500.0, 800.0),),),
    plumb_px=((2100.0, 500.0), (2098.0, 1900.0)),
    splits_px=((1220.0, 1310.0),),
    joins_px=(((800.0, 1500.0), (860.0, 1540.0)),),
    flattened_px=(((2100.0, 1400.0), (2160.0, 1410.0)),),
    not_flattened_px=(((900.0, 1200.0), (930.0, 1260.0)),),
    layers=(LayerMark(((300.0, 1480.0), (3700.0, 1470.0)), "disk"),),
    layers_struck_px=(((300.0, 2080.0), (3700.0, 2070.0)),),
    strokes=(Stroke("soil", ((300.0, 900.0), (420.0, 905.0)), 20.0),),
    loosened_floor_px=((0.0, 1500.0), (3999.0, 1480.0)),
    checked="111 roots, 594 in, 1 layer, grade 61",
)
TWO_POINTS = Marks(scale_points=(ScaleMark((0.0, 0.0)), ScaleMark((0.0, 50.0))), distance_in=36.0)


@pytest.mark.parametrize("marks", [FULL, TWO_POINTS, Marks()])
def test_marks_come_back_as_they_were_drawn(tmp_path, marks):
    path = marks_path(tmp_path / "IMG_1.jpg", "north")
    assert path == tmp_path / "marks" / "north.json"
    write_marks(marks, path)
    assert read_marks(path) == marks


pixels = st.floats(-5e4, 1e5).map(lambda value: value + 0.0)
places = st.tuples(pixels, pixels)


@given(
    surface=st.lists(places, min_size=2, max_size=5),
    root=st.lists(places, min_size=2, max_size=5),
    width=st.none() | st.floats(0.01, 100),
)
def test_any_line_comes_back_to_the_last_digit(tmp_path_factory, surface, root, width):
    path = tmp_path_factory.mktemp("marks") / "a.json"
    marks = Marks(surface_px=tuple(surface), roots_added=(RootMark(tuple(root), width),))
    write_marks(marks, path)
    assert read_marks(path) == marks


def test_the_example_in_the_documentation_reads(tmp_path):
    example = rootread.marks.__doc__.split("\n\n")[-1]
    (tmp_path / "a.json").write_text(example)
    marks = read_marks(tmp_path / "a.json")
    assert marks.distance_in == 36.0
    assert marks.strokes[0].says == "soil"
    assert all(getattr(marks, name) for name in FULL.__dataclass_fields__)


def test_a_write_that_fails_leaves_the_old_marks(tmp_path, monkeypatch):
    path = tmp_path / "a.json"
    write_marks(FULL, path)
    with pytest.raises(BadMarks):
        write_marks(replace(FULL, surface_px=((1.0, 1.0),)), path)
    monkeypatch.setattr(Path, "replace", _full_disk)
    with pytest.raises(OSError, match="disk full"):
        write_marks(TWO_POINTS, path)
    assert read_marks(path) == FULL
    assert [file.name for file in tmp_path.iterdir()] == ["a.json"]


def _full_disk(*_: object) -> None:
    raise OSError("disk full")


def test_marks_of_a_photo_of_another_size_are_refused(tmp_path):
    write_marks(FULL, tmp_path / "a.json")
    assert read_marks(tmp_path / "a.json", (4000, 3000)) == FULL
    with pytest.raises(
        BadMarks, match="drawn on a photo of 4000 x 3000 pixels, but this one has 3000 x 4000"
    ):
        read_marks(tmp_path / "a.json", (3000, 4000))


LINE = [[0, 1], [2, 3]]
FOUR = [{"px": list(mark.px), "at_in": list(mark.at_in or ())} for mark in RECTANGLE]


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ([], "the file must be a group of named values"),
        ({}, "version None of the marks is not known"),
        ({"version": 2}, "version 2.* is not known"),
        ({"version": 1, "surfce_px": LINE}, "the file has an unknown key 'surfce_px'.*surface_px"),
        ({"version": 1, "surface_px": 5}, "surface_px must be a list"),
        ({"version": 1, "surface_px": [[0, 1]]}, "surface_px has 1 points, but needs 2"),
        ({"version": 1, "surface_px": [[0, 1], [2, "3"]]}, r"surface_px\[1\]\[1\] must be a number"),
        ({"version": 1, "surface_px": [[0, 1], [2, True]]}, r"surface_px\[1\]\[1\] must be a number"),
        ({"version": 1, "surface_px": [[0, 1], [2]]}, r"surface_px\[1\] must be two numbers"),
        ({"version": 1, "surface_px": [[0, 1], [2, 10**400]]}, r"surface_px\[1\]\[1\] must be a number"),
        ({"version": 1, "outline_px": LINE}, "outline_px has 2 points, but needs 3"),
        (
            {"version": 1, "roots_added": [{"points_px": LINE}, {"points_px": []}]},
            r"roots_added\[1\] has 0 points",
        ),
        (
            {"version": 1, "roots_added": [{"points_px": LINE, "width_px": 0}]},
            r"roots_added\[0\] has a width of 0",
        ),
        ({"version": 1, "roots_added": [LINE]}, r"roots_added\[0\] must be a group"),
        ({"version": 1, "roots_added": [{}]}, r"roots_added\[0\].points_px must be a list"),
        ({"version": 1, "roots_struck_px": [[]]}, r"roots_struck_px\[0\] has 0 points"),
        (
            {"version": 1, "strokes": [{"says": "stone", "points_px": LINE, "width_px": 3}]},
            r"strokes\[0\].says must be root or soil",
        ),
        (
            {"version": 1, "strokes": [{"says": "soil", "points_px": LINE}]},
            r"strokes\[0\].width_px must be a number",
        ),
        ({"version": 1, "plumb_px": [[0, 1], [0, 9], [0, 20]]}, "plumb_px has 3 points, but needs two"),
        ({"version": 1, "joins_px": [[[5, 5], [5, 5]]]}, r"joins_px\[0\] has 2 points, but needs two apart"),
        ({"version": 1, "flattened_px": [[[5, 5]]]}, r"flattened_px\[0\] has 1 points"),
        ({"version": 1, "not_flattened_px": [[[5, 5]]]}, r"not_flattened_px\[0\] has 1 points"),
        ({"version": 1, "layers_struck_px": [[]]}, r"layers_struck_px\[0\] has 0 points"),
        ({"version": 1, "checked": True}, "checked must be text"),
        ({"version": 1, "layers": [{"line_px": LINE, "name": 7}]}, r"layers\[0\].name must be text"),
        ({"version": 1, "layers": [{"line_px": [[1, 2]]}]}, r"layers\[0\] has 1 points"),
        ({"version": 1, "photo_size_px": [10.5, 3]}, "photo_size_px must be whole numbers"),
        (
            {"version": 1, "scale_points": [{"px": [0, 1]}], "distance_in": 3},
            "1 scale points, 0 of them with at_in",
        ),
        (
            {"version": 1, "scale_points": [{"px": [0, 1]}, {"px": [5, 1]}]},
            "2 scale points, .* no distance_in",
        ),
        ({"version": 1, "scale_points": [{"px": [0, 1]}, {"px": [0, 1]}], "distance_in": 3}, "fall together"),
        (
            {"version": 1, "scale_points": [{"px": [0, 1]}, {"px": [5, 1]}], "distance_in": -3},
            "fall together",
        ),
        ({"version": 1, "distance_in": 3}, "0 scale points"),
        (
            {"version": 1, "scale_points": FOUR, "distance_in": 3},
            "4 scale points, 4 of them with at_in, a distance",
        ),
        ({"version": 1, "scale_points": FOUR[:3]}, "3 scale points"),
        ({"version": 1, "scale_points": [FOUR[0], FOUR[2], FOUR[1], FOUR[3]]}, "cross over"),
        (
            {"version": 1, "scale_points": [*FOUR[:3], {"px": [120, 1080]}]},
            "4 scale points, 3 of them with at_in",
        ),
        ({"version": 1, "scale_points": [{"at_in": [0, 1]}]}, r"scale_points\[0\].px must be a list"),
    ],
)
def test_whatever_makes_no_sense_is_named_with_its_place(tmp_path, content, said):
    path = tmp_path / "a.json"
    path.write_text(json.dumps(content))
    with pytest.raises(BadMarks, match=said) as refused:
        read_marks(path)
    assert refused.value.cause.startswith("a.json: ")
    assert refused.value.remedy


def test_corners_given_round_the_other_way_are_refused(tmp_path):
    mirrored = tuple(ScaleMark(mark.px, (24.0 - mark.at_in[0], mark.at_in[1])) for mark in RECTANGLE)
    with pytest.raises(BadMarks, match="the other way"):
        write_marks(Marks(scale_points=mirrored), tmp_path / "a.json")


@pytest.mark.parametrize("data", [b"", b"{", b"\xff\xfe\x00", b"[" * 100_000, b'{"version": NaN}'])
def test_a_file_that_is_no_marks_at_all_is_refused(tmp_path, data):
    (tmp_path / "a.json").write_bytes(data)
    with pytest.raises(BadMarks, match=r"a\.json"):
        read_marks(tmp_path / "a.json")


def test_a_missing_file_is_refused(tmp_path):
    with pytest.raises(BadMarks, match=r"none\.json"):
        read_marks(Path(tmp_path / "none.json"))


@pytest.mark.parametrize(
    ("marks", "said"),
    [
        ({"surface_px": [[0, 10], [9e9, 10]]}, "far outside the photo"),
        ({"splits_px": [[-5000, 10]]}, "far outside the photo"),
        ({"strokes": [{"says": "root", "points_px": [[5, 5]], "width_px": 1e12}]}, "width"),
        ({"scale_points": [{"px": [1, 1]}, {"px": [90, 1]}], "distance_in": 1e9}, "no wall's"),
    ],
)
def test_what_no_photo_of_a_wall_can_show_is_refused(tmp_path, marks, said):
    (tmp_path / "a.json").write_text(json.dumps({"version": 1, **marks}))
    with pytest.raises(BadMarks, match=said):
        read_marks(tmp_path / "a.json", (4000, 3000))


def across(count: int, width_px: float, to_px: float = 1200.0) -> tuple[Stroke, ...]:
    """Level strokes that say root, ``count`` of them, evenly one below the other."""
    rows = [200.0 + 1000.0 * k / count for k in range(count)]
    return tuple(Stroke("root", ((200.0, row), (to_px, row)), width_px) for row in rows)


def down(count: int, width_px: float) -> tuple[Stroke, ...]:
    """The same, upright."""
    return tuple(
        replace(stroke, points_px=tuple((y, x) for x, y in stroke.points_px))
        for stroke in across(count, width_px)
    )


def read_back(tmp_path, *strokes: Stroke) -> Marks:
    content = marks_values(Marks(strokes=strokes))
    (tmp_path / "a.json").write_text(json.dumps(content))
    return read_marks(tmp_path / "a.json", (4000, 3000))


def test_a_scribble_wider_than_any_root_is_refused(tmp_path):
    with pytest.raises(BadMarks, match=r"an area about 30\d pixels wide; no root .* wider than 133"):
        read_back(tmp_path, *across(1, 300.0))
    with pytest.raises(BadMarks, match="cover an area") as refused:
        read_back(tmp_path, *across(40, 30.0))
    assert "Paint along each root alone" in refused.value.remedy


def test_strokes_that_cross_to_a_net_are_refused(tmp_path):
    with pytest.raises(BadMarks, match="cross to a net of 49 meshes"):
        read_back(tmp_path, *across(8, 10.0), *down(8, 10.0))


def test_roots_painted_side_by_side_or_crossing_now_and_then_are_kept(tmp_path):
    for strokes in (across(40, 12.0), (*across(5, 30.0), *down(5, 30.0)), across(1, 120.0)):
        assert read_back(tmp_path, *strokes).strokes == strokes


def test_soil_may_be_painted_as_wide_as_one_likes_and_wins_where_it_comes_later(tmp_path):
    soil = Stroke("soil", ((200.0, 700.0), (1200.0, 700.0)), 2000.0)
    assert read_back(tmp_path, *across(1, 300.0), soil).strokes[-1] == soil
