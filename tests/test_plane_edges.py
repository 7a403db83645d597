"""Printed lines located in drawn light, where their places are known."""

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter1d

from rootread.plane.edges import PRINT_SE_PX, dips, read_profiles

# Lines fall on all parts of a pixel.
SPACING_PX = 6.13
LINES_AT_PX = 20.3 + SPACING_PX * np.arange(25)


def light_of(lines_px, blur_px: float, grows: float = 0.0):
    """``(200, 60)`` level dark lines 1.2 px thick on a light ground, drawn ten times as fine, blurred."""
    fine_px = (np.arange(2000) + 0.5) / 10.0 - 0.5
    dark = (np.abs(fine_px[:, None] - lines_px).min(axis=1) < 0.6).astype(np.float32)
    blurred = gaussian_filter1d(0.8 - 0.6 * dark, 10.0 * blur_px, mode="nearest")
    rows = blurred.reshape(200, 10).mean(axis=1) + grows * np.arange(200)
    return np.repeat(rows[:, None], 60, axis=1).astype(np.float32)


def found_off_px(light, lines_px, off_px: float):
    """How far from where they are lines are found that are looked for so far below."""
    columns = np.linspace(20.0, 40.0, 5)
    places_px = np.stack(np.broadcast_arrays(columns[None, :], (lines_px + off_px)[:, None]), axis=-1)
    down = np.tile([0.0, 1.0], (len(lines_px), 1))
    reach_px = np.full(len(lines_px), SPACING_PX / 2)
    return dips(read_profiles(light, places_px, down, reach_px))[0] + off_px


@pytest.mark.parametrize("blur_px", [0.6, 1.2, 1.8])
@pytest.mark.parametrize("off_px", [-1.0, 0.0, 1.0])
def test_even_lines_are_found_where_they_are_however_blurred_and_wherever_looked_for(blur_px, off_px):
    off = found_off_px(light_of(LINES_AT_PX, blur_px), LINES_AT_PX[2:-2], off_px)
    assert np.abs(off).max() < PRINT_SE_PX
    assert np.abs(off.mean()) < 0.01


def test_light_that_grows_along_a_tape_moves_none_of_its_blurred_lines():
    off = found_off_px(light_of(LINES_AT_PX, 1.2, grows=1e-3), LINES_AT_PX[2:-2], 0.5)
    assert np.abs(off.mean()) < 0.01


def test_longer_lines_are_found_beyond_the_ends_of_those_beside_them():
    alone_px = LINES_AT_PX[2:-2:4]
    off = found_off_px(light_of(alone_px, 0.8), alone_px, 0.5)
    assert np.abs(off).max() < 0.1
    assert np.abs(off.mean()) < 0.03
