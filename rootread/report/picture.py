"""The picture of a wall: the photo with its marks, and beneath it the grade with its parts."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import cv2
import numpy as np

from rootread.photo import Photo
from rootread.plane.types import WallPlane
from rootread.report.colours import PAPER
from rootread.report.embed import jpeg, photo_uri
from rootread.report.lettering import draw_labels
from rootread.report.overlay import draw_lines, lay_out_labels
from rootread.report.scale_picture import draw_scale
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
PAGE_PX, PAGE_QUALITY = 1500, 68
THUMB_PX, THUMB_QUALITY = 260, 70


@dataclass(frozen=True, eq=False)
class PlanePictures:
    """What can be drawn of a wall as soon as its plane is known, before any root is."""

    photo: Picture
    """The bare photo."""
    page: str
    """The same with the depth axis, as the page shows it: a ``data:`` address."""
    thumb: str
    """The bare photo very small, a ``data:`` address."""
    scale: bytes
    """JPEG of the scale object as it was found, with the grid of lengths it gives."""


@dataclass(frozen=True, eq=False)
class Drawing:
    """What the picture and the page are both made of, drawn once."""

    plane: PlanePictures
    lines: Sheet
    """Traces, runs, layers and whatever else has no words."""
    marks: Sheet
    """The same with the depth axis and all words."""


def draw_plane(photo: Photo, plane: WallPlane, settings: Settings) -> PlanePictures:
    """Draw what photo and plane alone give."""
    with lengths_shown_in(settings.report.units):
        view = _view(photo, plane)
        bare = _bare_photo(photo, view)
        axis = clear_sheet(WIDTH_PX, view.size_px[1])
        draw_depth_axis(axis, view, ())
        return PlanePictures(
            bare,
            photo_uri(lay_over(axis, bare), PAGE_PX, PAGE_QUALITY),
            photo_uri(bare[:, AXIS_PX:], THUMB_PX, THUMB_QUALITY),
            jpeg(draw_scale(photo, plane)),
        )


def draw_wall(wall: "Wall", settings: Settings | None = None, drawing: Drawing | None = None) -> Picture:
    """Photo, marks and grade in one picture, ``(H, 2400, 3)`` sRGB.

    ``settings`` are those the wall was read with; they place the growth pattern
    and the edges between verdicts. ``drawing`` is what ``draw_apart`` made of both.
    """
    settings = settings or Settings()
    drawing = drawing or draw_apart(wall, settings)
    with lengths_shown_in(settings.report.units):
        return np.vstack([lay_over(drawing.marks, drawing.plane.photo), draw_strip(wall, WIDTH_PX, settings)])


def draw_apart(wall: "Wall", settings: Settings) -> Drawing:
    """Photo and marks, not yet laid over each other."""
    sheets, plane = both(
        lambda: draw_sheets(wall, settings), lambda: draw_plane(wall.photo, wall.plane, settings)
    )
    return Drawing(plane, *sheets)


def _bare_photo(photo: Photo, view: View) -> Picture:
    """The photo without marks, right of the strip that the depth axis takes, ``(H, 2400, 3)`` sRGB."""
    width, height = view.size_px
    picture = np.empty((height, WIDTH_PX, 3), np.uint8)
    picture[:, : view.left_px] = PAPER
    picture[:, view.left_px :] = (
        shrunk(photo.rgb, (width, height))
        if width < photo.size_px[0]
        else cv2.resize(photo.rgb, (width, height), interpolation=cv2.INTER_CUBIC)
    )
    return picture


def draw_sheets(wall: "Wall", settings: Settings) -> tuple[Sheet, Sheet]:
    """The lines alone, and with depth axis and words, to lay over the bare photo."""
    view = wall_view(wall)
    lines = clear_sheet(WIDTH_PX, view.size_px[1])
    draw_lines(lines, view, wall)
    marks = lines.copy()
    with lengths_shown_in(settings.report.units):
        room = lay_out_labels(marks, view, wall)
        draw_depth_axis(marks, view, wall.layers)
        draw_labels(marks, room.labels)
        return lines, marks


def wall_view(wall: "Wall") -> View:
    """Where the wall lies in the pictures made here."""
    return _view(wall.photo, wall.plane)


def _view(photo: Photo, plane: WallPlane) -> View:
    photo_width, photo_height = photo.size_px
    scale = (WIDTH_PX - AXIS_PX) / photo_width
    return View(plane, scale, AXIS_PX, (WIDTH_PX - AXIS_PX, round(photo_height * scale)))
