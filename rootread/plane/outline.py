"""The wall's outline as a person drew it."""

from dataclasses import replace

import cv2
import numpy as np

from rootread.marks import Marks
from rootread.plane.types import WallImage, WallPlane


def within_outline(image: WallImage, plane: WallPlane, marks: Marks | None) -> WallImage:
    """The flat wall with no soil outside the marked outline; unchanged where none is marked."""
    if marks is None or not marks.outline_px:
        return image
    inside = np.zeros(image.soil.shape, dtype=np.uint8)
    corners = image.grid.to_px(plane.to_wall_in(np.array(marks.outline_px)))
    cv2.fillPoly(inside, [np.round(corners).astype(np.int32)], 1)
    return replace(image, soil=image.soil & (inside > 0))


def shown_down_to_in(image: WallImage, marks: Marks | None) -> float | None:
    """How far down the photo shows the wall; None where that is not known.

    An outline drawn by hand may end above a depth that was measured in the pit.
    """
    return None if marks is not None and marks.outline_px else image.deepest_in


def shown_across_in(image: WallImage, marks: Marks | None) -> tuple[float, float] | None:
    """x at which the wall in the photo begins and ends; None where that is not known.

    An outline drawn by hand may leave out a place that was measured in the pit.
    """
    return None if marks is not None and marks.outline_px else image.across_in
