"""Roots of known shape, drawn anti-aliased, must come back with their true length."""

import cv2
import numpy as np
import pytest

from rootread.find.types import RootMap
from rootread.follow import follow_roots
from rootread.geometry import arc_length
from rootread.plane.types import Grid, Surface, WallImage
from rootread.settings import FollowSettings

PX_PER_IN = 72.0
LENGTH_TOLERANCE = 0.01  # of the length


def wall_with_roots(roots, width_px=6.0, shape=(600, 600)):
    """A root map and flat image with smooth-edged strokes; roots are (N, 2) column-row polylines."""
    scale = 8
    canvas = np.zeros((shape[0], shape[1]), dtype=np.float32)
    for root in roots:
        fine = np.zeros(shape, dtype=np.uint8)
        points = np.round(np.asarray(root) * 2**scale).astype(np.int32)
        cv2.polylines(fine, [points], False, 255, round(width_px), cv2.LINE_AA, scale)
        canvas = np.maximum(canvas, fine / np.float32(255))
    grid = Grid(PX_PER_IN, 0.0, 0.0, shape)
    rgb = np.uint8(60 + 140 * canvas)[..., None].repeat(3, axis=2)
    image = WallImage(rgb, np.ones(shape, dtype=bool), grid)
    surface = Surface(np.array([[-100.0, 0.0], [100.0, 0.0]]), 0.1, "photo")
    return RootMap(canvas, canvas > 0.5, grid), image, surface


def follow(roots, **drawing):
    return follow_roots(*wall_with_roots(roots, **drawing), FollowSettings())


def length_in(trace):
    return arc_length(trace.points)[-1]


@pytest.mark.parametrize("angle_deg", range(0, 180, 9))
def test_a_straight_root_has_its_true_length_at_any_angle(angle_deg):
    along = np.array([np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))])
    centre = np.array([300.3, 300.7])
    (trace,) = follow([np.array([centre - 200 * along, centre + 200 * along])])
    assert length_in(trace) == pytest.approx(400 / PX_PER_IN, rel=0.02)
    chord = np.hypot(*(trace.points[-1] - trace.points[0]))
    assert length_in(trace) / chord == pytest.approx(1, abs=0.002)


def test_a_root_that_follows_a_semicircle_has_tortuosity_half_pi():
    turn = np.linspace(0, np.pi, 200)
    (trace,) = follow([np.column_stack([300 + 180 * np.cos(turn), 200 + 180 * np.sin(turn)])])
    chord = np.hypot(*(trace.points[-1] - trace.points[0]))
    assert length_in(trace) / chord == pytest.approx(np.pi / 2, rel=LENGTH_TOLERANCE)


def test_two_roots_that_cross_stay_two_roots():
    one, two = np.array([[100, 150], [500, 450]]), np.array([[110, 440], [480, 130]])
    traces = follow([one, two])
    assert sorted(length_in(t) for t in traces) == pytest.approx(
        sorted(np.hypot(*(r[1] - r[0])) / PX_PER_IN for r in (one, two)), rel=0.02
    )


def test_a_root_that_passes_behind_a_crumb_is_one_root_and_the_gap_is_marked():
    (trace,) = follow([np.array([[100, 100], [250, 250]]), np.array([[280, 280], [450, 450]])])
    assert length_in(trace) == pytest.approx(350 * np.sqrt(2) / PX_PER_IN, rel=0.02)
    hidden = trace.points[trace.inferred] * PX_PER_IN
    assert hidden.min() > 245
    assert hidden.max() < 285
    assert trace.inferred.sum() >= 10


def test_a_lateral_hangs_on_its_parent_with_its_base_there():
    main, lateral = np.array([[100, 30], [450, 380]]), np.array([[275, 205], [175, 330]])
    traces = follow([main, lateral])
    first, second = traces
    assert (first.order, second.order) == (0, 1)
    assert second.parent == first.id
    assert np.hypot(*(second.points[0] * PX_PER_IN - [275, 205])) < 8


def test_no_root_pixels_give_no_traces():
    assert follow([]) == ()
