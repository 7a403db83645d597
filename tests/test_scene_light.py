"""Light and pixels of made walls obey plain geometry."""

import numpy as np
import pytest

from rootread.scene.describe import Light
from rootread.scene.noise import band, cells, fractal, wiggle
from rootread.scene.ribbon import cover
from rootread.scene.shade import sun_reach

PX_PER_IN = 40.0
SHADOW_TOLERANCE_PX = 2.5
COVER_TOLERANCE = 0.02


def sun_from_the_left(height_deg: float) -> Light:
    """A sharp sun in the plane of x and y, ``height_deg`` over the face."""
    turn = np.radians(height_deg)
    return Light("sun", (-np.cos(turn), 0.0, np.sin(turn)), (1, 1, 1), (1, 1, 1), 0.0, ())


@pytest.mark.parametrize("height_deg", [30.0, 45.0, 60.0])
def test_a_ledge_casts_a_shadow_as_long_as_its_height_over_the_suns_tangent(height_deg):
    relief = np.zeros((20, 200), np.float32)
    relief[:, 40:60] = 0.5
    lit = sun_reach(relief, sun_from_the_left(height_deg), PX_PER_IN)
    dark = int((lit[10, 60:] < 0.5).sum())
    assert dark == pytest.approx(0.5 * PX_PER_IN / np.tan(np.radians(height_deg)), abs=SHADOW_TOLERANCE_PX)
    assert lit[10, :40].min() > 0.99


def test_flat_relief_has_no_shadow():
    assert sun_reach(np.zeros((30, 30), np.float32), sun_from_the_left(20), PX_PER_IN).min() == 1.0


@pytest.mark.parametrize("heading_deg", [0, 17, 45, 71, 90, 133])
def test_a_strip_covers_length_times_width_whichever_way_it_runs(heading_deg):
    turn = np.radians(heading_deg)
    points = np.array([100.3, 100.7]) + np.outer(np.linspace(-60, 60, 50), [np.cos(turn), np.sin(turn)])
    ribbon = cover(points, np.full(50, 4.0), (200, 200), np.zeros(40000, np.int32))
    assert ribbon is not None
    assert len(np.unique(ribbon.pixel)) == len(ribbon.pixel)
    share = np.clip(ribbon.half - np.abs(ribbon.across) + 0.5, 0, 1)
    assert share.sum() == pytest.approx(120 * 8, rel=COVER_TOLERANCE)


def test_a_strip_outside_the_window_covers_nothing():
    points = np.array([[300.0, 10.0], [400.0, 20.0]])
    assert cover(points, np.full(2, 4.0), (200, 200), np.zeros(40000, np.int32)) is None


def test_noise_has_mean_zero_and_spread_one():
    rng = np.random.default_rng(5)
    fields = [band((300, 300), wave, rng) for wave in (2.0, 5.0, 12.0)] + [fractal((300, 300), 24, 2, rng)]
    for field in [*fields, cells((300, 300), 8, rng)[1], wiggle(20000, rng, 10)]:
        assert abs(field.mean()) < 0.12
        assert 0.7 < field.std() < 1.3


def test_enlarged_noise_shows_no_grid():
    """Slopes of smooth noise are as large between the coarse samples as at them."""
    field = band((512, 512), 64.0, np.random.default_rng(2))
    slope = np.abs(np.diff(field, axis=1)).mean(axis=0)[:504].reshape(-1, 8).mean(axis=0)
    assert slope.max() / slope.min() < 1.1
