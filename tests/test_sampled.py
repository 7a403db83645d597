"""What a picture shows at a list of places, which may be longer than OpenCV takes."""

import cv2
import numpy as np
import pytest
from handmade_roots import trace

from rootread import sampled
from rootread.follow.profile import find_edges
from rootread.measure.light import light_falloff, linear_grey
from rootread.plane import Grid, WallImage
from rootread.sampled import seen_at

OPENCV_ROWS = 32_767
LONG_ROOT_POINTS = 40_000
WIDTH_PX = 6.0
MIDDLE_PX = 15.0


def places(count: int) -> np.ndarray:
    """``(count, 3, 2)`` places in and around a picture of 40 x 30 pixels."""
    return (np.random.default_rng(7).random((count, 3, 2)) * [50, 40] - 5).astype(np.float32)


@pytest.fixture
def picture() -> np.ndarray:
    return np.random.default_rng(8).random((30, 40)).astype(np.float32)


def test_places_are_looked_up_as_opencv_looks_up_a_picture(picture):
    at = places(50)
    plain = cv2.remap(picture, at[..., 0], at[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    assert (seen_at(picture, at) == plain).all()


def test_beyond_the_picture_its_rim_goes_on_or_nothing_is_known(picture):
    beyond = np.array([[[-9.0, 3.0]], [[60.0, 3.0]]], np.float32)
    assert seen_at(picture, beyond)[:, 0].tolist() == [picture[3, 0], picture[3, -1]]
    assert np.isnan(seen_at(picture, beyond, beyond=float("nan"))).all()


def test_a_list_longer_than_opencv_takes_shows_at_each_place_what_a_short_one_does(picture):
    at = places(LONG_ROOT_POINTS)
    with pytest.raises(cv2.error):
        cv2.remap(picture, at, None, cv2.INTER_LINEAR)
    seen = seen_at(picture, at)
    assert (seen[::997] == seen_at(picture, at[::997])).all()


def test_no_places_show_nothing(picture):
    assert seen_at(picture, places(0)).shape == (0, 3)


def level_root(count: int) -> np.ndarray:
    """Points of a level root that runs to and fro over a picture 200 pixels wide."""
    return np.column_stack([100 + 90 * np.sin(np.arange(count) / 100), np.full(count, MIDDLE_PX)])


def lit_root() -> np.ndarray:
    """Brightness of a round root on dark soil, 0 to 1."""
    across = (np.mgrid[0:30, 0:200][0] - MIDDLE_PX) / (WIDTH_PX / 2)
    return np.where(np.abs(across) < 1, 0.9 - 0.3 * across**2, 0.2)


@pytest.mark.parametrize("count", [OPENCV_ROWS, LONG_ROOT_POINTS])
def test_a_root_of_more_points_than_opencv_takes_has_edges_all_along(count):
    grey = (255 * lit_root()).astype(np.float32)
    unknown = np.full_like(grey, np.nan)
    whole = find_edges(grey, unknown, level_root(count), np.full(count, WIDTH_PX))
    start = find_edges(grey, unknown, level_root(1000), np.full(1000, WIDTH_PX))
    assert len(whole.apart_px) == count
    np.testing.assert_array_equal(whole.apart_px[:900], start.apart_px[:900])


def test_light_falls_off_across_a_root_of_more_points_than_opencv_takes():
    rgb = np.repeat((255 * lit_root()).astype(np.uint8)[..., None], 3, axis=2)
    image = WallImage(rgb, np.ones(rgb.shape[:2], bool), Grid(72.0, 0.0, 0.0, rgb.shape[:2]))
    root = trace(image.grid.to_in(level_root(LONG_ROOT_POINTS)), WIDTH_PX / 72.0)
    falloff = light_falloff(linear_grey(image), image, root)
    assert falloff.shape == (LONG_ROOT_POINTS,) and (falloff > 0).all()


def test_the_longest_list_looked_up_at_once_is_one_that_opencv_takes():
    assert sampled.MOST_ROWS < OPENCV_ROWS
