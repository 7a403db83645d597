"""The traces of a wall as plain values for ``traces/WALL.json``."""

import dataclasses
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from rootread.wall import Wall

DECIMALS = 4
"""A ten-thousandth of an inch, far below what a photo shows."""


def traces_json(wall: "Wall") -> dict[str, Any]:
    """The traces in wall inches, and how to lay them on the photo.

    ``plane_to_photo`` maps inches (x, z) to pixels of the photo without its
    lens distortion; ``lens`` (OpenCV's radial-tangential model, lengths in
    pixels) then gives pixels of the photo as taken, or is None where the photo
    was taken to have no distortion.
    """
    lens = wall.plane.lens
    return {
        "wall": wall.name,
        "photo": wall.photo.path.name if wall.photo.path else wall.row.photo,
        "units": "in",
        "plane_to_photo": wall.plane.to_photo.tolist(),
        "lens": dataclasses.asdict(lens) if lens else None,
        "surface": _rounded(wall.plane.surface.line_in),
        "roots": [
            {
                "id": root.trace.id,
                "order": root.trace.order,
                "parent": root.trace.parent,
                "points": _rounded(root.trace.points),
                "width": _rounded(root.trace.width_in),
                "flattened": root.flattened.tolist(),
                "confidence": round(float(root.trace.confidence), DECIMALS),
            }
            for root in wall.readings.roots
        ],
    }


def _rounded(values: NDArray[np.float64]) -> list[Any]:
    return np.round(values, DECIMALS).tolist()
