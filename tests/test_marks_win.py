"""What a person drew wins over what was found."""

from dataclasses import replace

import numpy as np
from report_walls import open_wall, turned_wall

from rootread.find import RootMap, paint
from rootread.follow import Trace, with_marked_roots
from rootread.judge import judge_wall, with_marked_layers
from rootread.marks import LayerMark, Marks, RootMark, ScaleMark, Stroke
from rootread.measure import measure_wall
from rootread.photo import Photo
from rootread.plane import (
    Grid,
    Level,
    ScaleFinding,
    Surface,
    WallImage,
    WallPlane,
    find_plane,
    within_outline,
)
from rootread.report import wall_section
from rootread.settings import Settings

PX_PER_IN = 50.0


def plane() -> WallPlane:
    """A photo of 50 pixels an inch, wall origin at pixel (100, 40)."""
    to_photo = np.array([[PX_PER_IN, 0, 100], [0, PX_PER_IN, 40], [0, 0, 1.0]])
    nothing = np.empty((0, 2))
    scale = ScaleFinding("points", PX_PER_IN, 0.1, (), nothing, nothing, 0.0)
    line = np.array([[0.0, 0.0], [10.0, 0.0]])
    return WallPlane(to_photo, None, scale, Level("photo", 1.0), Surface(line, 0.1, "marks"), 0.0)


def px(*points_in: tuple[float, float]) -> tuple[tuple[float, float], ...]:
    return tuple((100 + PX_PER_IN * x, 40 + PX_PER_IN * z) for x, z in points_in)


def trace(
    name: str, start: tuple[float, float], end: tuple[float, float], parent: str | None = None
) -> Trace:
    points = np.linspace(start, end, 50)
    return Trace(name, 0, parent, points, np.full(50, 0.1), np.zeros(50, dtype=bool), 0.5)


TRACES = (
    trace("r1", (1, 1), (5, 3)),
    trace("r2", (5, 3), (5, 5), parent="r1"),
    trace("r3", (1, 4), (3, 6)),
)


def test_without_marks_nothing_changes() -> None:
    assert with_marked_roots(TRACES, plane(), None) == TRACES


def test_a_struck_root_is_gone_and_its_lateral_has_no_parent() -> None:
    left = with_marked_roots(TRACES, plane(), Marks(roots_struck_px=(px((2, 1.5), (3, 2)),)))
    assert [root.id for root in left] == ["r2", "r3"]
    assert left[0].parent is None


def test_a_strike_beside_a_root_leaves_it() -> None:
    assert len(with_marked_roots(TRACES, plane(), Marks(roots_struck_px=(px((2, 2.2), (3, 2.7)),)))) == 3


def test_a_drawn_root_is_where_it_was_drawn_and_certain() -> None:
    drawn = with_marked_roots(
        TRACES, plane(), Marks(roots_added=(RootMark(px((6, 1), (8, 4)), width_px=10),))
    )[-1]
    assert drawn.id == "m1" and drawn.confidence == 1
    assert np.allclose(drawn.points[[0, -1]], [(6, 1), (8, 4)])
    assert np.allclose(drawn.width_in, 10 / PX_PER_IN)


def test_a_drawn_root_of_no_stated_width_is_as_wide_as_the_others() -> None:
    drawn = with_marked_roots(TRACES, plane(), Marks(roots_added=(RootMark(px((6, 1), (8, 4))),)))[-1]
    assert np.allclose(drawn.width_in, 0.1)


def test_strokes_win_over_the_finder_and_later_ones_over_earlier_ones() -> None:
    grid = Grid(PX_PER_IN, 0.0, 0.0, (300, 500))
    nothing = RootMap(np.zeros(grid.shape, np.float32), np.zeros(grid.shape, bool), grid)
    root = Stroke("root", px((1, 1), (4, 1)), 10)
    soil = Stroke("soil", px((2, 0.5), (2, 2)), 10)
    painted = paint(nothing, plane(), Marks(strokes=(root, soil)))
    assert painted.mask[50, 60] and painted.probability[50, 60] == 1
    assert not painted.mask[50, 100]
    assert not nothing.mask.any()


def test_no_roots_are_sought_outside_the_marked_outline() -> None:
    grid = Grid(PX_PER_IN, 0.0, 0.0, (300, 500))
    image = WallImage(np.zeros((300, 500, 3), np.uint8), np.ones(grid.shape, bool), grid)
    outlined = within_outline(image, plane(), Marks(outline_px=px((1, 1), (5, 1), (5, 4), (1, 4))))
    assert outlined.soil[100, 100] and not outlined.soil[100, 300]
    assert abs(outlined.soil.sum() / PX_PER_IN**2 - 12) < 0.2


def test_a_trace_parted_is_two_roots_and_its_laterals_stay_with_their_part() -> None:
    parted = with_marked_roots(TRACES, plane(), Marks(splits_px=px((3, 2))))
    assert [root.id for root in parted] == ["r1", "r1.2", "r2", "r3"]
    assert np.allclose(parted[0].points[-1], (3, 2), atol=0.05)
    assert np.allclose(parted[1].points[[0, -1]], [(3, 2), (5, 3)], atol=0.05)
    assert parted[2].parent == "r1.2"


def test_a_place_far_from_every_root_parts_none() -> None:
    assert with_marked_roots(TRACES, plane(), Marks(splits_px=px((9, 9)))) == TRACES


def test_two_traces_joined_are_one_root_with_the_gap_inferred() -> None:
    pair = (
        trace("a", (1, 1), (3, 3)),
        trace("b", (6, 6), (3.5, 3.5)),
        trace("c", (6, 6), (6, 8), parent="b"),
    )
    root, lateral = with_marked_roots(pair, plane(), Marks(joins_px=(px((3, 3), (3.5, 3.5)),)))
    assert root.id == "a" and lateral.parent == "a"
    assert np.allclose(root.points[[0, -1]], [(1, 1), (6, 6)])
    steps = np.hypot(*np.diff(root.points, axis=0).T)
    assert abs(steps.sum() - np.hypot(5, 5)) < 0.01
    bridged_in = steps[root.inferred[1:] | root.inferred[:-1]].sum()
    assert abs(bridged_in - np.hypot(0.5, 0.5)) < 0.05


def test_a_stretch_marked_flattened_counts_as_such_and_a_root_that_crosses_it_does_not() -> None:
    crossing = (trace("a", (1, 1), (5, 1)), trace("b", (3, 0), (3, 3)))
    marks = Marks(flattened_px=(px((2, 1), (4, 1)),))
    marked, other = with_marked_roots(crossing, plane(), marks)
    assert other.squeezed is None
    readings = measure_wall((marked, other), plane(), Settings().measure)
    share = {root.trace.id: root.flattened_share for root in readings.roots}
    assert abs(share["a"] - 0.5) < 0.1 and share["b"] == 0


def test_a_stretch_marked_not_flattened_no_longer_counts_as_such() -> None:
    """Among even roots one whose middle is two and a half times as wide."""
    wide = trace("a", (0, 1), (12, 1))
    wide = replace(wide, width_in=np.where(np.abs(wide.points[:, 0] - 6) < 1.5, 0.25, 0.1))
    even = [trace(f"b{k}", (0, 3 + k), (12, 3 + k)) for k in range(5)]
    roots = (wide, *even)
    settings = Settings().measure
    found = measure_wall(roots, plane(), settings)
    assert found.roots[0].flattened_share > 0.15
    marks = Marks(not_flattened_px=(px((4, 1), (8, 1)),))
    assert measure_wall(roots, plane(), settings, marks=marks).roots[0].flattened_share == 0
    beside = Marks(not_flattened_px=(px((6, 0.5), (6, 2)),))
    assert measure_wall(roots, plane(), settings, marks=beside).roots[0].flattened_share > 0.15


def test_a_struck_layer_is_none_and_one_struck_elsewhere_stays() -> None:
    wall = turned_wall()
    (found,) = wall.layers

    def left_after(*places_in: tuple[float, float]) -> tuple:
        strike = wall.plane.to_photo_px(places_in)
        marks = Marks(layers_struck_px=(tuple(map(tuple, strike.tolist())),))
        return with_marked_layers(wall.layers, wall.readings, wall.plane, marks, wall.row.layers)

    assert left_after(*found.line.line_in) == ()
    assert left_after((15.0, found.depth_in)) == (), "a single place strikes the layer it lies on"
    assert left_after((15.0, found.depth_in + 3)) == (found,)
    assert left_after((found.x_to_in + 5, found.depth_in)) == (found,)


def test_a_layer_drawn_where_one_was_struck_is_the_persons_own() -> None:
    wall = turned_wall()
    line = wall.plane.to_photo_px(wall.layers[0].line.line_in)
    line_px = tuple(map(tuple, line.tolist()))
    marks = Marks(layers=(LayerMark(line_px),), layers_struck_px=(line_px,))
    (drawn,) = with_marked_layers(wall.layers, wall.readings, wall.plane, marks, wall.row.layers)
    assert drawn.p_value == 1.0


def test_a_marked_layer_moves_the_found_one_and_the_roots_are_counted_anew() -> None:
    wall = turned_wall()
    found = wall.layers[0]
    there = wall.plane.to_photo_px([(found.x_from_in, 5.0), (found.x_to_in, 5.0)])
    marks = Marks(layers=(LayerMark(tuple(map(tuple, there.tolist())), "pan"),))
    (moved,) = with_marked_layers(wall.layers, wall.readings, wall.plane, marks, wall.row.layers)
    assert abs(moved.depth_in - 5.0) < 0.01
    assert moved.p_value == found.p_value and moved.recorded == "pan"
    assert (moved.reached, moved.crossed, moved.turned) == (found.reached, found.turned, 0)


def test_a_layer_that_only_a_person_saw_has_no_evidence_in_the_roots() -> None:
    wall = open_wall()
    there = wall.plane.to_photo_px([(5.0, 4.0), (25.0, 4.0)])
    marks = Marks(layers=(LayerMark(tuple(map(tuple, there.tolist()))),))
    (drawn,) = with_marked_layers((), wall.readings, wall.plane, marks, ())
    assert drawn.p_value == 1.0
    assert drawn.crossed == drawn.reached > 0
    assert not drawn.shown_by_roots


def test_a_marked_layer_that_roots_cross_is_neither_said_to_hold_them_nor_run_under() -> None:
    wall = open_wall()
    roots = tuple(replace(root, width_in=0.2) for root in [*wall.readings.roots] * 2)
    readings = replace(wall.readings, roots=roots)
    there = wall.plane.to_photo_px([(5.0, 4.0), (25.0, 4.0)])
    marks = Marks(layers=(LayerMark(tuple(map(tuple, there.tolist()))),))
    layers = with_marked_layers((), readings, wall.plane, marks, ())
    judgement = judge_wall(readings, layers, wall.grade, wall.row, Settings().judge, wall.plane, marks)
    (advice,) = judgement.advice
    assert advice.kind == "leave" and "marked by hand at 4 in held few roots or none" in advice.text
    section = wall_section(
        replace(wall, readings=readings, layers=layers, judgement=judgement, marks=marks), Settings()
    )
    assert "a person marked a layer: of 12 roots that came to it 12 crossed" in section
    assert "layer, found or marked" in section
    assert "something held the roots" not in section and "every time" not in section


def test_a_plumb_line_marked_by_hand_turns_the_wall() -> None:
    """On a photo of 40 px/in seen square on, a string that leans 3 degrees in the photo is plumb."""
    photo = Photo(None, np.full((900, 1200, 3), 90, np.uint8))
    scale = (ScaleMark((100.0, 100.0)), ScaleMark((900.0, 100.0)))
    top, lean = (600.0, 100.0), np.radians(3.0)
    bottom = (600.0 + 700 * np.sin(lean), 100.0 + 700 * np.cos(lean))
    marks = Marks(
        scale_points=scale,
        distance_in=20.0,
        surface_px=((0.0, 50.0), (1199.0, 50.0)),
        plumb_px=(top, bottom),
    )
    found = find_plane(photo, None, marks, Settings().plane)
    x_in, z_in = np.diff(found.to_wall_in([top, bottom]), axis=0)[0]
    assert found.level.source == "marks"
    assert abs(np.degrees(np.arctan2(x_in, z_in))) < 0.05
