"""Figures of single roots, against geometry and SciPy."""

from dataclasses import replace

import numpy as np
import pytest
from handmade_roots import along, plane, trace
from scipy.signal import savgol_coeffs, savgol_filter
from scipy.special import ellipe
from scipy.stats import circmean

from rootread.measure import measure_wall
from rootread.measure.centreline import centreline, smooth, window_points
from rootread.measure.flattening import NO_NOISE, flattened_points, width_noise
from rootread.measure.light import light_falloff, linear_grey
from rootread.measure.root import measure_root
from rootread.plane.types import Grid, WallImage
from rootread.settings import MeasureSettings

SETTINGS = MeasureSettings()
LEVEL_SURFACE = np.array([[-100.0, 0.0], [100.0, 0.0]])
SHAPE_TOLERANCE = 0.003  # of the figure
ANGLE_TOLERANCE_DEG = 0.3


def read(points, **kwargs):
    return measure_root(centreline(trace(points, **kwargs), SETTINGS), LEVEL_SURFACE, SETTINGS)


def arc(radius_in, from_deg, to_deg, centre=(10.0, 10.0)):
    turn = np.radians(np.linspace(from_deg, to_deg, 400))
    return np.column_stack([centre[0] + radius_in * np.cos(turn), centre[1] + radius_in * np.sin(turn)])


@pytest.mark.parametrize("angle_deg", range(-80, 90, 10))
@pytest.mark.parametrize("shift_in", [0.0, 0.013, 0.031])
def test_a_straight_root_keeps_its_length_and_descent_at_any_angle(angle_deg, shift_in):
    step = np.array([np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))])
    root = read(np.array([10.0 + shift_in, 12.0]) + np.arange(0, 7.01, 0.037)[:, None] * step)
    assert root.length_in == pytest.approx(7.0, abs=0.04)
    assert root.tortuosity == pytest.approx(1.0, abs=1e-9)
    assert root.descent_deg == pytest.approx(angle_deg, abs=1e-6)
    assert root.chord_descent_deg == pytest.approx(angle_deg, abs=1e-6)
    assert root.turning_deg_per_in == pytest.approx(0.0, abs=1e-6)


def test_a_root_that_follows_a_semicircle_has_tortuosity_half_pi():
    assert read(arc(3.0, 180, 0)).tortuosity == pytest.approx(np.pi / 2, rel=SHAPE_TOLERANCE)


def test_a_root_that_follows_a_quarter_circle_has_tortuosity_pi_over_two_root_two():
    root = read(arc(4.0, 180, 90))
    assert root.tortuosity == pytest.approx(np.pi / (2 * np.sqrt(2)), rel=SHAPE_TOLERANCE)


@pytest.mark.parametrize("radius_in", [2.0, 4.0, 8.0])
def test_a_root_on_a_circle_turns_one_radian_a_radius(radius_in):
    root = read(arc(radius_in, 180, 20))
    # the tangents at the ends point where the root goes a quarter inch further in
    counted = 1 - SETTINGS.tangent_in / 2 / root.length_in
    assert root.turning_deg_per_in == pytest.approx(np.degrees(1 / radius_in) * counted, rel=0.02)


@pytest.mark.parametrize(("amplitude_in", "wavelength_in"), [(0.3, 3.0), (0.5, 2.0), (0.2, 1.0)])
def test_a_wavy_root_is_as_long_as_a_sine_arc(amplitude_in, wavelength_in):
    """Arc length of a period: 4 sqrt(1 + a^2) E(a^2 / (1 + a^2)) / k, a = amplitude x wavenumber k."""
    k = 2 * np.pi / wavelength_in
    s = np.linspace(0, 4 * wavelength_in, 2000)
    root = read(np.column_stack([10 + amplitude_in * np.sin(k * s), 3 + s]))
    a = amplitude_in * k
    exact = 4 * 4 * np.sqrt(1 + a * a) * ellipe(a * a / (1 + a * a)) / k
    assert root.length_in == pytest.approx(exact, rel=0.01)


def test_a_half_inch_wiggle_survives_smoothing_as_stated():
    """The response of a symmetric filter h to a wave of angular step w is H(w) = sum h_k cos(k w)."""
    points = np.column_stack(
        [np.arange(0, 10, 0.05), 0.05 * np.sin(2 * np.pi * np.arange(0, 10, 0.05) / 0.5)]
    )
    window = window_points(SETTINGS.smoothing_in, SETTINGS.step_in)
    smoothed = smooth(points, window)
    kept = np.abs(smoothed[20:-20, 1]).max() / np.abs(points[20:-20, 1]).max()
    k = np.arange(window) - window // 2
    response = savgol_coeffs(window, 2) @ np.cos(2 * np.pi * k * SETTINGS.step_in / 0.5)
    assert kept == pytest.approx(response, abs=0.005)
    assert response == pytest.approx(0.94, abs=0.005)


@pytest.mark.parametrize("window", [5, 7, 11])
def test_smoothing_is_scipy_s_savitzky_golay_filter(window):
    points = np.cumsum(np.random.default_rng(1).normal(size=(60, 2)), axis=0)
    np.testing.assert_allclose(smooth(points, window), savgol_filter(points, window, 2, axis=0), atol=1e-9)


def test_pixel_jitter_does_not_make_a_straight_root_crooked():
    jitter_in = 0.5 / 75  # half a pixel at 75 px/in
    rng = np.random.default_rng(4)
    points = along((5.0, 2.0), (12.0, 9.0))
    root = read(points + rng.normal(scale=jitter_in, size=points.shape))
    assert root.tortuosity == pytest.approx(1.0, abs=0.004)
    assert root.descent_deg == pytest.approx(45.0, abs=ANGLE_TOLERANCE_DEG)


def test_mean_descent_is_the_mean_direction():
    """SciPy's circular mean of the same directions; the two differ by the spread cubed only."""
    root = read(np.column_stack([5 + np.linspace(0, 8, 300), 2 + 0.6 * np.linspace(0, 8, 300) ** 1.1]))
    assert root.descent_deg == pytest.approx(circmean(root.descent_at_deg, high=180, low=-180), abs=0.1)


@pytest.mark.parametrize("points", [arc(3.0, 180, 60), along((4, 1), (8, 5), (11, 5.2), (13, 9))])
def test_a_mirrored_wall_reads_the_same(points):
    root, mirrored = read(points), read(points * [-1, 1])
    assert mirrored.descent_deg == pytest.approx(root.descent_deg)
    assert mirrored.tortuosity == pytest.approx(root.tortuosity)
    assert mirrored.sideways_in == pytest.approx(root.sideways_in)
    assert mirrored.turning_deg_per_in == pytest.approx(root.turning_deg_per_in)


def test_a_root_read_from_its_tip_rises_as_much_as_it_fell():
    points = along((4, 1), (8, 5), (11, 5.2), (13, 9))
    assert read(points[::-1]).descent_deg == pytest.approx(-read(points).descent_deg, abs=0.05)


def test_a_root_that_swings_past_plumb_turns_through_it():
    assert read(along((10, 2), (8, 6), (10, 10))).turning_deg_per_in > 5


DOWN_THEN_LEVEL = along((4, 1), (8, 5), (12, 5), (16, 9))


def test_a_sideways_run_has_its_depth_ends_and_length():
    (run,) = read(DOWN_THEN_LEVEL).runs
    # tangents over 1 in call a point near the 45 degree corners level from 0.2 to 0.35 in into the run
    assert run.length_in == pytest.approx(4.0 - 2 * 0.28, abs=0.12)
    assert run.depth_in == pytest.approx(5.0, abs=0.02)
    assert (run.x_from_in, run.x_to_in) == pytest.approx((8.28, 11.72), abs=0.08)


@pytest.mark.parametrize("level_in", [1.5, 2.4])
def test_only_a_run_long_enough_counts(level_in):
    root = read(along((4, 1), (8, 5), (8 + level_in, 5), (12 + level_in, 9)))
    assert len(root.runs) == (level_in > 2.2)


def test_a_run_just_under_the_surface_does_not_count():
    assert read(along((4, 0.8), (9, 0.8))).runs == ()
    assert read(along((4, 1.3), (9, 1.3))).runs != ()


def test_depth_of_a_run_is_taken_under_the_surface_above_it():
    hill = np.array([[-100.0, 0.5], [100.0, 0.5]])
    assert measure_root(centreline(trace(along((4, 1.3), (9, 1.3))), SETTINGS), hill, SETTINGS).runs == ()


def test_a_root_turns_where_it_goes_level():
    (turn,) = read(DOWN_THEN_LEVEL).turns
    assert (turn.x_in, turn.depth_in) == pytest.approx((8.0, 5.0), abs=0.12)
    assert turn.settled_depth_in == pytest.approx(5.0, abs=0.05)


def test_runs_and_turns_do_not_depend_on_which_end_was_taken_for_the_base():
    forth, back = read(DOWN_THEN_LEVEL), read(DOWN_THEN_LEVEL[::-1])
    assert [(t.x_in, t.depth_in) for t in back.turns] == [
        pytest.approx((t.x_in, t.depth_in), abs=0.06) for t in forth.turns
    ]
    assert back.sideways_in == pytest.approx(forth.sideways_in, abs=0.06)


def test_a_root_that_only_eases_a_little_does_not_turn():
    gentle = along((4, 1), (10, 3.4), (14, 4.2))  # 22 degrees, then 11
    assert read(gentle).turns == ()


LONG = along((10, 1), (10, 13))


def tapering(base_in=0.14, tip_in=0.06):
    return np.linspace(base_in, tip_in, len(LONG))


def between(from_z, to_z):
    return (LONG[:, 1] > from_z) & (LONG[:, 1] < to_z)


@pytest.mark.parametrize(
    ("ratio", "length_in", "flat"), [(1.7, 2.0, True), (1.35, 2.0, False), (1.7, 0.3, False)]
)
def test_a_flattened_stretch_stands_out_from_the_taper(ratio, length_in, flat):
    width = tapering() * np.where(between(5, 5 + length_in), ratio, 1.0)
    root = read(LONG, width_in=width)
    assert root.flattened_share == pytest.approx(length_in / 12 if flat else 0.0, abs=0.012)


def test_a_taper_alone_is_not_flattening():
    assert read(LONG, width_in=tapering(0.20, 0.04)).flattened_share == 0.0


def test_a_root_flattened_over_half_its_way_still_shows_it():
    width = tapering(0.10, 0.09) * np.where(between(7, 13), 1.8, 1.0)
    assert read(LONG, width_in=width).flattened_share == pytest.approx(6 / 12, abs=0.02)


def test_a_root_read_too_slim_in_places_is_not_flattened_in_the_rest():
    width = tapering(0.10, 0.09) * np.where(between(1, 4), 0.5, 1.0)
    assert read(LONG, width_in=width).flattened_share == 0.0


def test_widths_that_wander_over_all_the_wall_do_not_look_flattened():
    """Where a clod or a shadow hides one edge, half an inch after half an inch is read too slim."""
    rng = np.random.default_rng(6)
    wander = np.cumsum(rng.normal(scale=0.05, size=(20, len(LONG))), axis=1)
    widths = [tapering() * np.exp(w - w.mean()) for w in wander]
    unseen = [np.zeros(len(LONG), dtype=bool)] * 20
    noise = width_noise(widths, unseen, SETTINGS)
    assert noise.memory > 0.5
    shares = [flattened_points(width, unseen[0], noise, SETTINGS).mean() for width in widths]
    naive = [flattened_points(width, unseen[0], NO_NOISE, SETTINGS).mean() for width in widths]
    assert np.mean(shares) < 0.02 < np.mean(naive)


def test_the_upper_end_of_a_trace_is_thick_by_nature_or_by_a_join():
    width = tapering(0.10, 0.09) * np.where(between(1, 4), 1.8, 1.0)
    assert read(LONG, width_in=width).flattened_share == 0.0
    assert read(LONG[::-1], width_in=width[::-1]).flattened_share == 0.0


# the light across a root

PX_PER_IN = 72.0
RIBBON_IN = (5.0, 8.0)


def lit_wall(lit_from=0.0, ribbon=RIBBON_IN, flat_in=0.23):
    """Five plumb roots an inch apart, round but for a ribbon in the middle one; the light is linear inside.

    A cylinder that faces the camera is as bright as the cosine of how far its surface turns away,
    sqrt(1 - u^2) at u half widths from the middle; a ribbon is as bright all over.
    """
    z, x = np.mgrid[0 : int(14 * PX_PER_IN), 0 : int(6 * PX_PER_IN)] / PX_PER_IN
    beside = (x + 0.5) % 1.0 - 0.5
    wide = (z > RIBBON_IN[0]) & (z < RIBBON_IN[1]) & (np.abs(x - 3.0) < 0.5)
    flat = wide & (ribbon is not None)
    u = beside / (np.where(wide, flat_in, 0.14) / 2)
    facing = np.where(flat, 1.0, np.sqrt(np.clip(1 - u**2, 0, 1))) * (1 + lit_from * u)
    light = np.where(np.abs(u) <= 1, 0.5 * facing, 0.06)
    rgb = np.repeat(np.round(255 * light ** (1 / 2.2)).astype(np.uint8)[..., None], 3, axis=2)
    image = WallImage(rgb, np.ones(light.shape, bool), Grid(PX_PER_IN, 0.0, 0.0, light.shape))
    lines = [along((k, 1), (k, 13)) for k in (1, 2, 3, 4, 5)]
    squeezed = (lines[0][:, 1] > RIBBON_IN[0]) & (lines[0][:, 1] < RIBBON_IN[1])
    widths = [np.where(squeezed & (k == 2), flat_in, 0.14) for k in range(5)]
    return image, [
        trace(one, width_in=w, name=f"r{k}") for k, (one, w) in enumerate(zip(lines, widths, strict=True))
    ]


@pytest.mark.parametrize("lit_from", [0.0, 0.25])
def test_light_falls_off_on_a_cylinder_and_not_on_a_ribbon(lit_from):
    """In the unit of the fit the falloff of a cylinder is 1 by geometry, that of a ribbon 0."""
    image, roots = lit_wall(lit_from)
    root = roots[2]
    falloff = light_falloff(linear_grey(image), image, root)
    z = root.points[:, 1]
    assert np.median(falloff[(z > 1.5) & (z < 4.5)]) == pytest.approx(1.0, abs=0.15)
    assert np.median(falloff[(z > 5.5) & (z < 7.5)]) == pytest.approx(0.0, abs=0.05)


def test_a_ribbon_is_found_by_width_and_light_together():
    image, roots = lit_wall()
    shares = [root.flattened_share for root in measure_wall(roots, plane(), SETTINGS, image).roots]
    assert shares == pytest.approx([0, 0, 3 / 12, 0, 0], abs=0.03)


def test_a_stretch_that_is_wider_but_as_round_is_not_flattened():
    """A thicker root joined on, or two beside one another: wide, but the light falls off as ever."""
    image, roots = lit_wall(ribbon=None)
    assert measure_wall(roots, plane(), SETTINGS).roots[2].flattened_share > 0.2
    assert measure_wall(roots, plane(), SETTINGS, image).roots[2].flattened_share == 0.0


def test_knobbly_widths_do_not_look_flattened():
    rng = np.random.default_rng(2)
    assert read(LONG, width_in=tapering() * (1 + 0.12 * rng.standard_normal(len(LONG)))).flattened_share == 0


def test_bridged_parts_never_count_as_flattened():
    width = tapering() * np.where(between(5, 7), 1.8, 1.0)
    assert read(LONG, width_in=width, inferred=between(4.9, 7.1)).flattened_share == 0.0


def test_a_stub_is_read_without_complaint():
    root = read([(5.0, 2.0), (5.1, 2.1)])
    assert root.length_in == pytest.approx(0.1414, abs=0.001)
    assert root.runs == () and root.turns == ()


def test_a_trace_keeps_its_identity():
    line = centreline(replace(trace(LONG, name="r7", order=1), parent="r2"), SETTINGS)
    root = measure_root(line, LEVEL_SURFACE, SETTINGS)
    assert (root.trace.id, root.trace.order, root.trace.parent) == ("r7", 1, "r2")
    assert (
        len(root.trace.points) == len(root.trace.width_in) == len(root.descent_at_deg) == len(root.flattened)
    )
