"""What the plane stage hands on: where the wall is in the photo, and the wall laid flat.

Wall coordinates are inches: x to the right of the scale object's centre, z
straight down from the mean level of the soil surface. Photo coordinates are
pixels, column and row, pixel centres at whole numbers.
"""

from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from rootread.geometry import Points, apply_homography

ScaleKind = Literal["card", "staff", "tape", "points"]
LevelSource = Literal["card", "staff", "photo", "surface", "marks"]


@dataclass(frozen=True)
class Lens:
    """OpenCV's radial-tangential camera model; lengths in pixels."""

    fx: float
    fy: float
    cx: float
    cy: float
    k1: float = 0.0
    k2: float = 0.0
    p1: float = 0.0
    p2: float = 0.0
    k3: float = 0.0

    @property
    def matrix(self) -> NDArray[np.float64]:
        """``(3, 3)`` camera matrix."""
        return np.array([[self.fx, 0, self.cx], [0, self.fy, self.cy], [0, 0, 1.0]])

    @property
    def coefficients(self) -> NDArray[np.float64]:
        """``(5,)`` distortion coefficients k1, k2, p1, p2, k3."""
        return np.array([self.k1, self.k2, self.p1, self.p2, self.k3])

    def undistort(self, points_px: ArrayLike) -> Points:
        """Photo pixels, as taken, to undistorted pixels."""
        points = np.asarray(points_px, dtype=float).reshape(-1, 1, 2)
        if len(points) == 0:
            return points.reshape(0, 2)
        return cv2.undistortPoints(points, self.matrix, self.coefficients, P=self.matrix).reshape(-1, 2)

    def distort(self, points_px: ArrayLike) -> Points:
        """Undistorted pixels to photo pixels as taken."""
        points = np.asarray(points_px, dtype=float).reshape(-1, 2)
        if len(points) == 0:
            return points
        rays = np.column_stack([(points - [self.cx, self.cy]) / [self.fx, self.fy], np.ones(len(points))])
        photo, _ = cv2.projectPoints(
            rays.reshape(-1, 1, 3), np.zeros(3), np.zeros(3), self.matrix, self.coefficients
        )
        return photo.reshape(-1, 2)


@dataclass(frozen=True, eq=False)
class ScaleFinding:
    """The scale object as it was found in the photo."""

    kind: ScaleKind
    px_per_in: float
    """Photo pixels per wall inch at the scale object's centre."""
    px_per_in_se: float
    outlines_px: tuple[Points, ...]
    """Outlines of everything that belongs to a scale object, photo pixels; no roots are sought there."""
    points_in: Points
    """``(K, 2)`` places on the object that were located, object inches from its centre, z down."""
    points_px: Points
    """``(K, 2)`` the same places in the photo."""
    residual_px: float
    """Root mean square distance between found and fitted places."""
    fitted_px: Points | None = None
    """``(K, 2)`` where the fitted plane puts them: across its edge, for a place on an edge."""


@dataclass(frozen=True)
class Level:
    """Where the direction of gravity came from, and how sure it is."""

    source: LevelSource
    se_deg: float


@dataclass(frozen=True, eq=False)
class Surface:
    """The soil surface line in the wall plane."""

    line_in: Points
    """``(N, 2)`` x and z inches, x rising."""
    se_in: float
    source: Literal["photo", "marks", "assumed"]


@dataclass(frozen=True, eq=False)
class WallPlane:
    """Where the wall lies in the photo."""

    to_photo: NDArray[np.float64]
    """``(3, 3)`` homography, wall inches (x, z) to undistorted photo pixels."""
    lens: Lens | None
    scale: ScaleFinding
    level: Level
    surface: Surface
    tilt_deg: float
    """Camera axis against the square view of the wall; NaN where the scale object cannot tell."""
    tilt_se_deg: float = float("nan")
    """Standard error of the wall's direction as seen from the camera."""
    cautions: tuple[str, ...] = ()

    def to_photo_px(self, points_in: ArrayLike) -> Points:
        """Wall inches to photo pixels as taken."""
        points = apply_homography(self.to_photo, points_in)
        return points if self.lens is None else self.lens.distort(points)

    def to_wall_in(self, points_px: ArrayLike) -> Points:
        """Photo pixels as taken to wall inches."""
        points = np.asarray(points_px, dtype=float).reshape(-1, 2)
        if self.lens is not None:
            points = self.lens.undistort(points)
        return apply_homography(np.linalg.inv(self.to_photo), points)


@dataclass(frozen=True)
class Grid:
    """The working pixels of a wall laid flat: square, level, of known size."""

    px_per_in: float
    x0_in: float
    """x of the centre of column 0."""
    z0_in: float
    """z of the centre of row 0."""
    shape: tuple[int, int]
    """Rows and columns."""

    def to_in(self, points_px: ArrayLike) -> Points:
        """Grid (column, row) to wall inches (x, z)."""
        return np.asarray(points_px, dtype=float).reshape(-1, 2) / self.px_per_in + [self.x0_in, self.z0_in]

    def to_px(self, points_in: ArrayLike) -> Points:
        """Wall inches (x, z) to grid (column, row)."""
        return (np.asarray(points_in, dtype=float).reshape(-1, 2) - [self.x0_in, self.z0_in]) * self.px_per_in


@dataclass(frozen=True, eq=False)
class WallImage:
    """The photo resampled into the wall plane, once."""

    rgb: NDArray[np.uint8]
    """``(M, N, 3)`` sRGB."""
    soil: NDArray[np.bool_]
    """``(M, N)`` True where roots may be: inside the photo, below the surface, off the scale object."""
    grid: Grid

    @property
    def deepest_in(self) -> float | None:
        """Depth of the deepest soil in the photo, below the mean surface; None where there is none."""
        rows = np.flatnonzero(self.soil.any(axis=1))
        return float(self.grid.z0_in + rows[-1] / self.grid.px_per_in) if len(rows) else None

    @property
    def across_in(self) -> tuple[float, float] | None:
        """x of the leftmost and the rightmost soil in the photo; None where there is none."""
        columns = np.flatnonzero(self.soil.any(axis=0))
        if not len(columns):
            return None
        left, right = self.grid.x0_in + columns[[0, -1]] / self.grid.px_per_in
        return float(left), float(right)
