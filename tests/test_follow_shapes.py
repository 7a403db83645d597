"""Shapes that geometry knows, turned about, at sub-pixel places: traces are as long and run where they do."""

from dataclasses import replace

import cv2
import numpy as np
import pytest
import skan
from drawn_roots import PX_PER_IN, SIDE_IN, crossing, followed, turned
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from scipy.ndimage import distance_transform_edt, gaussian_filter
from scipy.spatial import cKDTree
from skimage.morphology import skeletonize

from rootread.follow import Trace
from rootread.follow.graph import graph_of_strands
from rootread.follow.skeleton import thinned
from rootread.follow.strands import find_strands
from rootread.geometry import Points, arc_length, resample_polyline

LENGTH_TOLERANCE = 0.03
"""Share of a root's length; its blunt ends make up most of it."""
OFF_LINE_PX = 0.6
"""Nine in ten points of a trace lie this near to the true line."""
SAME_LENGTH_IN = 0.12
"""Length of the same root on a turned, mirrored or finer wall."""
MIDDLE = SIDE_IN / 2
SOME_TURNS_DEG = (0.0, 17.0, 45.0, 71.0, 90.0)
FEW = settings(max_examples=6, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow])


def length_in(trace: Trace) -> float:
    return float(arc_length(trace.points)[-1])


def line(start: tuple[float, float], end: tuple[float, float]) -> Points:
    return np.linspace(start, end, 80)


def semicircle() -> Points:
    turn = np.linspace(np.pi, 0, 200)
    return np.column_stack([MIDDLE + 2.5 * np.cos(turn), MIDDLE - 1 + 2.5 * np.sin(turn)])


def sine() -> Points:
    x = np.linspace(1.5, 7.5, 600)
    return np.column_stack([x, MIDDLE + 0.3 * np.sin(2 * np.pi * x / 2.0)])


def spiral() -> Points:
    turn = np.linspace(0, 3 * np.pi, 600)
    radius = 0.9 + 0.25 * turn
    return np.column_stack([MIDDLE + radius * np.cos(turn), MIDDLE + radius * np.sin(turn)])


def off_px(trace: Trace, true: Points) -> float:
    dense, _ = resample_polyline(true, 0.01)
    return PX_PER_IN * float(np.quantile(cKDTree(dense).query(trace.points)[0], 0.9))


@pytest.mark.parametrize("angle_deg", SOME_TURNS_DEG)
@pytest.mark.parametrize("shape", [semicircle, sine, spiral])
def test_a_curved_root_is_as_long_as_geometry_says_however_it_is_turned(shape, angle_deg):
    true = turned(shape(), angle_deg, (0.3 / PX_PER_IN, 0.7 / PX_PER_IN))
    (trace,) = followed([true])
    assert length_in(trace) == pytest.approx(arc_length(true)[-1], rel=LENGTH_TOLERANCE)
    assert off_px(trace, true) < OFF_LINE_PX


@pytest.mark.parametrize("radius_in", [0.4, 1.5, 3.0])
def test_a_root_that_closes_a_ring_is_followed_round_it(radius_in):
    """It has no end to begin at, and may be opened anywhere."""
    turn = np.linspace(0, 2 * np.pi, 400)
    ring = MIDDLE + radius_in * np.column_stack([np.cos(turn), np.sin(turn)])
    (trace,) = followed([ring])
    assert length_in(trace) == pytest.approx(2 * np.pi * radius_in, rel=2 * LENGTH_TOLERANCE)
    assert off_px(trace, ring) < OFF_LINE_PX


def test_the_length_of_a_spiral_is_that_of_the_integral():
    """r = a + b t: the length is the integral of sqrt(r^2 + b^2) dt."""
    t = np.linspace(0, 3 * np.pi, 100_000)
    exact = np.trapezoid(np.hypot(0.9 + 0.25 * t, 0.25), t)
    (trace,) = followed([spiral()])
    assert length_in(trace) == pytest.approx(exact, rel=LENGTH_TOLERANCE)


@pytest.mark.parametrize("angle_deg", SOME_TURNS_DEG)
@pytest.mark.parametrize("between_deg", [35, 60, 90])
def test_an_x_is_two_roots(between_deg, angle_deg):
    arms = [line((1, MIDDLE), (8, MIDDLE))] * 2
    true = [turned(arm, angle_deg + turn) for arm, turn in zip(arms, (0, between_deg), strict=True)]
    traces = followed(true)
    assert len(traces) == 2
    for root in true:
        best = min(traces, key=lambda trace: off_px(trace, root))
        assert off_px(best, root) < OFF_LINE_PX and length_in(best) == pytest.approx(7, rel=LENGTH_TOLERANCE)


@pytest.mark.parametrize("angle_deg", [0.0, 17.0, 40.0])
def test_a_y_is_a_main_root_and_its_lateral(angle_deg):
    main = turned(line((MIDDLE, 0.8), (MIDDLE, 8)), angle_deg)
    lateral = turned(line((MIDDLE, 4), (MIDDLE + 2, 6)), angle_deg)
    long, short = sorted(followed([main, lateral], [0.14, 0.07]), key=length_in, reverse=True)
    assert off_px(long, main) < OFF_LINE_PX and length_in(long) == pytest.approx(7.2, rel=LENGTH_TOLERANCE)
    assert short.parent == long.id and short.order == long.order + 1
    assert length_in(short) == pytest.approx(2 * np.sqrt(2), abs=0.2)


@pytest.mark.parametrize("angle_deg", SOME_TURNS_DEG)
@pytest.mark.parametrize("apart_px", [4.0, 12.5])
def test_a_parallel_pair_stays_a_pair(apart_px, angle_deg):
    """``apart_px`` is the strip of soil between the two."""
    apart = 0.12 + apart_px / PX_PER_IN
    true = [
        turned(line((1, MIDDLE + side * apart / 2), (8, MIDDLE + side * apart / 2)), angle_deg)
        for side in (-1, 1)
    ]
    traces = followed(true)
    assert [length_in(trace) for trace in traces] == pytest.approx([7, 7], rel=LENGTH_TOLERANCE)
    assert all(min(off_px(trace, root) for root in true) < OFF_LINE_PX for trace in traces)


@pytest.mark.parametrize("angle_deg", [0.0, 25.0, 63.0])
def test_the_rails_of_a_ladder_are_followed_whole(angle_deg):
    rails = [turned(line((x, 1), (x, 8)), angle_deg) for x in (MIDDLE - 0.8, MIDDLE + 0.8)]
    rungs = [turned(line((MIDDLE - 0.8, z), (MIDDLE + 0.8, z)), angle_deg) for z in (2.5, 4.5, 6.5)]
    traces = sorted(followed(rungs + rails, [0.07] * 3 + [0.14] * 2), key=length_in, reverse=True)
    for rail in rails:
        best = min(traces, key=lambda trace: off_px(trace, rail) + abs(length_in(trace) - 7))
        assert off_px(best, rail) < OFF_LINE_PX and length_in(best) == pytest.approx(7, rel=LENGTH_TOLERANCE)
    # The rails lie over the ends of the rungs.
    assert [length_in(trace) for trace in traces[2:]] == pytest.approx([1.6 - 0.14] * 3, abs=0.15)


@st.composite
def gentle_roots(draw):
    """A root that bends gently, well inside the wall."""
    heading = np.radians(draw(st.floats(-60, 60)))
    bend = np.radians(draw(st.floats(-70, 70)))
    s = np.linspace(0, 1, 120)
    way = heading + bend * s
    steps = np.column_stack([np.cos(way), np.sin(way)]) * 5.0 / len(s)
    course = np.cumsum(steps, axis=0)
    return course - course.mean(axis=0) + MIDDLE


def only(traces: tuple[Trace, ...]) -> float:
    (trace,) = traces
    return length_in(trace)


@FEW
@given(root=gentle_roots(), angle_deg=st.floats(0, 360))
def test_a_turned_wall_has_roots_of_the_same_length(root, angle_deg):
    assert only(followed([turned(root, angle_deg)])) == pytest.approx(
        only(followed([root])), abs=SAME_LENGTH_IN
    )


@FEW
@given(root=gentle_roots())
def test_a_mirrored_wall_has_the_mirrored_root(root):
    """Exactly about the middle column, so that the pixels are the same ones."""
    edge_in = (round(SIDE_IN * PX_PER_IN) - 1) / PX_PER_IN
    (trace,), (other,) = followed([root]), followed([np.column_stack([edge_in - root[:, 0], root[:, 1]])])
    assert length_in(other) == pytest.approx(length_in(trace), abs=SAME_LENGTH_IN)
    back = np.column_stack([edge_in - other.points[:, 0], other.points[:, 1]])
    assert PX_PER_IN * np.quantile(cKDTree(trace.points).query(back)[0], 0.9) < 1.5
    assert np.median(other.width_in) == pytest.approx(np.median(trace.width_in), abs=0.3 / PX_PER_IN)


@FEW
@given(root=gentle_roots(), px_per_in=st.floats(45, 80))
def test_a_finer_photo_shows_the_same_root(root, px_per_in):
    (trace,), (other,) = followed([root]), followed([root], px_per_in=px_per_in)
    assert length_in(other) == pytest.approx(length_in(trace), abs=SAME_LENGTH_IN)
    assert np.median(other.width_in) == pytest.approx(np.median(trace.width_in), abs=0.02)


@pytest.mark.parametrize("angle_deg", [0.0, 45.0])
def test_branches_of_an_x_are_as_long_as_skan_has_them(angle_deg):
    """Along rows, columns and diagonals skan's pixel steps add up exactly, so there it is the reference."""
    arms = [turned(line((1, MIDDLE), (8, MIDDLE)), angle_deg + turn) for turn in (0, 90)]
    root_map, image = crossing(arms)
    strands = find_strands(root_map, image)
    meeting = replace(strands, mask=strands.whole_mask)  # as if neither lay over the other
    theirs = skan.Skeleton(skeletonize(root_map.mask)).path_lengths()
    theirs_in = sorted(theirs[theirs > 20] / PX_PER_IN)
    ours_in = sorted(edge.length_px / PX_PER_IN for edge in graph_of_strands(meeting).edges)
    assert len(ours_in) == len(theirs_in) == 4
    assert ours_in == pytest.approx(theirs_in, abs=0.12)


@pytest.mark.parametrize("radius_px", [1.5, 6.0, 30.0])
def test_a_mask_thinned_in_bands_is_thinned_as_in_one_piece(radius_px: float) -> None:
    """As scikit-image thins it whole."""
    noise = gaussian_filter(np.random.default_rng(11).normal(size=(900, 120)), 1.5 * radius_px)
    mask = noise > np.quantile(noise, 0.7)
    thickest = float(distance_transform_edt(mask).max())
    np.testing.assert_array_equal(thinned(mask, thickest), skeletonize(mask))


def test_a_mask_that_is_all_root_is_thinned_too() -> None:
    mask = np.ones((400, 30), bool)
    radius = cv2.distanceTransform(mask.view(np.uint8), cv2.DIST_L2, 5)
    np.testing.assert_array_equal(thinned(mask, float(radius.max())), skeletonize(mask))
