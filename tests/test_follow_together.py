"""What is worked in bands or for many roots together is as for the whole picture and for each root alone."""

import cv2
import numpy as np
import pytest

from rootread.follow.darklines import DarkLines
from rootread.follow.profile import BLUR_PX, edges_of_roots, find_edges, soft_grey
from rootread.follow.strands import Strands
from rootread.geometry import Points
from rootread.plane import WallImage
from rootread.plane.types import Grid

SIZES = [(1, 1), (31, 1), (64, 4), (65, 90), (200, 7)]
"""Rows and columns; bands are of 32 rows and of 64."""


def noise(size: tuple[int, int]) -> WallImage:
    rgb = np.random.default_rng(3).integers(0, 256, (*size, 3), dtype=np.uint8)
    return WallImage(rgb, np.ones(size, dtype=bool), Grid(72.0, 0.0, 0.0, size))


@pytest.mark.parametrize("size", SIZES)
def test_brightness_in_bands_is_blurred_as_the_whole_picture(size: tuple[int, int]) -> None:
    image = noise(size)
    grey = cv2.cvtColor(image.rgb, cv2.COLOR_RGB2GRAY).astype(np.float32)
    assert np.array_equal(soft_grey(image), cv2.GaussianBlur(grey, (0, 0), BLUR_PX))


@pytest.mark.parametrize("size", SIZES)
def test_layers_are_the_photo_and_the_chance_of_one_and_the_same_root(size: tuple[int, int]) -> None:
    image, rng = noise(size), np.random.default_rng(4)
    probability, seam = (rng.random(size).astype(np.float32) for _ in range(2))
    mask = probability > 0.5
    dip = DarkLines(image.rgb, ~image.soil)
    strands = Strands(mask, mask, dip, seam, image.rgb, probability, ~image.soil, image.grid)
    assert np.array_equal(strands.layers[..., :3], image.rgb)
    assert np.array_equal(strands.layers[..., 3], (255 * probability * (1 - seam)).astype(np.uint8))


def winding(rng: np.random.Generator, points: int) -> tuple[Points, np.ndarray]:
    """Centreline and width of a root, pixels."""
    line = np.cumsum(rng.normal(1.0, 0.5, (points, 2)), axis=0) + rng.uniform(0, 100, 2)
    return line, np.full(points, rng.choice([2.0, 5.0, 9.0])) * rng.uniform(0.9, 1.0, points)


def test_edges_of_roots_looked_at_together_are_those_of_each_alone() -> None:
    rng = np.random.default_rng(5)
    grey, probability = (
        cv2.GaussianBlur(rng.random((200, 200)), (0, 0), 2.0).astype(np.float32) for _ in "gp"
    )
    probability[50:80] = np.nan
    roots = [winding(rng, points) for points in (2, 3, 5, 10, 11, 12, 60, 6000, 6000) for _ in range(3)]
    for root, together in zip(roots, edges_of_roots(grey, probability, roots), strict=True):
        alone = find_edges(grey, probability, *root)
        for seen in ("apart_px", "scatter_px", "softness_px", "finder_px", "mask_px"):
            assert np.array_equal(getattr(together, seen), getattr(alone, seen))
    assert edges_of_roots(grey, probability, []) == []
