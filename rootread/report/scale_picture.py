"""A picture that shows whether the scale is right: the object, a grid of lengths on the wall, the residuals.

Someone who looks at it sees at once if the grid does not sit on the card's or
staff's own marks, leans, or starts at the wrong surface.
"""

from math import ceil

import numpy as np

from rootread.geometry import Points, resample_polyline
from rootread.photo import Photo
from rootread.plane.types import WallPlane
from rootread.report.colours import DARK, INK, LEVEL, PAPER, RGB, WHITE
from rootread.report.faces import Face
from rootread.report.lettering import Label, draw_labels, wrap
from rootread.report.shrink import shrunk
from rootread.report.strokes import Picture, Sheet, clear_sheet, lay_over, stroke, veil
from rootread.report.view import View
from rootread.report.words import scale_words
from rootread.units import LengthUnit, length_words, shown, unit_shown

WIDTH_PX = 1600
GRID: dict[LengthUnit, tuple[int, int, str]] = {
    "in": (1, 6, "1 inch, every sixth"),
    "cm": (2, 5, "2 cm, every fifth"),
}
"""Size of the grid's cells in the unit shown, how many make a numbered one, and both in words."""
FOUND: RGB = (0, 190, 255)
MISFIT: RGB = (255, 70, 60)
# Residuals are tenths of a pixel; they are drawn this many times larger.
MAGNIFIED = 100.0
# A tape has hundreds of places, so close that large dots would hide its ticks.
MANY_PLACES = 100
# An uncertain surface is drawn with its band; a sure one's would not be seen beside the line.
SEEN_SURFACE_IN = 0.5
DASH_PX = 12.0
LETTERS_PX = 22
CAPTION_PX = 24


def draw_scale(photo: Photo, plane: WallPlane) -> Picture:
    """``(H, W, 3)`` sRGB: the photo with the scale object as found and the wall's grid of lengths."""
    columns, rows = photo.size_px
    scale = min(1.0, WIDTH_PX / columns)
    size_px = (round(columns * scale), round(rows * scale))
    picture = shrunk(photo.rgb, size_px)
    view = View(plane, scale, 0, size_px)
    sheet = clear_sheet(*size_px)
    _draw_grid(sheet, view)
    _draw_surface(sheet, view)
    outlines = [view.from_photo(np.vstack([outline, outline[:1]])) for outline in plane.scale.outlines_px]
    stroke(sheet, outlines, DARK, 3)
    stroke(sheet, outlines, FOUND, 1)
    _draw_residuals(sheet, view)
    draw_labels(sheet, grid_labels(view))
    return np.vstack([lay_over(sheet, picture), _caption(plane, size_px[0])])


def _draw_grid(sheet: Sheet, view: View) -> None:
    """Fine lines, and strong ones where they are numbered, from the surface down."""
    fine: list[Points] = []
    strong: list[Points] = []
    size, every, _ = GRID[unit_shown()]
    cell_in = size / shown(1.0)
    (x0, _), (x1, z1) = view.wall_range_in
    for column in range(ceil(x0 / cell_in), ceil(x1 / cell_in)):
        line = view.px(np.column_stack([np.full(60, column * cell_in), np.linspace(0.0, z1, 60)]))
        (fine if column % every else strong).append(line)
    for row in range(ceil(z1 / cell_in)):
        (fine if row % every else strong).append(view.level_line(row * cell_in))
    veil(sheet, fine, WHITE, 1, 0.35)
    veil(sheet, strong, WHITE, 2, 0.7)


def _draw_surface(sheet: Sheet, view: View) -> None:
    """The surface line, and two standard errors to both sides where that can be seen."""
    surface = view.plane.surface
    stroke(sheet, [view.px(surface.line_in)], DARK, 6)
    stroke(sheet, [view.px(surface.line_in)], LEVEL, 3)
    if 2 * surface.se_in > SEEN_SURFACE_IN:
        sides = [view.px(surface.line_in + np.array([0.0, side * 2 * surface.se_in])) for side in (-1, 1)]
        dashes = [line[start : start + 2] for line in map(_fine, sides) for start in range(0, len(line), 4)]
        stroke(sheet, dashes, DARK, 4)
        stroke(sheet, dashes, LEVEL, 2)


def _fine(line: Points) -> Points:
    """A line of points every few pixels, from which dashes are cut."""
    return resample_polyline(line, DASH_PX / 2)[0]


def _draw_residuals(sheet: Sheet, view: View) -> None:
    """A dot where each place was found, and a line to where the plane puts it, magnified."""
    scale = view.plane.scale
    found = view.from_photo(scale.points_px)
    dots = [np.array([place, place + 0.01]) for place in found]
    if scale.fitted_px is not None:
        off = (scale.fitted_px - scale.points_px) * view.scale * MAGNIFIED
        stroke(sheet, list(np.stack([found, found + off], axis=1)), MISFIT, 2)
    stroke(sheet, dots, FOUND, 5 if len(found) < MANY_PLACES else 3)


def grid_labels(view: View) -> list[Label]:
    """Lengths along the surface and down the left edge."""
    (x0, _), (x1, z1) = view.wall_range_in
    size, every, _ = GRID[unit_shown()]
    step = size * every
    step_in = step / shown(1.0)
    labels = []
    for column in range(ceil(x0 / step_in), ceil(x1 / step_in)):
        x_px = view.px([[column * step_in, 0.0]])[0]
        labels.append(_label(view, x_px, f"{column * step:+g}" if column else "0"))
    for row in range(1, ceil(z1 / step_in)):
        line = view.level_line(row * step_in)
        inside = line[line[:, 0] > 2 * LETTERS_PX]
        if len(inside):
            labels.append(_label(view, inside[0], f"{row * step} {unit_shown()}"))
    return [label for label in labels if label is not None]


def _label(view: View, at_px: Points, text: str) -> Label | None:
    width = int(Face(LETTERS_PX).getlength(text)) + 12
    height = LETTERS_PX + 8
    left, top = int(at_px[0] - width / 2), int(at_px[1] - height / 2)
    inside = 0 <= left < view.size_px[0] - width and 0 <= top < view.size_px[1] - height
    return Label(left, top, width, height, text, LETTERS_PX, INK, PAPER, 0.8) if inside else None


def _caption(plane: WallPlane, width_px: int) -> Picture:
    """What the picture shows, in words, on a strip below it."""
    seen = (
        "seen square on"
        if plane.tilt_deg < 1
        else f"camera {plane.tilt_deg:.1f} ± {2 * plane.tilt_se_deg:.1f} degrees from square"
    )
    tilt = "tilt not known" if np.isnan(plane.tilt_deg) else seen
    surface = {
        "photo": "found",
        "marks": "as marked",
        "assumed": "not found, the photo's upper edge stands for it",
    }
    words = (
        f"{scale_words(plane)} Level within {2 * plane.level.se_deg:.1f} degrees; {tilt}.",
        f"{len(plane.scale.points_px)} places found (blue), off by {plane.scale.residual_px:.2f} px on "
        f"average (red, drawn {MAGNIFIED:.0f} times larger). Grid: {GRID[unit_shown()][2]} line numbered.",
        f"Soil surface (yellow) {surface[plane.surface.source]}, "
        f"sure to {length_words(2 * plane.surface.se_in)}.",
        *plane.cautions,
    )
    face = Face(CAPTION_PX)
    lines = [line for text in words for line in wrap(text, face, width_px - 30, 3)]
    line_px = round(1.4 * CAPTION_PX)
    sheet = clear_sheet(width_px, line_px * len(lines) + 16)
    sheet[:] = (*PAPER, 255)
    labels = [
        Label(14, 8 + number * line_px, int(face.getlength(text)), line_px, text, CAPTION_PX, INK, PAPER, 1.0)
        for number, text in enumerate(lines)
    ]
    draw_labels(sheet, labels)
    return np.ascontiguousarray(sheet[:, :, :3])
