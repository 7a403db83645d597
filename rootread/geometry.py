"""Plane geometry used by every stage: homographies and polylines.

Points are ``(N, 2)`` arrays; in the wall plane the columns are x and z in
inches, in a photo they are column and row in pixels, with pixel centres at
whole numbers.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

Points = NDArray[np.float64]


def apply_homography(matrix: ArrayLike, points: ArrayLike) -> Points:
    """Map ``(N, 2)`` points by a ``(3, 3)`` homography."""
    points = np.asarray(points, dtype=float).reshape(-1, 2)
    mapped = np.column_stack([points, np.ones(len(points))]) @ np.asarray(matrix, dtype=float).T
    return mapped[:, :2] / mapped[:, 2:]


def arc_length(points: ArrayLike) -> NDArray[np.float64]:
    """Distance along a polyline at each of its ``(N, 2)`` points, ``(N,)``, starting at 0.

    >>> arc_length([[0, 0], [3, 4], [3, 10]])
    array([ 0.,  5., 11.])
    """
    steps = np.diff(np.asarray(points, dtype=float), axis=0)
    return np.concatenate([[0.0], np.cumsum(np.hypot(steps[:, 0], steps[:, 1]))])


def resample_polyline(points: ArrayLike, step: float) -> tuple[Points, NDArray[np.float64]]:
    """Points every ``step`` along a polyline, its last point kept.

    Returns the ``(M, 2)`` points and the ``(M,)`` distances along the original
    at which they lie, so that anything known along the original can be
    interpolated too. Steps are equal and as near to ``step`` as that allows.
    """
    points = np.asarray(points, dtype=float)
    along = arc_length(points)
    count = max(round(along[-1] / step), 1) + 1
    at = np.linspace(0.0, along[-1], count)
    return np.column_stack([np.interp(at, along, points[:, k]) for k in (0, 1)]), at
