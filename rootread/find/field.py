"""What the strokes on one photo teach of a field, as numbers for the settings."""

import numpy as np

from rootread.errors import BadMarks
from rootread.find.network import resized, zoom_for
from rootread.find.session import shipped
from rootread.find.strokes import GridStroke, learn
from rootread.marks import Marks
from rootread.plane.types import WallImage, WallPlane

SEED = 4
"""Of the pixels beside the strokes."""
DIGITS = 5


def learn_field(image: WallImage, plane: WallPlane, marks: Marks) -> tuple[float, ...]:
    """The setting ``find.learned``, from the strokes on the photo that a flat wall was made of.

    Raises
    ------
    BadMarks : there is no stroke of one kind or the other on the wall.
    """
    zoom = zoom_for(image)
    rows, columns = image.soil.shape
    strokes = []
    for stroke in marks.strokes:
        points = image.grid.to_px(plane.to_wall_in(np.array(stroke.points_px)))
        points = points[((points >= 0) & (points < [columns, rows])).all(axis=1)]
        if len(points):
            width_px = stroke.width_px * image.grid.px_per_in / plane.scale.px_per_in
            strokes.append(GridStroke(stroke.says == "root", zoom * points, zoom * width_px))
    if {stroke.is_root for stroke in strokes} != {True, False}:
        raise BadMarks(
            "The marks do not hold strokes of both kinds on the wall.",
            "Draw a few that say root on roots, and a few that say soil on what was wrongly taken for root.",
        )
    rgb = image.rgb if zoom == 1.0 else resized(image.rgb, zoom)
    weights = learn(rgb, strokes, shipped().with_features, np.random.default_rng(SEED))
    return tuple(round(float(weight), DIGITS) for weight in weights)
