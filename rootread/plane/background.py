"""What in a look at a wall is background and what is soil, pixel by pixel.

A look is coarse: a dozen pixels an inch, with lightness, colour and how rough
each is. Evidence is the logarithm of how much likelier a pixel is in the
background than in soil.
"""

import cv2
import numpy as np
from numpy.typing import NDArray

from rootread.photo import to_lab
from rootread.plane.flat import MAP_STEP_PX, between_knots, photo_knots, within_photo
from rootread.plane.sightings import Floats
from rootread.plane.types import Grid, Lens
from rootread.threads import share_out

# Roughness is seen on pixels this many times finer than those of a look.
TEXTURE_SHRINK = 3
# Rows of a look taken at once, and beside them as far as the blurs reach: whole steps of the map from grid to
# photo, and the first whole pixels of the look.
BAND_ROWS, MARGIN_ROWS = 18 * MAP_STEP_PX, 2 * MAP_STEP_PX
# Kinds of colour and texture told apart, and pixels they are learned from.
CLUSTERS = 32
SAMPLES = 4000
# What a pixel says for background against soil is capped, so that no patch outweighs the rest.
MAX_EVIDENCE = 2.0
# Background holds things not seen above the line too, straw and stems: so much of it is of any kind.
OTHER_SHARE = 0.3
# Differences of L*, a*, b* and texture that tell about as much as each other.
FEATURE_UNITS = (8.0, 4.0, 4.0, 0.35)
# Leaves have a* and sky b* below these, whatever the wall's own; full evidence this much further.
GREEN_BELOW = -3.0
GREEN_RANGE = 5.0
BLUE_BELOW = -2.0
BLUE_RANGE = 6.0
BRIGHT_RANGE = 12.0
SMOOTH_RANGE = 0.7
# Sky is smoother than this percentage of the wall.
SKY_SMOOTHER = 25.0
# Evidence of a pixel wholly unlike the wall, and of one like it, in natural logarithms.
UNLIKE_EVIDENCE = 2.5
LIKE_EVIDENCE = 0.8


def look_at(
    rgb: NDArray[np.uint8], to_photo: NDArray[np.float64], lens: Lens | None, grid: Grid
) -> tuple[NDArray[np.float32], NDArray[np.bool_]]:
    """A quick look at the wall: the photo shrunk by a whole number, then read on a fine grid.

    In bands of rows, since a wide wall would be gigabytes; they meet without a seam.

    Returns
    -------
    ``(M, N, 4)`` CIE L*, a*, b* and the logarithm of roughness over lightness, and which pixels are seen;
    ``TEXTURE_SHRINK`` times coarser than the grid.
    """
    knots = photo_knots(to_photo, lens, grid)
    small, step = _shrunk_to(rgb, knots, grid)
    rows, columns = grid.shape
    shape = (rows // TEXTURE_SHRINK, columns // TEXTURE_SHRINK)
    features, seen = np.empty((*shape, 4), np.float32), np.empty(shape, bool)

    def look(top: int) -> None:
        first = max(top - MARGIN_ROWS, 0)
        bottom = min(top + BAND_ROWS, rows)
        past = min(bottom + MARGIN_ROWS, rows)
        at = between_knots(knots[first // MAP_STEP_PX :], (past - first, columns))
        inside = within_photo(at, rgb)
        at = (at + np.float32(0.5)) / np.float32(step) - np.float32(0.5)
        flat = cv2.remap(small, at, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        band = np.s_[top // TEXTURE_SHRINK : bottom // TEXTURE_SHRINK]
        own = np.s_[top - first : bottom - first]
        features[band] = _features(flat, own)
        seen[band] = _coarse(inside[own].astype(np.float32)) > 0.99

    share_out(look, range(0, rows, BAND_ROWS))
    return features, seen


def _shrunk_to(
    rgb: NDArray[np.uint8], knots: NDArray[np.float32], grid: Grid
) -> tuple[NDArray[np.uint8], int]:
    """The photo shrunk by a whole number to about the pixels of a grid, and that number."""
    (row, start), column = divmod(grid.shape[0] // 2, MAP_STEP_PX), grid.shape[1] // 2
    here, right = between_knots(knots[row:], (start + 1, grid.shape[1]))[start, column : column + 2]
    step = max(int(np.hypot(*(right - here))), 1)
    height, width = rgb.shape[0] // step, rgb.shape[1] // step
    small = cv2.resize(rgb[: height * step, : width * step], (width, height), interpolation=cv2.INTER_AREA)
    return small, step


def _features(flat: NDArray[np.uint8], own: slice) -> NDArray[np.float32]:
    """Lightness, colour and roughness of a band's own rows; those beside them are there for the blurs."""
    lab = to_lab(flat)
    light = lab[..., 0]
    rough = np.abs(light - cv2.GaussianBlur(light, (0, 0), 1.5))
    texture = _coarse(cv2.GaussianBlur(rough, (0, 0), 4.0)[own])
    small = _coarse(lab[own])
    return np.dstack([small, np.log((texture + 0.1) / (small[..., 0] + 10.0))])


def _coarse(picture: NDArray[np.float32]) -> NDArray[np.float32]:
    size = (picture.shape[1] // TEXTURE_SHRINK, picture.shape[0] // TEXTURE_SHRINK)
    return cv2.resize(picture, size, interpolation=cv2.INTER_AREA)


def unlike_wall(features: NDArray[np.float32], valid: NDArray[np.bool_]) -> Floats:
    """What each pixel says for background by being unlike the wall's lower part, in the ways soil is not."""
    rows = valid.shape[0]
    lower = valid.copy()
    lower[: int(0.45 * rows)] = False
    lower[int(0.9 * rows) :] = False
    wall = features[lower]
    low, high = np.percentile(wall, 2, axis=0), np.percentile(wall, 98, axis=0)
    light, green, blue, texture = np.moveaxis(features.astype(float), -1, 0)
    leaves = (min(low[1], GREEN_BELOW) - green) / GREEN_RANGE
    unsharp = (low[3] - texture) / SMOOTH_RANGE
    # A horizon may be paler or bluer than the one below it, but only the sky is so and smooth.
    smooth = (np.percentile(wall[:, 3], SKY_SMOOTHER) - texture) / SMOOTH_RANGE
    sky = np.maximum((min(low[2], BLUE_BELOW) - blue) / BLUE_RANGE, (light - high[0]) / BRIGHT_RANGE)
    sky = np.minimum(sky, 2.0 * smooth)
    soil = np.prod([1.0 - np.clip(clue, 0.0, 1.0) for clue in (leaves, unsharp, sky)], axis=0)
    return (UNLIKE_EVIDENCE * (1.0 - soil) - LIKE_EVIDENCE) * valid


def kinds(features: NDArray[np.float32], valid: NDArray[np.bool_]) -> NDArray[np.int64]:
    """Each pixel's kind, of ``CLUSTERS`` kinds by colour and texture."""
    scaled = features / np.array(FEATURE_UNITS, dtype=np.float32)
    pixels = scaled[valid]
    sample = pixels[:: max(len(pixels) // SAMPLES, 1)]
    criteria = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 10, 0.1)
    # Started from the lightest to the darkest, so that the same photo always gives the same kinds.
    rank = np.argsort(np.argsort(sample[:, 0], kind="stable"), kind="stable")
    start = (rank * CLUSTERS // len(sample)).astype(np.int32)
    _, _, centres = cv2.kmeans(sample, CLUSTERS, start, criteria, 1, cv2.KMEANS_USE_INITIAL_LABELS)
    toward, size = (-2.0 * centres).T, np.sum(centres**2, axis=1)
    # Row by row: the distances to all centres are as much memory as eight pictures.
    return np.stack([(row @ toward + size).argmin(axis=1) for row in scaled])


def learned_evidence(labels: NDArray[np.int64], above: NDArray[np.bool_], below: NDArray[np.bool_]) -> Floats:
    """log P(kind | background) / P(kind | soil) at every pixel, with one pixel of each kind added."""
    count_above = np.bincount(labels[above], minlength=CLUSTERS) + 0.002 * above.sum() + 1
    count_below = np.bincount(labels[below], minlength=CLUSTERS) + 0.002 * below.sum() + 1
    share_above = (1 - OTHER_SHARE) * count_above / count_above.sum() + OTHER_SHARE / CLUSTERS
    ratio = np.log(share_above) - np.log(count_below / count_below.sum())
    return np.clip(ratio, -MAX_EVIDENCE, MAX_EVIDENCE)[labels]
