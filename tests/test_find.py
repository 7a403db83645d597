"""Which pixels are root, by the ridge finder: drawn walls, bare textures, a real photograph of vessels."""

import cv2
import numpy as np
import pytest
import skimage.data
from found_roots import NEAR_IN, recall_and_precision
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt
from skimage.filters import sato
from skimage.morphology import skeletonize

from rootread.find import find_roots
from rootread.find.ridges import ridge_roots
from rootread.find.sense import is_lattice
from rootread.plane.types import Grid, WallImage
from rootread.settings import FindSettings

PX_PER_IN = 72.0
RIDGES = FindSettings(finder="ridges")


def wall(rgb: NDArray[np.uint8], soil: NDArray[np.bool_] | None = None) -> WallImage:
    soil = np.ones(rgb.shape[:2], dtype=bool) if soil is None else soil
    return WallImage(np.ascontiguousarray(rgb), soil, Grid(PX_PER_IN, 0.0, 0.0, rgb.shape[:2]))


def soil_picture(shape: tuple[int, int] = (500, 700), seed: int = 3) -> NDArray[np.float64]:
    """Brown soil with crumbs of two sizes, grey levels as float."""
    rng = np.random.default_rng(seed)
    crumbs = cv2.GaussianBlur(rng.normal(0, 1, shape), (0, 0), 3.0) * 40
    clods = cv2.GaussianBlur(rng.normal(0, 1, shape), (0, 0), 12.0) * 100
    return 85 + crumbs + clods + rng.normal(0, 3, shape)


def lit_root(grey: NDArray[np.float64], points_px: list[list[float]], width_px: float) -> NDArray[np.bool_]:
    """Draw a pale cylinder, brightest along its middle; returns its pixels."""
    line = np.ones(grey.shape, dtype=np.uint8)
    cv2.polylines(line, [np.round(points_px).astype(np.int32)], False, 0)
    off_px = distance_transform_edt(line)
    # A matt cylinder lit from in front: brightness follows the cosine of its surface's slope.
    inside = off_px < width_px / 2
    cosine = np.sqrt(np.clip(1 - (2 * off_px / width_px) ** 2, 0, 1))
    grey[inside] = 95 + 85 * cosine[inside]
    return inside


def as_rgb(grey: NDArray[np.float64]) -> NDArray[np.uint8]:
    return np.clip(np.dstack([grey * 1.1, grey, grey * 0.85]), 0, 255).astype(np.uint8)


@pytest.mark.parametrize("width_in", [0.06, 0.12, 0.3])
def test_a_lit_root_on_crumbly_soil_is_found_and_little_else(width_in: float) -> None:
    grey = soil_picture()
    root = lit_root(grey, [[60, 40], [250, 160], [400, 300], [640, 440]], width_in * PX_PER_IN)
    recall, precision = recall_and_precision(find_roots(wall(as_rgb(grey)), RIDGES).mask, root, PX_PER_IN)
    assert recall > 0.95
    assert precision > 0.9


def test_the_mask_is_as_wide_as_the_root() -> None:
    grey = soil_picture()
    root = lit_root(grey, [[60, 100], [640, 400]], 12.0)
    mask = find_roots(wall(as_rgb(grey)), RIDGES).mask
    assert (mask & root).sum() / root.sum() > 0.7
    assert mask.sum() / root.sum() == pytest.approx(1.0, abs=0.25)


def test_bare_soil_shows_no_roots() -> None:
    assert not find_roots(wall(as_rgb(soil_picture(seed=11))), RIDGES).mask.any()


def test_a_shadow_edge_is_not_a_root() -> None:
    grey = soil_picture()
    grey[:, 300:] *= 0.4
    shaded = find_roots(wall(as_rgb(grey)), RIDGES).mask
    assert skeletonize(shaded).sum() / PX_PER_IN < 0.5


def test_a_root_is_found_on_both_sides_of_a_shadow_edge() -> None:
    grey = soil_picture()
    root = lit_root(grey, [[60, 100], [640, 400]], 10.0)
    grey[:, 350:] *= 0.4
    recall, _ = recall_and_precision(find_roots(wall(as_rgb(grey)), RIDGES).mask, root, PX_PER_IN)
    assert recall > 0.9


def test_a_crack_is_not_a_pale_root() -> None:
    grey = soil_picture()
    cv2.polylines(grey, [np.array([[300, 50], [320, 200], [290, 450]], np.int32)], False, 8.0, 7)
    mask = find_roots(wall(as_rgb(grey)), RIDGES).mask
    assert skeletonize(mask).sum() / PX_PER_IN < 0.5


def test_no_roots_are_sought_off_the_soil() -> None:
    grey = soil_picture()
    lit_root(grey, [[60, 100], [640, 400]], 10.0)
    soil = np.ones(grey.shape, dtype=bool)
    soil[:, :350] = False
    mask = find_roots(wall(as_rgb(grey), soil), RIDGES).mask
    assert not mask[:, :350].any() and mask[:, 350:].any()


def test_a_mirrored_wall_has_the_mirrored_roots() -> None:
    grey = soil_picture()
    lit_root(grey, [[60, 40], [250, 160], [640, 440]], 8.0)
    rgb = as_rgb(grey)
    plain = find_roots(wall(rgb), RIDGES).mask
    mirrored = find_roots(wall(rgb[:, ::-1]), RIDGES).mask[:, ::-1]
    recall, precision = recall_and_precision(mirrored, plain, PX_PER_IN)
    assert min(recall, precision) > 0.97


@pytest.mark.parametrize("texture", ["gravel", "grass", "brick"])
def test_no_roots_in_bare_ground_textures(texture: str) -> None:
    """Source: the photographs that scikit-image carries; there are no roots in them."""
    grey = getattr(skimage.data, texture)()
    mask = find_roots(wall(np.dstack([grey] * 3)), RIDGES).mask
    square_feet = grey.size / PX_PER_IN**2 / 144
    assert skeletonize(mask).sum() / PX_PER_IN / square_feet <= 0.5


def test_masonry_is_a_lattice_and_a_fan_of_roots_is_not() -> None:
    masonry = np.zeros((400, 400), dtype=np.uint8)
    masonry[::40, :] = masonry[:, ::60] = 1
    fan = np.zeros((400, 400), dtype=np.uint8)
    for degrees in (-60, -35, -30, 30, 35, 60, 80):
        end = (
            200 + 380 * np.cos(np.radians(degrees)) * np.sign(degrees),
            380 * abs(np.sin(np.radians(degrees))),
        )
        cv2.line(fan, (200, 5), (int(end[0]), int(end[1])), 1, 5)
    widened = cv2.dilate(masonry, np.ones((5, 5), np.uint8)) > 0
    assert is_lattice(widened)
    assert not is_lattice(fan > 0)


def test_vessels_of_a_real_photograph_agree_with_scikit_image() -> None:
    """Source: ``skimage.data.retina()``, against scikit-image's own ``sato`` with ``skeletonize``.

    Dark curving vessels on a paler ground, no truth in the package: of what our
    finder follows, most must lie on the stronger ridges that scikit-image sees.
    """
    rgb = skimage.data.retina()[300:1100, 300:1100]
    inside = np.ones(rgb.shape[:2], dtype=bool)
    ours = skeletonize(ridge_roots(wall(rgb, inside), FindSettings(polarity="dark")).mask)
    ridges = sato(rgb[..., 1].astype(float), sigmas=[1, 2, 3, 5], black_ridges=True)
    theirs = skeletonize(ridges > np.quantile(ridges, 0.90))
    assert ours.sum() / PX_PER_IN > 20
    assert (distance_transform_edt(~theirs)[ours] < NEAR_IN * PX_PER_IN).mean() > 0.9
