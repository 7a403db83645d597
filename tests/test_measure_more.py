"""Waves, depth slices, abundance, depth fits, projection and intervals."""

import numpy as np
import pytest
from handmade_roots import along, plane, trace
from scipy.optimize import curve_fit

from rootread.measure import intervals, measure_wall
from rootread.measure.abundance import abundance, quantity_class, size_class
from rootread.measure.density import profile_wall_grid
from rootread.measure.depthfit import d95_of, depth_fit, fit_depths
from rootread.measure.intervals import length_interval, ratio_interval, sideways_interval
from rootread.measure.places import descent_slices
from rootread.measure.projection import true_descent
from rootread.measure.slices import depth_slices
from rootread.measure.waviness import wall_waviness, waviness
from rootread.settings import MeasureSettings

SETTINGS = MeasureSettings()
MM = 1 / 25.4


def read(roots):
    return measure_wall(roots, plane(), SETTINGS)


# waves


@pytest.mark.parametrize(("amplitude_in", "wavelength_in"), [(0.10, 1.5), (0.15, 2.0), (0.05, 1.0)])
def test_a_sine_shaped_root_gives_back_its_wave(amplitude_in, wavelength_in):
    s = np.arange(0, 16, 0.05)
    wave = waviness(np.column_stack([5 + amplitude_in * np.sin(2 * np.pi * s / wavelength_in), 1 + s]), 0.05)
    assert wave.amplitude_in == pytest.approx(amplitude_in, rel=0.12)
    assert wave.wavelength_in == pytest.approx(wavelength_in, rel=0.08)


def test_the_waves_of_a_wall_are_those_of_its_middle_root():
    s = np.arange(0, 14, 0.05)
    waves = [
        trace(np.column_stack([4 * i + a * np.sin(2 * np.pi * s / 1.5), 1 + s]), name=f"r{i}")
        for i, a in enumerate((0.05, 0.10, 0.15))
    ]
    wall = wall_waviness(read(waves).roots)
    assert wall.amplitude_in == pytest.approx(0.10, rel=0.12)
    assert wall.wavelength_in == pytest.approx(1.5, rel=0.08)


def test_a_straight_root_has_no_waves():
    wave = waviness(along((2, 1), (10, 9)), 0.05)
    assert wave.amplitude_in == pytest.approx(0, abs=1e-6)


def test_a_long_even_curve_is_course_and_not_wave():
    turn = np.linspace(np.pi, np.pi / 2, 400)
    wave = waviness(np.column_stack([12 * np.cos(turn), 12 * np.sin(turn)]), 12 * np.pi / 2 / 399)
    assert wave.amplitude_in < 0.02


# between depths


def test_roots_bend_in_the_layer_and_not_above_it():
    roots = [
        trace(along((4 * i, 1), (4 * i, 6), (4 * i + 3, 6), (4 * i + 3, 12)), name=f"r{i}") for i in range(4)
    ]
    above, within, below = depth_slices(read(roots).roots, [0, 5, 7, 13])
    assert above.root_length_in == pytest.approx(4 * 4, rel=0.02)
    assert within.root_length_in == pytest.approx(4 * (1 + 3 + 1), rel=0.02)
    assert above.turning_deg_per_in == pytest.approx(0, abs=0.1)
    assert within.turning_deg_per_in == pytest.approx(180 / 5, rel=0.05)
    assert above.descent_deg == pytest.approx(below.descent_deg) == pytest.approx(90)
    assert within.descent_deg < 50


def test_an_empty_slice_says_nothing():
    (deep,) = depth_slices(read([trace(along((0, 1), (0, 6)))]).roots, [10, 20])
    assert deep.root_length_in == 0 and np.isnan(deep.descent_deg)


def test_roots_wave_below_the_layer_and_not_above_it():
    z = np.arange(1.0, 25.0, 0.05)
    x = np.where(z > 13.0, 0.12 * np.sin(2 * np.pi * (z - 13.0) / 1.5), 0.0)
    roots = [trace(np.column_stack([4 * i + x, z]), name=f"r{i}") for i in range(3)]
    above, _, below = depth_slices(read(roots).roots, [0, 12, 14, 25])
    assert above.waves.amplitude_in < 0.02
    assert below.waves.amplitude_in == pytest.approx(0.12, rel=0.15)
    assert below.waves.wavelength_in == pytest.approx(1.5, rel=0.1)


def test_descent_by_depth_and_by_position_follow_the_roots():
    """Steep to 6 in and shallow below on the left; steep all the way on the right."""
    left = [trace(along((x, 1), (x, 6), (x + 5, 8)), name=f"l{x}") for x in (0.0, 1.0, 2.0)]
    right = [trace(along((x, 1), (x, 12)), name=f"r{x}") for x in (20.0, 21.0, 22.0)]
    wall = read(left + right)
    by_depth = {part.from_in: part.descent for part in descent_slices(wall, "depth")}
    assert by_depth[2.0].value == pytest.approx(90)
    assert by_depth[6.0].value == pytest.approx(
        (3 * 2 * 90 + 3 * np.hypot(5, 2) * np.degrees(np.arctan2(2, 5))) / (3 * 2 + 3 * np.hypot(5, 2)), abs=4
    )
    assert by_depth[8.0].value == pytest.approx(90)
    assert by_depth[6.0].low < by_depth[6.0].value < by_depth[6.0].high
    by_x = {part.from_in: part.descent.value for part in descent_slices(wall, "x")}
    assert by_x[20.0] == pytest.approx(90) and by_x[4.0] < 40


def test_one_long_root_alone_says_nothing_of_the_descent_at_its_place():
    alone = [trace(along((40, 1), (40, 12)), name="alone"), trace(along((40.5, 1), (40.5, 1.4)), name="bit")]
    beside = [trace(along((x, 1), (x, 12)), name=f"r{x}") for x in (20.0, 21.0, 22.0)]
    assert [part.from_in for part in descent_slices(read(alone + beside), "x")] == [20.0]


def test_the_profile_wall_grid_counts_units_of_5_mm_in_cells_of_25_square_cm():
    """Bohm 1979 (from memory): 10 cm of root in two cells is 20 units."""
    cm = 1 / 2.54
    counts, _, z_edges = profile_wall_grid([along((1 * cm, 0.0), (1 * cm, 10 * cm))])
    assert counts.sum() == pytest.approx(20)
    assert counts.max() == pytest.approx(10, abs=0.3)
    assert z_edges[1] - z_edges[0] == pytest.approx(5 * cm)


# abundance: USDA-NRCS Field Book for Describing and Sampling Soils v 3.0, 2012 (from memory)


@pytest.mark.parametrize(
    ("width_mm", "size"),
    [
        (0.9, "very fine"),
        (1.0, "fine"),
        (1.9, "fine"),
        (2.0, "medium"),
        (5.0, "coarse"),
        (10.0, "very coarse"),
    ],
)
def test_size_classes_of_the_field_book(width_mm, size):
    assert size_class(width_mm * MM) == size


@pytest.mark.parametrize(
    ("number", "quantity"), [(0.9, "few"), (1.0, "common"), (4.9, "common"), (5.0, "many")]
)
def test_quantity_classes_of_the_field_book(number, quantity):
    assert quantity_class(number) == quantity


def test_roots_are_counted_by_six_inch_step_and_size():
    roots = [trace(along((2 * i, 1), (2 * i, 11)), width_in=3 * MM, name=f"m{i}") for i in range(10)]
    roots.append(trace(along((30, 7), (30, 9)), width_in=1.5 * MM, name="fine"))
    found = {(entry.size, entry.from_in): entry for entry in abundance(read(roots).roots, 40.0)}
    upper, lower, fine = found["medium", 0], found["medium", 6], found["fine", 6]
    assert (upper.from_in, upper.to_in, upper.roots) == (0, 6, 10)
    assert (lower.from_in, lower.to_in, lower.roots) == (6, 12, 10)
    # 40 by 6 in is 15.5 dm2
    assert upper.per_unit_area == pytest.approx(10 / (40 * 6 * 2.54**2 / 100))
    assert upper.quantity == "few"
    assert (fine.from_in, fine.roots, fine.quantity) == (6, 1, "few")


def test_roots_are_counted_by_horizon_where_the_sheet_gives_them():
    roots = [trace(along((2 * i, 1), (2 * i, 14)), width_in=3 * MM, name=f"m{i}") for i in range(10)]
    found = abundance(read(roots).roots, 40.0, edges_in=(9.0,))
    assert [(entry.from_in, round(entry.to_in)) for entry in found] == [(0, 9), (9, 14)]
    assert found[0].per_unit_area == pytest.approx(10 / (40 * 9 * 2.54**2 / 100))


# depth fits


def test_beta_of_a_profile_made_with_it_comes_back():
    """Gale and Grigal 1987; crops beta = 0.961, Jackson et al. 1996 (both from memory)."""
    depth_in = np.arange(0.5, 60, 0.5)
    (beta,), _, _ = fit_depths(depth_in, 1 - 0.961 ** (depth_in[None] * 2.54))
    assert beta == pytest.approx(0.961, abs=1e-4)


def test_half_and_95_percent_depths_of_a_logistic_profile_come_back():
    """Schenk and Jackson 2002 (from memory): at D95 the curve stands at 0.95."""
    depth_in = np.arange(0.5, 60, 0.5)
    d50, c = 6.0, -2.2
    _, (found_d50,), (found_c,) = fit_depths(depth_in, 1 / (1 + (depth_in[None] / d50) ** c))
    assert (found_d50, found_c) == pytest.approx((d50, c), rel=1e-3)
    assert 1 / (1 + (d95_of(d50, c) / d50) ** c) == pytest.approx(0.95)


def test_many_curves_fitted_at_once_are_what_scipy_fits_one_by_one():
    rng = np.random.default_rng(4)
    depth_in = np.arange(0.5, 30, 0.5)
    roots = [rng.gamma(rng.uniform(0.8, 4), rng.uniform(2, 8), 60) for _ in range(12)]
    shares = np.array([[(depths <= below).mean() for below in depth_in] for depths in roots])
    beta, d50_in, c = fit_depths(depth_in, shares)
    for k, share in enumerate(shares):
        (scipy_beta,), _ = curve_fit(
            lambda d, b: 1 - b ** (2.54 * d), depth_in, share, p0=0.96, bounds=(0.5, 1)
        )
        scipy_logistic, _ = curve_fit(
            lambda d, d50, c: 1 / (1 + (d / d50) ** c),
            depth_in,
            share,
            p0=(8, -2),
            bounds=([0.1, -20], [99, 0]),
        )
        assert beta[k] == pytest.approx(scipy_beta, abs=1e-5)
        assert (d50_in[k], c[k]) == pytest.approx(scipy_logistic, rel=1e-3)


def test_the_depth_fit_of_a_wall_holds_its_own_half_depth():
    rng = np.random.default_rng(3)
    roots = [trace(along((x, 0.5), (x, b)), name=f"r{x}") for x, b in enumerate(2 + rng.gamma(3, 2.5, 40))]
    wall = read(roots)
    depths = np.sort(np.concatenate([root.trace.points[:, 1] for root in wall.roots]))
    fit = depth_fit(wall.roots, np.random.default_rng(1))
    assert fit.d50_in.value == pytest.approx(np.median(depths), abs=0.4)
    assert fit.d50_in.low < np.median(depths) < fit.d50_in.high
    assert fit.d95_in.value > fit.d50_in.value


def test_two_roots_are_not_fitted():
    assert depth_fit(read([trace(along((0, 1), (0, 8)))]).roots, np.random.default_rng(0)) is None


# roots that leave the wall plane


@pytest.mark.parametrize(
    ("descent_deg", "leaving_deg"), [(30, 0), (30, 30), (35, 45), (10, 60), (-20, 30), (80, 20)]
)
def test_a_root_leaving_the_plane_looks_as_steep_as_its_shadow_on_it(descent_deg, leaving_deg):
    d, p = np.radians([descent_deg, leaving_deg])
    along_wall, out_of_wall, down = np.cos(d) * np.cos(p), np.cos(d) * np.sin(p), np.sin(d)
    assert np.linalg.norm([along_wall, out_of_wall, down]) == pytest.approx(1)
    shadow_deg = np.degrees(np.arctan2(down, along_wall))
    assert true_descent(shadow_deg, leaving_deg) == pytest.approx(descent_deg)
    assert abs(shadow_deg) >= abs(descent_deg) - 1e-9


# how sure the figures of a wall are


def wall_sample(rng, count=60):
    """Sums of descents and their number for the roots of a wall."""
    lengths = rng.integers(40, 400, count).astype(float)
    return lengths * (35 + rng.normal(scale=15, size=count)), lengths


@pytest.mark.parametrize("missed", [0.15, 0.30])
def test_the_interval_holds_the_mean_of_the_wall_when_some_roots_are_missed(missed, monkeypatch):
    monkeypatch.setattr(intervals, "UNSEEN_SHARE", missed)
    rng = np.random.default_rng(8)
    holds, widths = [], []
    for _ in range(400):
        sums, lengths = wall_sample(rng)
        seen = rng.random(60) > missed
        interval = ratio_interval(sums[seen], lengths[seen], np.ones(int(seen.sum())))
        holds.append(interval.low <= sums.sum() / lengths.sum() <= interval.high)
        widths.append(interval.high - interval.low)
    assert 0.90 <= np.mean(holds) <= 0.98
    assert np.mean(widths) < 6  # degrees; roots drawn from a field, not a wall, would give 8 and more


def test_the_interval_holds_the_mean_of_the_roots_among_doubtful_traces():
    rng = np.random.default_rng(9)
    holds = []
    for _ in range(400):
        sums, lengths = wall_sample(rng)
        sure = rng.choice([0.6, 0.95], 60)
        real = rng.random(60) < sure
        interval = ratio_interval(sums, lengths, sure)
        holds.append(interval.low <= sums[real].sum() / lengths[real].sum() <= interval.high)
    assert np.mean(holds) >= 0.93


def test_certain_traces_and_a_sure_scale_leave_only_what_a_reading_misses():
    runs = sideways_interval(np.full(10, 10.0), np.ones(10), 0.0, shift=1.1, spread=1.0)
    beyond = 1.96 * np.sqrt(100.0 + 3.0)
    assert (runs.value, runs.low, runs.high) == pytest.approx((100, 110 - beyond, 110 + beyond))
    assert sideways_interval(np.full(10, 10.0), np.ones(10), 0.10).high == pytest.approx(119.6)


def test_a_length_is_as_likely_too_small_by_some_factor_as_too_large_by_it():
    total = length_interval(np.full(10, 10.0), np.ones(10), 0.0, shift=1.5, factor_se=0.3)
    assert total.value == 100 and total.low * total.high == pytest.approx(150**2)
    assert total.high / 150 == pytest.approx(np.exp(1.96 * 0.3))


def test_the_interval_of_a_length_holds_what_was_read_and_no_roots_have_no_length():
    assert length_interval(np.full(10, 10.0), np.ones(10), 0.0, shift=1.5, factor_se=0.1).low == 100
    none = length_interval(np.zeros(0), np.zeros(0), 0.01, shift=1.5, factor_se=0.1)
    assert (none.value, none.low, none.high) == (0, 0, 0)


def test_every_figure_of_a_wall_lies_in_its_interval():
    wall = read(
        [
            trace(along((4 * i, 1), (4 * i + 3, 6), (4 * i + 6, 6.2)), name=f"r{i}", confidence=0.8)
            for i in range(8)
        ]
    )
    for name in (
        "root_length_in",
        "shallow_share",
        "in_pattern_share",
        "steep_share",
        "tortuosity",
        "flattened_share",
    ):
        interval = getattr(wall.intervals, name)
        assert interval.low <= interval.value <= interval.high
        assert getattr(wall, name) == interval.value
