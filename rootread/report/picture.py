"""The picture of a wall: the photo with its marks, and beneath it the grade with its parts."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import cv2
import numpy as np

from rootread.report.colours import PAPER
from rootread.report.lettering import draw_labels
from rootread.report.overlay import draw_marks
from rootread.report.shrink import shrunk
from rootread.report.strip import draw_strip
from rootread.report.strokes import Picture, Sheet, clear_sheet, lay_over
from rootread.report.view import AXIS_PX, View, draw_depth_axis
from rootread.settings import Settings
from rootread.threads import both
from rootread.units import lengths_shown_in

if TYPE_CHECKING:
    from rootread.wall import Wall

WIDTH_PX = 2400
"""Every picture is this wide, so that letters and lines come out alike from any camera."""


@dataclass(frozen=True, eq=False)
class Drawing:
    """What the picture and the page are both made of, drawn once."""

    photo: Picture
    """The bare photo."""
    marks: Sheet


def draw_wall(wall: "Wall", settings: Settings | None = None, drawing: Drawing | None = None) -> Picture:
    """Photo, marks and grade in one picture, ``(H, 2400, 3)`` sRGB.

    ``settings`` are those the wall was read with; they place the growth pattern
    and the edges between verdicts. ``drawing`` is what ``draw_apart`` made of both.
    """
    settings = settings or Settings()
    drawing = drawing or draw_apart(wall, settings)
    with lengths_shown_in(settings.report.units):
        return np.vstack([lay_over(drawing.marks, drawing.photo), draw_strip(wall, WIDTH_PX, settings)])


def draw_apart(wall: "Wall", settings: Settings) -> Drawing:
    """Photo and marks, not yet laid over each other."""
    with lengths_shown_in(settings.report.units):
        marks, photo = both(lambda: marks_sheet(wall), lambda: bare_photo(wall))
        return Drawing(photo, marks)


def bare_photo(wall: "Wall") -> Picture:
    """The photo without marks, right of the strip that the depth axis takes, ``(H, 2400, 3)`` sRGB."""
    view = wall_view(wall)
    width, height = view.size_px
    picture = np.empty((height, WIDTH_PX, 3), np.uint8)
    picture[:, : view.left_px] = PAPER
    picture[:, view.left_px :] = (
        shrunk(wall.photo.rgb, (width, height))
        if width < wall.photo.size_px[0]
        else cv2.resize(wall.photo.rgb, (width, height), interpolation=cv2.INTER_CUBIC)
    )
    return picture


def marks_sheet(wall: "Wall") -> Sheet:
    """Depth axis, traces, runs, layers and labels, to lay over the bare photo."""
    view = wall_view(wall)
    sheet = clear_sheet(WIDTH_PX, view.size_px[1])
    room = draw_marks(sheet, view, wall)
    draw_depth_axis(sheet, view, wall.layers)
    return draw_labels(sheet, room.labels)


def axis_sheet(wall: "Wall") -> Sheet:
    """The depth axis alone."""
    view = wall_view(wall)
    sheet = clear_sheet(WIDTH_PX, view.size_px[1])
    draw_depth_axis(sheet, view, ())
    return sheet


def wall_view(wall: "Wall") -> View:
    """Where the wall lies in the pictures made here."""
    photo_width, photo_height = wall.photo.size_px
    scale = (WIDTH_PX - AXIS_PX) / photo_width
    return View(wall.plane, scale, AXIS_PX, (WIDTH_PX - AXIS_PX, round(photo_height * scale)))
