"""The roots of a wall between depths, such as above, in and below a layer."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from rootread.measure.direction import tangents
from rootread.measure.types import RootReading


@dataclass(frozen=True)
class DepthSlice:
    """Roots between two depths."""

    from_in: float
    to_in: float
    root_length_in: float
    descent_deg: float
    turning_deg_per_in: float
    flattened_share: float


def depth_slices(roots: Sequence[RootReading], edges_in: Sequence[float]) -> tuple[DepthSlice, ...]:
    """The roots between successive depths, such as above, in and below a layer.

    Descent is read on the way down. A slice without roots has NaN for its means.
    """
    if not roots:
        return ()
    depth = np.concatenate([root.trace.points[:, 1] for root in roots])
    step = np.concatenate([np.full(len(r.trace.points), r.length_in / len(r.trace.points)) for r in roots])
    descent = np.concatenate([root.descent_down_deg for root in roots])
    turned = np.concatenate([_turned_at(root) for root in roots])
    flat = np.concatenate([root.flattened for root in roots])
    slices = []
    for top, bottom in pairwise(edges_in):
        here = (depth >= top) & (depth < bottom)
        length = float(step[here].sum())
        slices.append(
            DepthSlice(
                top,
                bottom,
                length,
                _mean(descent[here]),
                float(turned[here].sum()) / length if length else float("nan"),
                _mean(flat[here].astype(float)),
            )
        )
    return tuple(slices)


def _mean(values: NDArray[np.float64]) -> float:
    return float(values.mean()) if len(values) else float("nan")


def _turned_at(root: RootReading) -> NDArray[np.float64]:
    """``(N,)`` degrees by which the one-inch tangent turns at each point."""
    points = root.trace.points
    vectors = tangents(points, root.length_in / (len(points) - 1), 1.0)
    direction = np.unwrap(np.arctan2(vectors[:, 1], vectors[:, 0]))
    return np.abs(np.degrees(np.diff(direction, prepend=direction[0])))
