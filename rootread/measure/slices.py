"""The roots of a wall between depths, such as above, in and below a layer."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from rootread.measure.direction import tangents
from rootread.measure.types import RootReading
from rootread.measure.waviness import Waviness, swing

FEWEST_CROSSINGS = 4
"""Of roots over their own course within a slice: two waves, to tell their length."""


@dataclass(frozen=True)
class DepthSlice:
    """Roots between two depths."""

    from_in: float
    to_in: float
    root_length_in: float
    descent_deg: float
    turning_deg_per_in: float
    flattened_share: float
    waves: Waviness
    """Of the roots between the depths; NaN where none is long enough to have a course."""


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
    off = np.concatenate([swing(r.trace.points, r.length_in / (len(r.trace.points) - 1)) for r in roots])
    sign = np.sign(off)
    # NaN parts one root from the next, so that no crossing is counted between them
    crossed = np.concatenate([[False], np.abs(np.diff(sign)) > 0])
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
                _waves(off[here], int(crossed[here].sum()), step[here]),
            )
        )
    return tuple(slices)


def _waves(off: NDArray[np.float64], crossings: int, step_in: NDArray[np.float64]) -> Waviness:
    """As for one root: amplitude sqrt(2) times the root mean square; twice the way between crossings."""
    known = np.isfinite(off)
    if not known.any():
        return Waviness(float("nan"), float("nan"))
    amplitude_in = float(np.sqrt(2.0 * np.mean(off[known] ** 2)))
    if crossings < FEWEST_CROSSINGS:
        return Waviness(float("nan"), amplitude_in)
    return Waviness(2.0 * float(step_in[known].sum()) / crossings, amplitude_in)


def _mean(values: NDArray[np.float64]) -> float:
    return float(values.mean()) if len(values) else float("nan")


def _turned_at(root: RootReading) -> NDArray[np.float64]:
    """``(N,)`` degrees by which the one-inch tangent turns at each point."""
    points = root.trace.points
    vectors = tangents(points, root.length_in / (len(points) - 1), 1.0)
    direction = np.unwrap(np.arctan2(vectors[:, 1], vectors[:, 0]))
    return np.abs(np.degrees(np.diff(direction, prepend=direction[0])))
