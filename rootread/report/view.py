"""Where the wall lies in the picture, and the depth axis down its side.

Everything is known in wall inches and drawn where the wall plane says it is in
the photo, so a level line of the wall may well slope in the picture.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike
from PIL import Image, ImageDraw

from rootread.geometry import Points
from rootread.judge.types import Layer
from rootread.plane.reach import local_px_per_in
from rootread.plane.types import WallPlane
from rootread.report.colours import DARK, FADED_INK, INK, PAPER, WHITE
from rootread.report.faces import font
from rootread.report.strokes import Sheet, opaque, stroke
from rootread.units import INCHES_PER, per_length_shown, shown, unit_shown

AXIS_PX = 118
AXIS_LETTERS_PX = 34
TICK_PX, SHORT_TICK_PX = 34, 16
"""Of depths with a number beside them, and of those between."""
LEAST_SCALE_SHARE = 0.05
"""Of the scale at the scale object: where the photo shows the wall smaller, it is hardly seen at all."""


@dataclass(frozen=True, eq=False)
class View:
    """Where the wall lies in the picture."""

    plane: WallPlane
    scale: float
    """Picture pixels per photo pixel."""
    left_px: int
    """Column at which the photo starts, right of the axis."""
    size_px: tuple[int, int]
    """Width and height of the photo in the picture."""

    @property
    def right_px(self) -> int:
        """Last column of the photo."""
        return self.left_px + self.size_px[0] - 1

    def px(self, points_in: ArrayLike) -> Points:
        """Wall inches to picture pixels, pixel centres at whole numbers."""
        return self.from_photo(self.plane.to_photo_px(points_in))

    def from_photo(self, points_px: Points) -> Points:
        """Photo pixels as taken to picture pixels."""
        return (points_px + 0.5) * self.scale - 0.5 + np.array([self.left_px, 0.0])

    @cached_property
    def wall_range_in(self) -> tuple[Points, Points]:
        """Least and greatest x and z that the photo's edge shows, this side of the wall's horizon."""
        width, height = (np.array(self.size_px) / self.scale).tolist()
        along, zero, one = np.linspace(0.0, 1.0, 9), np.zeros(9), np.ones(9)
        sides = [(along, zero), (along, one), (zero, along), (one, along)]
        edge = np.vstack([np.column_stack(side) for side in sides]) * [width, height]
        scale = local_px_per_in(self.plane.to_wall_in, edge)
        shown = self.plane.to_wall_in(edge[scale > LEAST_SCALE_SHARE * self.plane.scale.px_per_in])
        return shown.min(axis=0), shown.max(axis=0)

    def shows_across(self, x_in: float) -> bool:
        """Whether the photo shows the wall at this place along it."""
        (x_least, _), (x_most, _) = self.wall_range_in
        return bool(x_least <= x_in <= x_most)

    def shows_down_to(self, depth_in: float) -> bool:
        """Whether some of the wall's level line at this depth is in the photo."""
        (_, z_least), (_, z_most) = self.wall_range_in
        return bool(z_least <= depth_in <= z_most)

    def level_line(self, depth_in: float, x_from_in: float = -np.inf, x_to_in: float = np.inf) -> Points:
        """The wall's level line at a depth, as far as the photo shows it, in picture pixels."""
        (x_least, _), (x_most, _) = self.wall_range_in
        x = np.linspace(max(x_from_in, x_least), min(x_to_in, x_most), 240)
        return self.px(np.column_stack([x, np.full_like(x, depth_in)]))

    def layer_line(self, layer: Layer) -> Points:
        """A layer along the wall, level, sloped or stepped, in picture pixels."""
        (x_least, _), (x_most, _) = self.wall_range_in
        x = np.linspace(max(layer.x_from_in, x_least), min(layer.x_to_in, x_most), 480)
        return self.px(np.column_stack([x, layer.line.depth_at(x)]))

    def row_at_edges(self, depth_in: float) -> tuple[float, float]:
        """Rows at which a level line meets the left and the right edge of the photo."""
        line = self.level_line(depth_in)
        left, right = np.interp([self.left_px, self.right_px], line[:, 0], line[:, 1])
        return float(left), float(right)


def draw_depth_axis(sheet: Sheet, view: View, layers: tuple[Layer, ...]) -> None:
    """Draw depth below the soil surface down the sheet's left side, in place, found layers flagged on it."""
    sheet[:, : view.left_px] = opaque(PAPER)
    (_, z_least), (_, z_most) = view.wall_range_in
    px_per_unit = per_length_shown(view.size_px[1] / max(z_most - z_least, 1e-6))
    label_step, tick_step = next(
        (steps for steps in ((1, 1), (2, 1), (5, 1), (10, 5), (20, 5)) if steps[0] * px_per_unit >= 84),
        (50, 10),
    )
    unit_in = INCHES_PER[unit_shown()]

    numbers: list[tuple[float, str]] = []
    for depth in np.arange(0, np.floor(shown(z_most)) + 1, tick_step):
        major = depth % label_step == 0
        left_row, right_row = view.row_at_edges(float(depth) * unit_in)
        inward = TICK_PX if major else SHORT_TICK_PX
        left_tick = np.array([[view.left_px, left_row], [view.left_px + inward, left_row]])
        right_tick = np.array([[view.right_px, right_row], [view.right_px - inward, right_row]])
        stroke(sheet, [left_tick, right_tick], DARK, 6)
        stroke(sheet, [left_tick, right_tick], WHITE, 2)
        stroke(sheet, [left_tick - [inward + 2.0, 0]], FADED_INK, 2)
        if major:
            numbers.append((left_row, f"{depth:.0f}" if depth else f"0 {unit_shown()}"))
    sheet[:, view.left_px - 2 : view.left_px] = opaque(FADED_INK)

    image = Image.fromarray(sheet[:, : view.left_px])
    draw = ImageDraw.Draw(image)
    # The strip is at the left, and so tells how deep a layer that is not level begins there.
    at_left_in = [
        layer.depth_in if layer.line.shape == "level" else layer.line.line_in[0][1] for layer in layers
    ]
    flags = [(view.row_at_edges(depth_in)[0], f"{shown(depth_in):.1f}") for depth_in in at_left_in]
    for row, text in numbers:
        clear_of_flags = all(abs(row - other) > 46 for other, _ in flags)
        if clear_of_flags and 18 < row < view.size_px[1] - 18:
            # The topmost number has its unit behind it, and the strip is narrow.
            right, letters = (44, AXIS_LETTERS_PX) if text.isdigit() else (40, AXIS_LETTERS_PX - 4)
            draw.text((view.left_px - right, row), text, fill=INK, font=font(letters), anchor="rm")
    for row, text in flags:
        tip = view.left_px - 2
        shape = [(6, row - 26), (tip - 20, row - 26), (tip, row), (tip - 20, row + 26), (6, row + 26)]
        draw.polygon(shape, fill=INK)
        draw.text((tip - 24, row), text, fill=WHITE, font=font(AXIS_LETTERS_PX, bold=True), anchor="rm")
    sheet[:, : view.left_px] = np.asarray(image)
