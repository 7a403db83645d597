"""The camera that sees a wall: a pinhole, one radial lens term, and the plane's pose.

Object coordinates are inches on the scale object's front, x right and z down;
in the camera's own axes x is right, y down and z forward. Photo coordinates
are pixels, column and row.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from rootread.geometry import Points, apply_homography
from rootread.plane.sightings import NO_GLARE, Floats, Sightings
from rootread.plane.types import Lens

# Phone main cameras have a 35 mm equivalent of 23-28 mm, so f is 0.53-0.65 of the picture's
# diagonal; people also use the wider or longer lens, or another camera at 35 mm (0.81).
USUAL_FOCAL_PER_DIAGONAL = 0.66
USUAL_FOCAL_LOG_SE = 0.22
# EXIF's 35 mm equivalent is a whole number of millimetres and ignores crops for stabilising.
EXIF_FOCAL_LOG_SE = 0.04
PROFILE_FOCAL_LOG_SE = 0.003
# Phones correct their lens; what remains seldom moves the corner by more than 2 %.
USUAL_K1_SE = 0.03
# Nobody photographs a wall from further aside than this.
MAX_TILT_DEG = 50.0

# The order of the numbers that describe a camera before a plane. The shift is x and y in inches and
# z over the focal length, inches a pixel: a photo fixes that ratio far better than either of its parts.
# Curl is inches towards the camera per square inch from the middle, across and along.
# After them come differences of glare from the common one, a number for each group of edges.
ROTATION, SHIFT, LOG_FOCAL, K1, LOG_HALF_WIDTH, CURL, GLARE = (
    slice(0, 3),
    slice(3, 6),
    6,
    7,
    8,
    slice(9, 11),
    11,
)
COUNT = 12


@dataclass(frozen=True)
class CameraBelief:
    """What is known about the camera before the scale object is looked at."""

    focal_px: float
    focal_log_se: float
    centre_px: tuple[float, float]
    k1_se: float
    known: Lens | None = None
    """A calibrated lens; photo points are undistorted with it first."""

    @classmethod
    def of_photo(
        cls, size_px: tuple[int, int], exif_focal_px: float | None, profile: Lens | None = None
    ) -> "CameraBelief":
        """From a profile, else from EXIF, else from what phones have."""
        centre = ((size_px[0] - 1) / 2.0, (size_px[1] - 1) / 2.0)
        if profile is not None:
            return cls(profile.fx, PROFILE_FOCAL_LOG_SE, (profile.cx, profile.cy), 0.0, profile)
        if exif_focal_px is not None:
            return cls(exif_focal_px, EXIF_FOCAL_LOG_SE, centre, USUAL_K1_SE)
        usual = USUAL_FOCAL_PER_DIAGONAL * float(np.hypot(*size_px))
        return cls(usual, USUAL_FOCAL_LOG_SE, centre, USUAL_K1_SE)


@dataclass(frozen=True, eq=False)
class CameraFit:
    """A camera and plane fitted to a scale object, with the covariance of everything fitted."""

    values: Floats
    """``(12 + G,)`` rotation vector, shift, log focal px, k1, log half width in, curl, glare px."""
    covariance: Floats
    """``(12 + G, 12 + G)``."""
    belief: CameraBelief
    used: Sightings
    residual_px: float
    """Root mean square distance of the used places from the fit, along their normals."""
    dropped: int
    """Places left out as not on the object."""
    misfit: float
    """Sum of squares of what was seen and believed, each in units of its expected error."""

    @property
    def homography(self) -> Floats:
        """``(3, 3)`` object inches to undistorted photo pixels."""
        return plane_homography(self.values, self.belief)

    @property
    def lens(self) -> Lens | None:
        """The lens to undistort with; None when there is no distortion."""
        return _lens(self.values, self.belief)

    @property
    def rotation(self) -> Floats:
        """``(3, 3)`` object axes to camera axes; its last column is the plane's normal."""
        return np.asarray(cv2.Rodrigues(self.values[ROTATION])[0])

    @property
    def shift_in(self) -> Floats:
        """``(3,)`` the object's origin in camera axes, inches."""
        return shift_of(self.values)

    def glare_px(self, chosen: NDArray[np.int64]) -> Floats:
        """How far glare pushed chosen used places against their normals; 0 where there is none."""
        group = self.used.glare_group[chosen]
        differences = np.append(self.values[COUNT:], 0.0)
        return np.where(group == NO_GLARE, 0.0, self.values[GLARE] + differences[group])

    @property
    def half_width_in(self) -> float:
        """Fitted half width of an object whose width was not known."""
        return float(np.exp(self.values[LOG_HALF_WIDTH]))

    @property
    def distance_in(self) -> float:
        """From the camera to the plane along the plane's normal."""
        return float(abs(self.rotation[:, 2] @ self.shift_in))

    @property
    def tilt_deg(self) -> float:
        """Camera axis against the plane's normal."""
        return float(np.degrees(np.arccos(min(abs(self.rotation[2, 2]), 1.0))))

    @property
    def tilt_se_deg(self) -> float:
        """Standard error of the plane's direction: of its normal, across the camera's axis."""
        x_se = self.standard_error(lambda values: float(_normal(values)[0]))
        y_se = self.standard_error(lambda values: float(_normal(values)[1]))
        return math.degrees(math.hypot(x_se, y_se))

    @property
    def sound(self) -> bool:
        """Whether this is a wall before a camera at all: finite, in front, not seen edge on."""
        return bool(
            np.all(np.isfinite(self.values))
            and np.all(np.isfinite(self.covariance))
            and self.shift_in[2] > 0
            and self.tilt_deg < MAX_TILT_DEG
        )

    def to_plane(self, points_px: Points, values: Floats | None = None) -> Points:
        """Photo pixels as taken to object inches, also for other ``values`` than the fitted ones."""
        values = self.values if values is None else values
        lens = _lens(values, self.belief)
        if lens is not None:
            points_px = lens.undistort(points_px)
        return apply_homography(np.linalg.inv(plane_homography(values, self.belief)), points_px)

    def to_photo(self, points_in: Points) -> Points:
        """Object inches, ``(..., 2)``, to photo pixels as taken."""
        points = apply_homography(self.homography, points_in)
        lens = self.lens
        return (points if lens is None else lens.distort(points)).reshape(np.shape(points_in))

    def standard_error(self, figure: Callable[[Floats], float]) -> float:
        """Standard error of ``figure(values)`` by the delta method: sqrt(g' C g)."""
        steps: Floats = np.sqrt(np.maximum(np.diag(self.covariance), 0.0))
        slopes = np.zeros(len(self.values))
        for k in np.flatnonzero(steps[:COUNT] > 0):
            ahead, behind = self.values.copy(), self.values.copy()
            ahead[k] += 0.5 * steps[k]
            behind[k] -= 0.5 * steps[k]
            slopes[k] = (figure(ahead) - figure(behind)) / steps[k]
        return math.sqrt(max(float(slopes @ self.covariance @ slopes), 0.0))


def _lens(values: Floats, belief: CameraBelief) -> Lens | None:
    if belief.known is not None:
        return belief.known
    if values[K1] == 0.0:
        return None
    focal = float(np.exp(values[LOG_FOCAL]))
    return Lens(focal, focal, *belief.centre_px, k1=float(values[K1]))


def _normal(values: Floats) -> Floats:
    """``(3,)`` the plane's normal in camera axes."""
    return np.asarray(cv2.Rodrigues(values[ROTATION])[0])[:, 2]


def shift_of(values: Floats) -> Floats:
    """``(3,)`` the object's origin in camera axes, inches."""
    x, y, z_over_focal = values[SHIFT]
    return np.array([x, y, z_over_focal * np.exp(values[LOG_FOCAL])])


def plane_homography(values: Floats, belief: CameraBelief) -> Floats:
    """K [r1 r2 t]: the columns of the rotation that span the plane, and the shift."""
    rotation, _ = cv2.Rodrigues(values[ROTATION])
    focal = float(np.exp(values[LOG_FOCAL]))
    matrix = np.array([[focal, 0, belief.centre_px[0]], [0, focal, belief.centre_px[1]], [0, 0, 1.0]])
    if belief.known is not None:
        matrix = belief.known.matrix
    return np.asarray(matrix @ np.column_stack([rotation[:, 0], rotation[:, 1], shift_of(values)]))


def project(values: Floats, object_in: Points, belief: CameraBelief) -> Points:
    """Object places, x in half widths, to photo pixels (undistorted ones where the lens is known)."""
    stretched = object_in * [np.exp(values[LOG_HALF_WIDTH]), 1.0]
    rotation, _ = cv2.Rodrigues(values[ROTATION])
    in_camera = stretched @ rotation[:, :2].T + shift_of(values)
    if np.any(values[CURL]):
        # Towards the camera by the square of the distance from the middle, across and along.
        in_camera = in_camera - (object_in**2 @ values[CURL])[:, None] * rotation[:, 2]
    ray = in_camera[:, :2] / np.maximum(in_camera[:, 2:], 1e-6)
    if belief.known is not None:
        return ray * [belief.known.fx, belief.known.fy] + [belief.known.cx, belief.known.cy]
    ray = ray * (1.0 + values[K1] * np.sum(ray**2, axis=1, keepdims=True))
    return ray * np.exp(values[LOG_FOCAL]) + belief.centre_px


def pose_from_homography(matrix: Floats, belief: CameraBelief, width_free: bool = False) -> Floats:
    """Starting values from any ``(3, 3)`` homography, object inches to photo pixels.

    With ``width_free`` the first column's length says how wide the object is.
    """
    centre_x, centre_y = belief.centre_px
    camera = np.array([[belief.focal_px, 0, centre_x], [0, belief.focal_px, centre_y], [0, 0, 1.0]])
    columns = np.linalg.inv(camera) @ matrix
    columns = columns / np.linalg.norm(columns[:, 1])
    if columns[2, 2] < 0:
        columns = -columns
    half_width = float(np.linalg.norm(columns[:, 0])) if width_free else 1.0
    right, down = columns[:, 0] / np.linalg.norm(columns[:, 0]), columns[:, 1]
    # The nearest pair of unit vectors at right angles.
    left, _, right_t = np.linalg.svd(np.column_stack([right, down, np.cross(right, down)]))
    rotation = left @ np.diag([1, 1, np.linalg.det(left @ right_t)]) @ right_t
    values = np.zeros(COUNT)
    values[ROTATION] = cv2.Rodrigues(rotation)[0].ravel()
    values[LOG_FOCAL] = np.log(belief.focal_px)
    values[SHIFT] = columns[:, 2] / [1.0, 1.0, belief.focal_px]
    values[LOG_HALF_WIDTH] = np.log(half_width)
    return values
