"""The wall laid flat: the photo resampled once into the wall plane."""

from itertools import product

import cv2
import numpy as np
from numpy.typing import NDArray

from rootread.errors import WallRefused
from rootread.geometry import Points, apply_homography
from rootread.photo import Photo, to_linear, to_srgb
from rootread.plane.reach import fine_enough, local_px_per_in, photo_places
from rootread.plane.types import Grid, Lens, WallImage, WallPlane
from rootread.settings import PlaneSettings
from rootread.threads import share_out

# The way from flat to photo is smooth, so it is worked out at every 16th pixel and interpolated.
MAP_STEP_PX = 16
# Above the mean surface this much is kept, for pictures; no roots are sought there.
ABOVE_SURFACE_IN = 1.5
# Less of a wall than this, across or below its surface, is none.
LEAST_WALL_IN = 1.0
# The flat wall is never coarser: centrelines are smoothed over 0.3 in, and that takes three of their points.
LEAST_PX_PER_IN = 14.0
# The flat wall has no more pixels than this, some 2 GB while roots are sought, and hardly more than the photo
# itself: a wall seen from far aside would have several times as many. A larger one is laid coarser.
MOST_PX, MOST_OF_PHOTO = 20e6, 1.25
# The scale object's shadow, thickness and curl spread this far over its outline.
OBJECT_MARGIN_IN = 0.1
# Shrinking by less than this loses nothing that averaging would keep.
NO_SHRINK = 1.15
# A pixel of a bilinear reading averages over about this standard deviation by itself, px.
OWN_BLUR_PX = 0.3
# A blur under this changes nothing; none reaches farther than so many pixels.
LEAST_BLUR_PX, BLUR_REACH_PX = 0.2, 6
# Rows and columns of the flat wall laid at a time: whole steps of the map.
PIECE_PX = (16 * MAP_STEP_PX, 32 * MAP_STEP_PX)


def photo_map(to_photo: NDArray[np.float64], lens: Lens | None, grid: Grid) -> NDArray[np.float32]:
    """``(M, N, 2)`` the photo pixel at every working pixel."""
    return between_knots(photo_knots(to_photo, lens, grid), grid.shape)


def photo_knots(to_photo: NDArray[np.float64], lens: Lens | None, grid: Grid) -> NDArray[np.float32]:
    """The photo pixel at every 16th working pixel, and one beyond the last."""
    rows, columns = grid.shape
    at_rows = np.arange(0, rows + MAP_STEP_PX, MAP_STEP_PX)
    at_columns = np.arange(0, columns + MAP_STEP_PX, MAP_STEP_PX)
    knots = np.stack(np.meshgrid(at_columns, at_rows), axis=-1).reshape(-1, 2)
    photo_px = apply_homography(to_photo, grid.to_in(knots))
    if lens is not None:
        photo_px = lens.distort(photo_px)
    return photo_px.reshape(len(at_rows), len(at_columns), 2).astype(np.float32)


def between_knots(knots: NDArray[np.float32], shape: tuple[int, int]) -> NDArray[np.float32]:
    """``(M, N, 2)`` the photo pixel at every working pixel from the first knot on."""
    # An affine map of the output pixel (column, row) to the knot grid: exactly column / step.
    shrink = np.array([[1 / MAP_STEP_PX, 0, 0], [0, 1 / MAP_STEP_PX, 0]])
    return cv2.warpAffine(
        knots,
        shrink,
        shape[::-1],
        flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_REPLICATE,
    )


def within_photo(at: NDArray[np.float32], rgb: NDArray[np.uint8]) -> NDArray[np.bool_]:
    """``(M, N)`` which of ``(M, N, 2)`` places, column and row, lie in a photo."""
    return cv2.inRange(at, (0.0, 0.0), (rgb.shape[1] - 1.0, rgb.shape[0] - 1.0)).astype(bool)


def resample(
    rgb: NDArray[np.uint8], to_photo: NDArray[np.float64], lens: Lens | None, grid: Grid
) -> tuple[NDArray[np.uint8], NDArray[np.bool_]]:
    """A photo on a grid of the wall plane; ``(M, N, 3)`` sRGB, and ``(M, N)`` where the photo reaches.

    Worked in pieces, so that what lies between photo and flat wall stays in the processor's own memory: for
    the whole it would be eight photos of fresh memory. The pieces meet without a seam.
    """
    knots = photo_knots(to_photo, lens, grid)
    shrink = _middle_step_px(knots, grid.shape)
    flat = np.empty((*grid.shape, 3), np.uint8)
    inside = np.empty(grid.shape, bool)

    def lay(corner: tuple[int, int]) -> None:
        top, left = corner
        piece = np.s_[top : top + PIECE_PX[0], left : left + PIECE_PX[1]]
        at = between_knots(knots[top // MAP_STEP_PX :, left // MAP_STEP_PX :], inside[piece].shape)
        inside[piece] = within_photo(at, rgb)
        flat[piece] = (
            cv2.remap(rgb, at, None, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
            if shrink < NO_SHRINK
            else _averaged(rgb, at, shrink)
        )

    tops, lefts = (range(0, size, step) for size, step in zip(grid.shape, PIECE_PX, strict=True))
    share_out(lay, product(tops, lefts))
    return flat, inside


def _averaged(rgb: NDArray[np.uint8], at: NDArray[np.float32], shrink: float) -> NDArray[np.uint8]:
    """The mean of the photo pixels under each place, ``shrink`` wide; light adds up in linear values."""
    whole = int(shrink)
    if whole > 1:
        at = (at + np.float32(0.5)) / np.float32(whole) - np.float32(0.5)
        shrink = shrink / whole
    light, first = _light_under(at, rgb, whole)
    # A box of ``shrink`` pixels has a variance of shrink^2 / 12; the reading itself gives a part.
    blur = np.sqrt(max(shrink**2 / 12.0 - OWN_BLUR_PX**2 / 12.0, 0.0))
    if blur > LEAST_BLUR_PX:
        light = cv2.GaussianBlur(light, (0, 0), blur)
    return to_srgb(cv2.remap(light, at - first, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE))


def _light_under(
    at: NDArray[np.float32], rgb: NDArray[np.uint8], whole: int
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Linear light of the part of a photo, reduced ``whole`` times, that lies about places in it.

    With the column and row at which that part starts.
    """
    size = np.array([rgb.shape[1] // whole, rgb.shape[0] // whole])
    low = cv2.reduce(at, 0, cv2.REDUCE_MIN).min(axis=(0, 1))
    high = cv2.reduce(at, 0, cv2.REDUCE_MAX).max(axis=(0, 1))
    low, high = (np.clip(corner, 0, size - 1).astype(int) for corner in (low, high))
    first, past = np.maximum(low - BLUR_REACH_PX, 0), np.minimum(high + BLUR_REACH_PX + 1, size)
    (x0, y0), (x1, y1) = first * whole, past * whole
    light = to_linear(rgb[y0:y1, x0:x1])
    if whole > 1:
        light = cv2.resize(light, (past - first).tolist(), interpolation=cv2.INTER_AREA)
    return light, first.astype(np.float32)


def lay_flat(photo: Photo, plane: WallPlane, settings: PlaneSettings) -> WallImage:
    """Resample the photo into the wall plane.

    The working resolution is ``settings.working_px_per_in``, or the photo's own
    at the middle of the wall where that is coarser; coarser still where the wall
    would have more pixels than the photo shows, or than fit in memory; but 14
    pixels an inch at least.

    Raises
    ------
    WallRefused : the photo shows nothing below the soil surface.
    """
    grid = wall_grid(photo.size_px, plane, settings.working_px_per_in)
    rgb, inside = resample(photo.rgb, plane.to_photo, plane.lens, grid)
    soil = inside & below_surface(plane, grid)
    for outline in plane.scale.outlines_px:
        soil &= ~_covered(plane.to_wall_in(outline), grid)
    return WallImage(rgb, soil, grid)


def wall_grid(size_px: tuple[int, int], plane: WallPlane, working_px_per_in: float) -> Grid:
    """The working pixels that cover the wall in a photo of ``size_px`` columns and rows.

    Raises
    ------
    WallRefused : the photo shows nothing below the soil surface.
    """
    photo_px = photo_places(size_px, 41, 31)
    wall_in = plane.to_wall_in(photo_px)
    scale = local_px_per_in(plane.to_wall_in, photo_px)
    usable = fine_enough(scale) & (wall_in[:, 1] > -ABOVE_SURFACE_IN)
    corners = wall_in[usable] if usable.any() else np.zeros((1, 2))
    low, high = corners.min(axis=0), corners.max(axis=0)
    low[1] = -ABOVE_SURFACE_IN
    wide_in, deep_in = (high - low).tolist()
    if min(wide_in, high[1]) < LEAST_WALL_IN:
        raise WallRefused(
            "Hardly anything in the photo lies below the soil surface.",
            "Mark the surface again, or take the photo with the wall in frame.",
        )
    most_px = min(MOST_PX, MOST_OF_PHOTO * size_px[0] * size_px[1])
    finest = min(float(np.median(scale)), (most_px / (wide_in * deep_in)) ** 0.5)
    px_per_in = min(working_px_per_in, max(finest, LEAST_PX_PER_IN))
    shape = (int(deep_in * px_per_in) + 1, int(wide_in * px_per_in) + 1)
    return Grid(px_per_in, float(low[0]), float(low[1]), shape)


def below_surface(plane: WallPlane, grid: Grid) -> NDArray[np.bool_]:
    """``(M, N)`` True below the soil surface line."""
    rows, columns = grid.shape
    line = plane.surface.line_in
    x = grid.x0_in + np.arange(columns) / grid.px_per_in
    z = grid.z0_in + np.arange(rows) / grid.px_per_in
    return z[:, None] > np.interp(x, line[:, 0], line[:, 1])[None, :]


def _covered(outline_in: Points, grid: Grid) -> NDArray[np.bool_]:
    """``(M, N)`` True on an outline and its margin."""
    cover = np.zeros(grid.shape, dtype=np.uint8)
    # Eight fractional bits keep the outline to a fraction of a pixel.
    corners = np.round(grid.to_px(outline_in) * 256).astype(np.int32)
    cv2.fillPoly(cover, [corners], 1, shift=8)
    reach = max(round(OBJECT_MARGIN_IN * grid.px_per_in), 1)
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * reach + 1, 2 * reach + 1))
    return cv2.dilate(cover, disc).astype(bool)


def _middle_step_px(knots: NDArray[np.float32], shape: tuple[int, int]) -> float:
    """Photo pixels from one working pixel to the next in the middle of the wall."""
    row, column = shape[0] // 2, shape[1] // 2
    first = row // MAP_STEP_PX
    row -= first * MAP_STEP_PX
    at = between_knots(knots[first:], (min(row + 2, shape[0]), shape[1]))
    here = at[row, column]
    right = at[row, min(column + 1, at.shape[1] - 1)] - here
    down = at[min(row + 1, at.shape[0] - 1), column] - here
    return float(np.sqrt(abs(right[0] * down[1] - right[1] * down[0])))
