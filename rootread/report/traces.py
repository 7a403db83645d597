"""The traces of a wall as plain values for ``traces/WALL.json``."""

import dataclasses
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from rootread.follow.crowns import find_crowns

if TYPE_CHECKING:
    from rootread.wall import Wall

DECIMALS = 4
"""A ten-thousandth of an inch, far below what a photo shows."""


def traces_json(wall: "Wall") -> dict[str, Any]:
    """The traces in wall inches, and how to lay them on the photo.

    ``plane_to_photo`` maps inches (x, z) to pixels of the photo without its
    lens distortion; ``lens`` (OpenCV's radial-tangential model, lengths in
    pixels) then gives pixels of the photo as taken, or is None where the photo
    was taken to have no distortion. Where ``inferred`` is true the root was not
    seen but bridged, or led along another; a root that is ``cut`` ends at the photo's edge or at the
    scale object, not at its own tip; ``crowns`` are where bases gather.
    """
    lens = wall.plane.lens
    return {
        "wall": wall.name,
        "photo": wall.photo.path.name if wall.photo.path else wall.row.photo,
        "units": "in",
        "plane_to_photo": wall.plane.to_photo.tolist(),
        "lens": dataclasses.asdict(lens) if lens else None,
        "surface": _rounded(wall.plane.surface.line_in),
        "crowns": _rounded(find_crowns(wall.traces, wall.plane.surface).places_in),
        "roots": [
            {
                "id": root.trace.id,
                "order": root.trace.order,
                "parent": root.trace.parent,
                "points": _rounded(root.trace.points),
                "width": _rounded(root.trace.width_in),
                "width_se": _finite(root.trace.width_se_in),
                "flattened": root.flattened.tolist(),
                "inferred": root.trace.inferred.tolist(),
                "cut": root.trace.cut,
                "confidence": round(float(root.trace.confidence), DECIMALS),
            }
            for root in wall.readings.roots
        ],
    }


def _finite(value: float) -> float | None:
    return round(value, DECIMALS) if np.isfinite(value) else None


def _rounded(values: NDArray[np.float64]) -> list[Any]:
    return np.round(values, DECIMALS).tolist()
