"""A picture of a measured lens: what it bends, and what distortion remains after that is undone."""

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from rootread.geometry import Points
from rootread.plane.lens_measure import LensMeasurement
from rootread.report.faces import Face
from rootread.report.lettering import wrap
from rootread.report.strokes import Picture
from rootread.shares import percent

WIDTH_PX = 1200
# What remains is tenths of a pixel; it is drawn this many times larger than the photo's own pixels.
MAGNIFIED = 200.0
STRAIGHT, BENT, EACH, MEAN = (225, 225, 225), (140, 140, 140), (240, 170, 160), (190, 20, 20)
# Means over these many columns and rows of cells, where a cell holds so many places.
CELLS = (12, 9)
MIN_IN_CELL = 4
# Good photos leave a quarter of a pixel at 4000 pixels; four times as much is worth a word.
TOLD_RESIDUAL_SHARE = 2.5e-4
# Beyond what was seen a lens polynomial runs wild.
TOLD_REACH = 0.8
CAPTION_PX = 20
INK = (40, 40, 40)


def draw_lens(measurement: LensMeasurement, width_px: int = WIDTH_PX) -> Picture:
    """``(H, W, 3)`` sRGB: the straight and the bent grid, and what remains at each place and on average.

    Chance remainders point every way and vanish in the means (strong red);
    distortion that the model does not know shows there as a pattern.
    """
    profile = measurement.profile
    columns, rows = profile.size_px
    scale = width_px / columns
    picture = np.full((round(rows * scale), width_px, 3), 255, np.uint8)
    grid = _grid_lines(columns, rows)
    _draw(picture, grid, scale, STRAIGHT, 1)
    _draw(picture, [profile.lens.distort(line) for line in grid], scale, BENT, 1)
    found, fitted = np.concatenate(measurement.found_px), np.concatenate(measurement.fitted_px)
    off = found - fitted
    arrows = np.stack([found, found + MAGNIFIED * off], axis=1)
    _draw(picture, list(arrows), scale, EACH, 1)
    centres, means = _cell_means(found, off, profile.size_px)
    _draw(picture, list(np.stack([centres, centres + MAGNIFIED * means], axis=1)), scale, MEAN, 3)
    for centre in centres:
        cv2.circle(picture, tuple(_drawn(centre, scale).ravel().tolist()), 48, MEAN, -1, cv2.LINE_AA, 4)
    return np.vstack([picture, _caption(measurement, means, width_px)])


def bends_px(measurement: LensMeasurement) -> float:
    """How far the lens moves the picture's corners, in pixels of the photo."""
    columns, rows = measurement.profile.size_px
    corners = np.array([[0, 0], [columns - 1, 0], [columns - 1, rows - 1], [0, rows - 1]], dtype=float)
    return float(np.hypot(*(measurement.profile.lens.undistort(corners) - corners).T).max())


def lens_words(measurement: LensMeasurement) -> str:
    """What was measured, for the console."""
    profile = measurement.profile
    used_for = (
        f"used for photos by {profile.camera} at this focal length"
        if profile.camera and profile.exif_focal_px
        else f"the photos do not say which camera took them: name {profile.name} in the sheet's lens column"
    )
    words = (
        f"{profile.photos} photos, reprojection error {profile.residual_px:.2f} px, the lens moves the "
        f"corners by {bends_px(measurement):.0f} px; {used_for}."
    )
    if profile.residual_px > TOLD_RESIDUAL_SHARE * max(profile.size_px):
        words += " That error is large: the board is not flat, or the photos are shaken."
    if measurement.reach < TOLD_REACH:
        words += (
            f" The board reached only {percent(measurement.reach)} of the way to the corners: add photos "
            "with it in the corners, for beyond that the lens is guessed."
        )
    return words


def _cell_means(found: Points, off: Points, size_px: tuple[int, int]) -> tuple[Points, Points]:
    """Mean place and mean remainder of each cell with enough places."""
    cell = np.floor(found / np.array(size_px) * CELLS).astype(int)
    index = np.clip(cell[:, 0], 0, CELLS[0] - 1) + CELLS[0] * np.clip(cell[:, 1], 0, CELLS[1] - 1)
    full = [chosen for chosen in np.unique(index) if np.sum(index == chosen) >= MIN_IN_CELL]
    centres = [found[index == chosen].mean(axis=0) for chosen in full]
    means = [off[index == chosen].mean(axis=0) for chosen in full]
    return np.array(centres).reshape(-1, 2), np.array(means).reshape(-1, 2)


def _caption(measurement: LensMeasurement, means: Points, width_px: int) -> Picture:
    profile = measurement.profile
    largest = float(np.hypot(*means.T).max()) if len(means) else float("nan")
    words = (
        f"{profile.name}: {profile.photos} photos, reprojection error {profile.residual_px:.2f} px. The lens "
        f"moves the corners by {bends_px(measurement):.0f} px (pale grid: straight; dark grid: as the lens "
        f"bends it). Red: what remains, drawn {MAGNIFIED:.0f} times larger, pale at each place found, strong "
        f"on average over a part of the picture; the largest of these is {largest:.2f} px. Places were found "
        f"out to {percent(measurement.reach)} of the way to the corners."
    )
    lines = wrap(words, Face(CAPTION_PX), width_px - 30, 6)
    strip = np.full((round(1.4 * CAPTION_PX) * len(lines) + 20, width_px, 3), 245, np.uint8)
    return _lettered(strip, lines)


def _lettered(strip: Picture, lines: list[str]) -> Picture:
    image = Image.fromarray(strip)
    draw = ImageDraw.Draw(image)
    for number, line in enumerate(lines):
        Face(CAPTION_PX).write(draw, (15, 10 + number * round(1.4 * CAPTION_PX)), line, INK)
    return np.array(image)


def _draw(picture: Picture, lines: list[Points], scale: float, tone: tuple[int, ...], width_px: int) -> None:
    cv2.polylines(picture, [_drawn(line, scale) for line in lines], False, tone, width_px, cv2.LINE_AA, 4)


def _drawn(line: Points, scale: float) -> NDArray[np.int32]:
    """A line for cv2 with four fractional bits; pixel centres are at whole numbers in both."""
    return np.round(((line + 0.5) * scale - 0.5) * 16).astype(np.int32).reshape(-1, 1, 2)


def _grid_lines(columns: int, rows: int) -> list[Points]:
    along = np.linspace(0, 1, 100)
    level = [np.column_stack([along * (columns - 1), np.full(100, y)]) for y in np.linspace(0, rows - 1, 9)]
    upright = [
        np.column_stack([np.full(100, x), along * (rows - 1)]) for x in np.linspace(0, columns - 1, 13)
    ]
    return level + upright
