"""Measure a lens from photos of a chessboard or of the scale card, with OpenCV's calibration."""

from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from rootread.errors import BadRequest
from rootread.geometry import Points
from rootread.photo import PHOTO_ENDINGS, Photo, read_photo, to_linear
from rootread.plane.camera import CameraBelief
from rootread.plane.card import find_cards
from rootread.plane.lens import SAME_FOCAL, LensProfile
from rootread.plane.types import Lens

MIN_PHOTOS = 5
# Chessboards are looked for on pictures of at most this many pixels on the long side, then refined.
SEARCH_PX = 1600


@dataclass(frozen=True, eq=False)
class LensMeasurement:
    """A measured lens with what it was measured from."""

    profile: LensProfile
    found_px: tuple[Points, ...]
    """Of each photo used, the ``(N, 2)`` places found."""
    fitted_px: tuple[Points, ...]
    """And where the measured lens puts them."""

    @property
    def reach(self) -> float:
        """How far out places were found, of the way from the lens's centre to the furthest corner."""
        lens, (columns, rows) = self.profile.lens, self.profile.size_px
        centre = np.array([lens.cx, lens.cy])
        corners = np.array([[0, 0], [columns - 1, 0], [columns - 1, rows - 1], [0, rows - 1]])
        furthest = np.hypot(*(np.concatenate(self.found_px) - centre).T).max()
        return float(furthest / np.hypot(*(corners - centre).T).max())


def measure_lens(folder: Path, board: tuple[int, int] = (9, 6), name: str | None = None) -> LensMeasurement:
    """A lens profile from the photos in a folder.

    Parameters
    ----------
    folder : photos of one chessboard, or of scale cards, from one camera at one
        focal length, tilted this way and that and filling the picture.
    board : inner corners of the chessboard, across and down.
    name : of the profile; the folder's name without one.

    Raises
    ------
    BadRequest : fewer than five photos show the board or card, or they are of different sizes.
    """
    paths = sorted(path for path in folder.iterdir() if path.suffix.lower() in PHOTO_ENDINGS)
    photos, object_points, photo_points = [], [], []
    for path in paths:
        photo = read_photo(path)
        seen = _chessboard(photo, board) or _card(photo)
        if seen is not None:
            photos.append(photo)
            object_points.append(seen[0])
            photo_points.append(seen[1])
    if len(photos) < MIN_PHOTOS:
        raise BadRequest(
            f"{folder}: {len(photos)} of {len(paths)} photos show a chessboard of {board[0]} x {board[1]} "
            f"inner corners or a scale card; {MIN_PHOTOS} are needed.",
            "Take ten or more, sharp, the board tilted this way and that, out to the picture's corners.",
        )
    _check_alike(folder, photos)
    size_px = photos[0].size_px
    residual_px, lens, fitted = _calibrate(object_points, photo_points, size_px)
    camera = photos[0].camera or ""
    profile = LensProfile(
        name or folder.resolve().name, camera, size_px, lens, residual_px, len(photos), photos[0].focal_px
    )
    return LensMeasurement(profile, tuple(photo_points), fitted)


def _check_alike(folder: Path, photos: list[Photo]) -> None:
    """One lens at one focal length took all of them."""
    sizes = sorted({photo.size_px for photo in photos})
    cameras = sorted({photo.camera or "a camera without a name" for photo in photos})
    focals_px = sorted({round(photo.focal_px) for photo in photos if photo.focal_px is not None})
    if len(sizes) > 1:
        told = "of different sizes (" + ", ".join(f"{width} x {height}" for width, height in sizes) + ")"
    elif len(cameras) > 1:
        told = "of different cameras (" + ", ".join(cameras) + ")"
    elif focals_px and focals_px[-1] > focals_px[0] * (1.0 + SAME_FOCAL):
        told = "of different focal lengths (" + ", ".join(f"{focal} px" for focal in focals_px) + ")"
    else:
        return
    raise BadRequest(
        f"{folder}: the photos are {told}.",
        "Take all of them with one camera and lens, unzoomed, held the same way up.",
    )


def _chessboard(photo: Photo, board: tuple[int, int]) -> tuple[Points, Points] | None:
    """Inner corners in squares and in pixels."""
    grey = cv2.cvtColor(photo.rgb, cv2.COLOR_RGB2GRAY)
    shrink = min(1.0, SEARCH_PX / max(grey.shape))
    small = cv2.resize(grey, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA) if shrink < 1 else grey
    found, corners = cv2.findChessboardCornersSB(small, board, flags=cv2.CALIB_CB_ACCURACY)
    if not found:
        return None
    scale = np.array(grey.shape[::-1]) / np.array(small.shape[::-1])
    photo_px = ((corners.reshape(-1, 2) + 0.5) * scale - 0.5).astype(np.float32)
    if shrink < 1:
        reach = max(round(3 / shrink), 5)
        criteria = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 30, 0.01)
        photo_px = cv2.cornerSubPix(grey, photo_px.reshape(-1, 1, 2), (reach, reach), (-1, -1), criteria)
    columns, rows = np.meshgrid(np.arange(board[0]), np.arange(board[1]))
    squares = np.column_stack([columns.ravel(), rows.ravel()]).astype(float)
    return squares, photo_px.reshape(-1, 2).astype(float)


def _card(photo: Photo) -> tuple[Points, Points] | None:
    """Places on the sides of a card's markers in inches and in pixels, glare taken out."""
    grey = cv2.cvtColor(photo.rgb, cv2.COLOR_RGB2GRAY)
    cards = find_cards(grey, to_linear(grey), CameraBelief.of_photo(photo.size_px, photo.focal_px))
    if not cards or len(cards[0].markers) < 4:
        return None
    return cards[0].corners_in_and_px()


def _calibrate(
    object_points: list[Points], photo_points: list[Points], size_px: tuple[int, int]
) -> tuple[float, Lens, tuple[Points, ...]]:
    """OpenCV's calibration (Zhang 2000, from memory): reprojection error, lens and fitted places."""
    flat = [np.column_stack([points, np.zeros(len(points))]).astype(np.float32) for points in object_points]
    seen = [points.astype(np.float32).reshape(-1, 1, 2) for points in photo_points]
    # The sixth-order term is lost in noise for lenses that are not fisheyes.
    residual_px, matrix, coefficients, turns, shifts = cv2.calibrateCamera(
        flat, seen, size_px, None, None, flags=cv2.CALIB_FIX_K3
    )
    k1, k2, p1, p2, k3 = (float(value) for value in np.ravel(coefficients)[:5])
    fx, fy, cx, cy = (float(matrix[k]) for k in ((0, 0), (1, 1), (0, 2), (1, 2)))
    lens = Lens(fx, fy, cx, cy, k1, k2, p1, p2, k3)
    fitted = tuple(
        _projected(points, turn, shift, matrix, coefficients)
        for points, turn, shift in zip(flat, turns, shifts, strict=True)
    )
    return float(residual_px), lens, fitted


def _projected(
    points: NDArray[np.float32],
    turn: NDArray[np.float64],
    shift: NDArray[np.float64],
    matrix: NDArray[np.float64],
    coefficients: NDArray[np.float64],
) -> Points:
    return np.asarray(cv2.projectPoints(points, turn, shift, matrix, coefficients)[0]).reshape(-1, 2)
