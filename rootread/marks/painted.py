"""Strokes that say "root" over what no root can be: a wide area, or a net of crossing lines.

Following roots through either takes minutes and gigabytes and tells nothing: in
an area there is no line to follow, and a net has ten thousand ways through it.
"""

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from rootread.errors import BadMarks
from rootread.marks.types import Stroke

WIDEST = 1 / 30
"""Of the photo's longer side: on a wall of 40 inches a root of 1.3."""
MOST_MESHES = 30
LEAST_MESH = 1 / 400
"""Of the photo's longer side: a gap not as large as this across is a slip of the brush, not a mesh."""
LOOKED_AT_PX = 2000
"""Longer side of the picture in which strokes are looked at."""
REMEDY = "Paint along each root alone, with a brush about as wide as it, or draw the root as a line."


def check_painted(strokes: Sequence[Stroke], photo_size_px: tuple[int, int], file: str) -> None:
    """Refuse a scribble.

    Parameters
    ----------
    strokes : in the order in which they were painted; later ones lie over earlier ones.
    photo_size_px : columns and rows.
    file : says in errors where the strokes came from.

    Raises
    ------
    BadMarks : what says root is wider than any root, or a net.
    """
    if not any(stroke.says == "root" for stroke in strokes):
        return
    longer_px = max(photo_size_px)
    root = _painted_root(strokes, photo_size_px, min(LOOKED_AT_PX / longer_px, 1.0))
    shown_px = max(root.shape)
    # Pixel centres of a line w wide lie up to w / 2 from its outside.
    widest = 2 * float(cv2.distanceTransform(root, cv2.DIST_L2, 5).max()) / shown_px
    if widest > WIDEST:
        raise BadMarks(
            f"{file}: strokes that say root cover an area about {widest * longer_px:.0f} pixels wide; "
            f"no root in this photo is wider than {WIDEST * longer_px:.0f}.",
            REMEDY,
        )
    meshes = _meshes(root, (LEAST_MESH * shown_px) ** 2)
    if meshes > MOST_MESHES:
        raise BadMarks(f"{file}: strokes that say root cross to a net of {meshes} meshes.", REMEDY)


def _painted_root(
    strokes: Sequence[Stroke], photo_size_px: tuple[int, int], zoom: float
) -> NDArray[np.uint8]:
    """1 where strokes say root, smaller by ``zoom``, in a frame of zeros one pixel wide."""
    columns, rows = (max(round(zoom * side), 1) for side in photo_size_px)
    root = np.zeros((rows, columns), dtype=np.uint8)
    for stroke in strokes:
        line_px = np.round(zoom * np.array(stroke.points_px)).astype(np.int32)
        width_px = max(round(zoom * stroke.width_px), 1)
        cv2.polylines(root, [line_px], False, int(stroke.says == "root"), width_px)
    return np.pad(root, 1)


def _meshes(root: NDArray[np.uint8], least_px2: float) -> int:
    """How many patches are closed in on all sides by what says root."""
    # Lines hold together over corners, so what they part must not.
    _, patch, stats, _ = cv2.connectedComponentsWithStats(1 - root, connectivity=4)
    large = np.flatnonzero(stats[:, cv2.CC_STAT_AREA] >= least_px2)
    return len({int(at) for at in large} - {0, int(patch[0, 0])})
