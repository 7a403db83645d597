"""Strokes that say "root" or "soil": a person's word on the pixels under them."""

from dataclasses import replace

import cv2
import numpy as np

from rootread.find.types import RootMap
from rootread.marks import Marks
from rootread.plane.types import WallPlane


def paint(root_map: RootMap, plane: WallPlane, marks: Marks | None) -> RootMap:
    """The root map with every stroke laid over it, later strokes over earlier ones."""
    if marks is None or not marks.strokes:
        return root_map
    probability, mask = root_map.probability.copy(), root_map.mask.copy()
    painted = np.zeros_like(mask)
    for stroke in marks.strokes:
        line_px = root_map.grid.to_px(plane.to_wall_in(np.array(stroke.points_px)))
        width_px = stroke.width_px * root_map.grid.px_per_in / plane.scale.px_per_in
        covered = np.zeros(mask.shape, dtype=np.uint8)
        cv2.polylines(covered, [np.round(line_px).astype(np.int32)], False, 1, max(round(width_px), 1))
        says_root = stroke.says == "root"
        mask[covered > 0] = painted[covered > 0] = says_root
        probability[covered > 0] = float(says_root)
    return replace(root_map, probability=probability, mask=mask, painted=painted)
