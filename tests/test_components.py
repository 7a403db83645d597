"""Connected pieces of a mask, beside scikit-image's own count of them."""

import numpy as np
import pytest
from skimage.measure import label, regionprops
from skimage.morphology import remove_small_holes

from rootread.components import components
from rootread.follow.strands import _pinholes


def blobs(share: float, seed: int = 3) -> np.ndarray:
    from scipy.ndimage import gaussian_filter

    noise = gaussian_filter(np.random.default_rng(seed).normal(size=(120, 170)), 1.5)
    return noise > np.quantile(noise, 1 - share)


def test_two_pixels_that_touch_at_a_corner_are_one_piece_or_two() -> None:
    mask = np.eye(2, dtype=bool)
    assert components(mask).count == 1
    assert components(mask, connectivity=4).count == 2


def test_an_empty_mask_has_no_piece() -> None:
    pieces = components(np.zeros((4, 5), bool))
    assert pieces.count == 0 and len(pieces.reach_px) == 0
    assert not pieces.mask(np.zeros(0, bool)).any()


@pytest.mark.parametrize("share", [0.1, 0.4])
def test_pieces_are_those_of_scikit_image(share: float) -> None:
    mask = blobs(share)
    pieces = components(mask)
    reference = regionprops(label(mask, connectivity=2))
    boxes = sorted((p.bbox[0], p.bbox[2] - 1, int(p.area)) for p in reference)
    assert sorted(zip(*pieces.rows, pieces.px, strict=True)) == boxes
    reaches = [np.hypot(p.bbox[2] - p.bbox[0], p.bbox[3] - p.bbox[1]) for p in reference]
    np.testing.assert_allclose(np.sort(pieces.reach_px), np.sort(reaches))
    np.testing.assert_array_equal(pieces.mask(np.ones(pieces.count, bool)), mask)


def test_pixels_of_a_piece_that_lie_in_another_mask_are_counted_by_piece() -> None:
    mask = np.zeros((5, 9), bool)
    mask[1, :4] = mask[3, 5:] = True
    left = np.zeros_like(mask)
    left[:, :3] = True
    assert components(mask).px_in(left).tolist() == [3, 0]


@pytest.mark.parametrize("side_px", [2.2, 3.6, 5.3])
def test_pinholes_are_the_small_holes_of_scikit_image(side_px: float) -> None:
    """Also at the picture's edge, where a hole is open to nothing."""
    mask = blobs(0.6)
    mask[0, 5:7], mask[:3, 0] = False, False
    filled = remove_small_holes(mask, max_size=int(side_px**2), connectivity=1)
    np.testing.assert_array_equal(mask | _pinholes(mask, side_px), filled)
