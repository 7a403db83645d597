"""The photo for the page: an overview at once, tiles of the parts that are looked at closely."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from rootread.desk.stages import Reading
from rootread.plane import WallImage, WallPlane
from rootread.report.colours import DARK, PAPER, descent_colours

Rgb = NDArray[np.uint8]

TILE_PX = 512
OVERVIEW_PX = 1600
"""Longest side of the picture that is shown while tiles come."""
THUMB_PX_PER_IN = 8.0
QUALITY = 84
EDGE_POINTS = 25
"""Points along each side of the photo: through a lens its edge is no straight line on the wall."""
ROOT_IN = 0.08
"""Width at which roots are drawn on flat pictures."""
SHIFT = 4
"""Binary digits of a pixel's parts, for OpenCV's drawing."""


class Pyramid:
    """A photo halved again and again, each size made when it is first asked for."""

    def __init__(self, rgb: Rgb) -> None:
        self._levels: dict[int, Rgb] = {0: rgb}

    @property
    def megapixels(self) -> float:
        """Size of the whole photo."""
        return self._levels[0].shape[0] * self._levels[0].shape[1] / 1e6

    def level(self, number: int) -> Rgb:
        """The photo at ``1 / 2**number`` of its size."""
        if number not in self._levels:
            larger = self.level(number - 1)
            height, width = larger.shape[:2]
            size = max((width + 1) // 2, 1), max((height + 1) // 2, 1)
            half = cv2.resize(larger, size, interpolation=cv2.INTER_AREA)
            self._levels[number] = np.asarray(half, dtype=np.uint8)
        return self._levels[number]

    def tile(self, number: int, column: int, row: int) -> bytes | None:
        """One square of a level as JPEG; None outside the photo."""
        if not 0 <= number <= 8 or column < 0 or row < 0:
            return None
        picture = self.level(number)
        part = picture[row * TILE_PX : (row + 1) * TILE_PX, column * TILE_PX : (column + 1) * TILE_PX]
        return jpeg(part) if part.size else None

    def overview(self) -> bytes:
        """The whole photo no larger than ``OVERVIEW_PX``."""
        return jpeg(_no_larger(self.level(0), OVERVIEW_PX))


@dataclass(frozen=True, eq=False)
class FlatPicture:
    """A wall laid flat, small enough to keep."""

    content: bytes
    """JPEG, no roots drawn on it."""
    plane: WallPlane
    px_per_in: float
    x0_in: float
    z0_in: float
    width_in: float
    height_in: float

    @property
    def place(self) -> dict[str, float]:
        """Where on the wall its pixels lie."""
        return {
            "x0_in": self.x0_in,
            "z0_in": self.z0_in,
            "width_in": self.width_in,
            "height_in": self.height_in,
        }

    def with_roots(self, reading: Reading) -> bytes:
        """The picture with the roots as they are read now, coloured by descent."""
        data = np.frombuffer(self.content, np.uint8)
        bgr = np.asarray(cv2.imdecode(data, cv2.IMREAD_COLOR), dtype=np.uint8)
        thick = max(round(self.px_per_in * ROOT_IN), 1)
        for root in reading.readings.roots:
            points_in = root.trace.points[::2]
            if reading.plane is not self.plane:
                points_in = self.plane.to_wall_in(reading.plane.to_photo_px(points_in))
            at = (points_in - [self.x0_in, self.z0_in]) * self.px_per_in
            course = np.round(at * 2**SHIFT).astype(np.int32)
            cv2.polylines(bgr, [course], False, DARK[::-1], thick + 2, cv2.LINE_AA, SHIFT)
            colours = descent_colours(root.descent_down_deg[::2])[:, ::-1].tolist()
            for start, end, colour in zip(course[:-1], course[1:], colours, strict=False):
                cv2.line(bgr, start.tolist(), end.tolist(), colour, thick, cv2.LINE_AA, SHIFT)
        return jpeg(np.asarray(cv2.cvtColor(bgr, cv2.COLOR_BGR2RGB), dtype=np.uint8))


def flat_picture(
    image: WallImage, plane: WallPlane, photo_size_px: tuple[int, int], px_per_in: float
) -> FlatPicture:
    """The wall laid flat at so many pixels an inch; where the photo does not reach it is as paper."""
    factor = min(px_per_in / image.grid.px_per_in, 1.0)
    rows, columns = image.grid.shape
    size = max(round(columns * factor), 1), max(round(rows * factor), 1)
    small = cv2.resize(image.rgb, size, interpolation=cv2.INTER_AREA)
    small = np.where(_reached(image, plane, photo_size_px, size)[..., None], small, np.array(PAPER, np.uint8))
    return FlatPicture(
        jpeg(small),
        plane,
        image.grid.px_per_in * size[0] / columns,
        image.grid.x0_in,
        image.grid.z0_in,
        columns / image.grid.px_per_in,
        rows / image.grid.px_per_in,
    )


def _reached(
    image: WallImage, plane: WallPlane, photo_size_px: tuple[int, int], size: tuple[int, int]
) -> NDArray[np.bool_]:
    """``(size[1], size[0])`` where the photo shows the wall."""
    columns, rows = photo_size_px
    along = np.linspace(0.0, 1.0, EDGE_POINTS)
    zero, one = np.zeros(EDGE_POINTS), np.ones(EDGE_POINTS)
    sides = [(along, zero), (one, along), (along[::-1], one), (zero, along[::-1])]
    edge_px = np.concatenate([np.column_stack(side) for side in sides]) * [columns - 1, rows - 1]
    at = image.grid.to_px(plane.to_wall_in(edge_px)) * (size[0] / image.grid.shape[1])
    mask = np.zeros((size[1], size[0]), np.uint8)
    cv2.fillPoly(mask, [np.round(at).astype(np.int32)], 1)
    return mask > 0


def jpeg(rgb: Rgb) -> bytes:
    """An sRGB picture as JPEG."""
    _, data = cv2.imencode(".jpg", cv2.cvtColor(rgb, cv2.COLOR_RGB2BGR), [cv2.IMWRITE_JPEG_QUALITY, QUALITY])
    return data.tobytes()


def _no_larger(rgb: Rgb, longest_px: int) -> Rgb:
    height, width = rgb.shape[:2]
    factor = longest_px / max(height, width)
    if factor >= 1:
        return rgb
    size = max(round(width * factor), 1), max(round(height * factor), 1)
    return np.asarray(cv2.resize(rgb, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)
