"""The picture of a wall: the photo with its marks, and beneath it the grade with its parts."""

from typing import TYPE_CHECKING

import cv2
import numpy as np

from rootread.report.colours import PAPER
from rootread.report.lettering import draw_labels
from rootread.report.overlay import draw_marks
from rootread.report.strip import draw_strip
from rootread.report.strokes import Picture
from rootread.report.view import AXIS_PX, View, draw_depth_axis
from rootread.settings import Settings

if TYPE_CHECKING:
    from rootread.wall import Wall

WIDTH_PX = 2400
"""Every picture is this wide, so that letters and lines come out alike from any camera."""


def draw_wall(wall: "Wall", settings: Settings | None = None) -> Picture:
    """Photo, marks and grade in one picture, ``(H, 2400, 3)`` sRGB.

    ``settings`` are those the wall was read with; they place the growth pattern
    and the edges between verdicts.
    """
    return np.vstack([draw_photo(wall), draw_strip(wall, WIDTH_PX, settings or Settings())])


def draw_photo(wall: "Wall", marks: bool = True) -> Picture:
    """The photo with the depth axis, and with or without the marks, ``(H, 2400, 3)`` sRGB."""
    view = wall_view(wall)
    width, height = view.size_px
    picture = np.full((height, WIDTH_PX, 3), PAPER, np.uint8)
    shrinks = width < wall.photo.size_px[0]
    picture[:, view.left_px :] = cv2.resize(
        wall.photo.rgb, (width, height), interpolation=cv2.INTER_AREA if shrinks else cv2.INTER_CUBIC
    )
    room = draw_marks(picture, view, wall) if marks else None
    picture = draw_depth_axis(picture, view, wall.layers if marks else ())
    return draw_labels(picture, room.labels) if room else picture


def wall_view(wall: "Wall") -> View:
    """Where the wall lies in the pictures made here."""
    photo_width, photo_height = wall.photo.size_px
    scale = (WIDTH_PX - AXIS_PX) / photo_width
    return View(wall.plane, scale, AXIS_PX, (WIDTH_PX - AXIS_PX, round(photo_height * scale)))
