"""Camera and wall plane together, fitted to what was located on a scale object.

The wall is a plane seen by a pinhole camera with one radial lens term. A scale
object gives places whose inches on that plane are known; the pose of the plane
is fitted to them by least squares, with what is known beforehand about focal
length and lens as further observations. The covariance of that fit is where
every stated uncertainty of scale and angle comes from.

Object coordinates are inches on the scale object's front, x right and z down.
Photo coordinates are pixels, column and row.
"""

from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from rootread.geometry import Points, apply_homography
from rootread.plane.types import Lens

Floats = NDArray[np.float64]

# Phone main cameras have a 35 mm equivalent of 23-28 mm, so f is 0.53-0.65 of the
# picture's diagonal; compact cameras reach a little further on both sides.
USUAL_FOCAL_PER_DIAGONAL = 0.60
USUAL_FOCAL_LOG_SE = 0.10
# EXIF's 35 mm equivalent is a whole number of millimetres and ignores crops for stabilising.
EXIF_FOCAL_LOG_SE = 0.04
# Phones correct their lens; what remains seldom moves the corner by more than 2 %.
USUAL_K1_SE = 0.02
# Nothing is located better than this, whatever the residuals say (pixel grid, JPEG).
LOCATING_FLOOR_PX = 0.03
# A place further from the fit than this many robust standard deviations is not on the object.
OUTLIER_SIGMAS = 4.0
MAX_ROUNDS = 4
MAX_STEPS = 40
SETTLED = 0.01
# Residuals beyond this many expected errors count by their size, not their square.
HUBER = 2.0


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
            return cls(profile.fx, 1e-3, (profile.cx, profile.cy), 0.0, profile)
        if exif_focal_px is not None:
            return cls(exif_focal_px, EXIF_FOCAL_LOG_SE, centre, USUAL_K1_SE)
        usual = USUAL_FOCAL_PER_DIAGONAL * float(np.hypot(*size_px))
        return cls(usual, USUAL_FOCAL_LOG_SE, centre, USUAL_K1_SE)


@dataclass(frozen=True, eq=False)
class Sightings:
    """Places on a scale object found in the photo, each known in one direction.

    A place on an edge is known only across the edge, so it counts along its
    unit ``normal``; a corner is two sightings with two normals.
    """

    object_in: Points
    """``(N, 2)``; for an object of unknown width, x is in half widths."""
    photo_px: Points
    """``(N, 2)``."""
    normal: Points
    """``(N, 2)`` unit vectors in the photo; across a printed edge they point from dark to light."""
    se_px: Floats
    """``(N,)`` expected error along the normal, relative to each other."""
    printed: NDArray[np.bool_]
    """``(N,)`` True on an edge from dark to light, which glare and tone curves push towards the dark."""

    def __len__(self) -> int:
        """How many there are."""
        return len(self.object_in)

    def keep(self, chosen: NDArray[np.bool_]) -> "Sightings":
        """The chosen ones."""
        return Sightings(
            self.object_in[chosen],
            self.photo_px[chosen],
            self.normal[chosen],
            self.se_px[chosen],
            self.printed[chosen],
        )

    @classmethod
    def of_points(cls, object_in: Points, photo_px: Points, se_px: float) -> "Sightings":
        """Places known in both directions."""
        count = len(object_in)
        return cls(
            np.repeat(np.asarray(object_in, dtype=float), 2, axis=0),
            np.repeat(np.asarray(photo_px, dtype=float), 2, axis=0),
            np.tile(np.eye(2), (count, 1)),
            np.full(2 * count, se_px),
            np.zeros(2 * count, dtype=bool),
        )

    @classmethod
    def on_lines(
        cls, object_in: Points, photo_px: Points, normal: Points, se_px: Floats, printed: bool
    ) -> "Sightings":
        """Two places each on ``E`` straight edges: ``(E, 2, 2)`` places, ``(E, 2)`` normals, ``(E,)`` errors."""
        return cls(
            object_in.reshape(-1, 2),
            photo_px.reshape(-1, 2),
            np.repeat(normal, 2, axis=0),
            np.repeat(se_px, 2),
            np.full(2 * len(normal), printed),
        )

    @classmethod
    def joined(cls, parts: "list[Sightings]") -> "Sightings":
        """Several lists as one."""
        return cls(
            np.concatenate([part.object_in for part in parts]),
            np.concatenate([part.photo_px for part in parts]),
            np.concatenate([part.normal for part in parts]),
            np.concatenate([part.se_px for part in parts]),
            np.concatenate([part.printed for part in parts]),
        )


# The order of the fitted numbers.
ROTATION, SHIFT, LOG_FOCAL, K1, LOG_HALF_WIDTH, BOW, GLARE = slice(0, 3), slice(3, 6), 6, 7, 8, 9, 10
COUNT = 11
# Bright tones spread over dark ones by some tenths of a pixel (glare, sharpening, tone curve),
# so every printed edge lies that much to the dark side; the same all over one object.
GLARE_SE_PX = 0.4


@dataclass(frozen=True, eq=False)
class CameraFit:
    """The fitted camera and plane, with the covariance of everything fitted."""

    values: Floats
    """``(11,)`` rotation vector, shift in inches, log focal px, k1, log half width, bow in inches, glare px."""
    covariance: Floats
    """``(11, 11)``."""
    belief: CameraBelief
    used: Sightings
    residual_px: float
    """Root mean square distance of the used places from the fit, along their normals."""
    dropped: int
    """Places left out as not on the object."""

    @property
    def homography(self) -> Floats:
        """``(3, 3)`` object inches to undistorted photo pixels."""
        return plane_homography(self.values, self.belief)

    @property
    def lens(self) -> Lens | None:
        """The lens to undistort with; None when no distortion is supported by the data."""
        if self.belief.known is not None:
            return self.belief.known
        k1 = float(self.values[K1])
        if k1 == 0.0:
            return None
        focal = float(np.exp(self.values[LOG_FOCAL]))
        return Lens(focal, focal, *self.belief.centre_px, k1=k1)

    @property
    def half_width_in(self) -> float:
        """Fitted half width of an object whose width was not known."""
        return float(np.exp(self.values[LOG_HALF_WIDTH]))

    @property
    def distance_in(self) -> float:
        """From the camera to the plane along the plane's normal."""
        rotation, _ = cv2.Rodrigues(self.values[ROTATION])
        return float(abs(rotation[:, 2] @ self.values[SHIFT]))

    @property
    def tilt_deg(self) -> float:
        """Camera axis against the plane's normal."""
        rotation, _ = cv2.Rodrigues(self.values[ROTATION])
        return float(np.degrees(np.arccos(min(abs(rotation[2, 2]), 1.0))))

    def photo_to_plane(self, points_px: Points, values: Floats | None = None) -> Points:
        """Photo pixels as taken to object inches, also for other ``values`` than the fitted ones."""
        values = self.values if values is None else values
        if self.belief.known is not None:
            points_px = self.belief.known.undistort(points_px)
        elif values[K1] != 0.0:
            focal = float(np.exp(values[LOG_FOCAL]))
            points_px = Lens(focal, focal, *self.belief.centre_px, k1=float(values[K1])).undistort(points_px)
        return apply_homography(np.linalg.inv(plane_homography(values, self.belief)), points_px)

    def standard_error(self, figure: Callable[[Floats], float]) -> float:
        """Standard error of ``figure(values)`` by the delta method: sqrt(g' C g)."""
        steps = np.sqrt(np.maximum(np.diag(self.covariance), 0.0))
        slopes = np.zeros(COUNT)
        for k in np.flatnonzero(steps > 0):
            ahead, behind = self.values.copy(), self.values.copy()
            ahead[k] += 0.5 * steps[k]
            behind[k] -= 0.5 * steps[k]
            slopes[k] = (figure(ahead) - figure(behind)) / steps[k]
        return float(np.sqrt(max(slopes @ self.covariance @ slopes, 0.0)))


def plane_to_photo(fit: CameraFit, points_in: Points) -> Points:
    """Object inches to photo pixels as taken."""
    points = apply_homography(fit.homography, points_in)
    return points if fit.lens is None else fit.lens.distort(points)


def plane_homography(values: Floats, belief: CameraBelief) -> Floats:
    """K [r1 r2 t]: the columns of the rotation that span the plane, and the shift."""
    rotation, _ = cv2.Rodrigues(values[ROTATION])
    focal = np.exp(values[LOG_FOCAL])
    matrix = np.array([[focal, 0, belief.centre_px[0]], [0, focal, belief.centre_px[1]], [0, 0, 1.0]])
    if belief.known is not None:
        matrix = belief.known.matrix
    return matrix @ np.column_stack([rotation[:, 0], rotation[:, 1], values[SHIFT]])


def project(values: Floats, object_in: Points, belief: CameraBelief, half_length_in: float) -> Points:
    """Object inches to photo pixels (undistorted ones where the lens is known beforehand)."""
    x = object_in[:, 0] * np.exp(values[LOG_HALF_WIDTH])
    z = object_in[:, 1]
    if values[BOW] != 0.0:
        # A bar that is not quite straight: a parabola, 0 at its ends.
        x = x + values[BOW] * (1.0 - (z / half_length_in) ** 2)
    rotation, _ = cv2.Rodrigues(values[ROTATION])
    in_camera = np.column_stack([x, z]) @ rotation[:, :2].T + values[SHIFT]
    ray = in_camera[:, :2] / np.maximum(in_camera[:, 2:], 1e-6)
    ray = ray * (1.0 + values[K1] * np.sum(ray**2, axis=1, keepdims=True))
    if belief.known is not None:
        return ray * [belief.known.fx, belief.known.fy] + [belief.known.cx, belief.known.cy]
    return ray * np.exp(values[LOG_FOCAL]) + belief.centre_px


def pose_from_homography(matrix: Floats, belief: CameraBelief, width_free: bool) -> Floats:
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
    values[SHIFT] = columns[:, 2]
    values[LOG_FOCAL] = np.log(belief.focal_px)
    values[LOG_HALF_WIDTH] = np.log(half_width)
    return values


def fit_camera(
    sightings: Sightings,
    start: Floats,
    belief: CameraBelief,
    *,
    width_free: bool = False,
    bow_se_in: float = 0.0,
    tilt_se_deg: float | None = None,
    least_spread: float = LOCATING_FLOOR_PX,
) -> CameraFit:
    """Least squares over pose, focal length and one radial term, outliers dropped.

    Parameters
    ----------
    sightings : what was located.
    start : ``(11,)`` starting values, as from ``pose_from_homography``.
    belief : what is known of the camera; acts as observations of focal length and k1.
    width_free : the object's width is fitted too (staff, tape).
    bow_se_in : how far from straight the object may be over its length; 0 for a card.
    tilt_se_deg : how square to the wall the camera is believed to be, where the object cannot tell.
    least_spread : least error of a sighting in units of its stated one, whatever the residuals say.
    """
    if belief.known is not None:
        sightings = Sightings(
            sightings.object_in,
            belief.known.undistort(sightings.photo_px),
            sightings.normal,
            sightings.se_px,
            sightings.printed,
        )
    free = np.zeros(COUNT, dtype=bool)
    free[[0, 1, 2, 3, 4, 5]] = True
    free[LOG_FOCAL] = belief.known is None
    free[K1] = belief.k1_se > 0
    free[LOG_HALF_WIDTH] = width_free
    free[BOW] = bow_se_in > 0
    free[GLARE] = bool(sightings.printed.any())

    problem = _Problem(free, belief, bow_se_in, tilt_se_deg)

    used = np.ones(len(sightings), dtype=bool)
    values = start.copy()
    spread = 1.0
    for _ in range(MAX_ROUNDS):
        values = _solve(sightings.keep(used), values, problem, spread)
        off = _off(values, sightings, belief)
        spread = max(_spread(off[used], int(free.sum())), least_spread)
        close = np.abs(off) <= OUTLIER_SIGMAS * max(_robust_spread(off[used]), spread * 0.5)
        if np.array_equal(close, used):
            break
        used = close
    kept = sightings.keep(used)
    jacobian = _jacobian(values, kept, problem, spread)
    covariance = np.zeros((COUNT, COUNT))
    covariance[np.ix_(free, free)] = np.linalg.pinv(jacobian.T @ jacobian)
    off_px = _off(values, kept, belief) * kept.se_px
    return CameraFit(values, covariance, belief, kept, float(np.sqrt(np.mean(off_px**2))), int((~used).sum()))


def _off(values: Floats, sightings: Sightings, belief: CameraBelief) -> Floats:
    """Distance of each place from the fit along its normal, in units of its expected error."""
    half_length = max(float(np.abs(sightings.object_in[:, 1]).max()), 1e-6)
    seen = project(values, sightings.object_in, belief, half_length)
    off_px = np.sum((seen - sightings.photo_px) * sightings.normal, axis=1)
    return (off_px - values[GLARE] * sightings.printed) / sightings.se_px


@dataclass(frozen=True, eq=False)
class _Problem:
    """What is fitted, and what is believed beforehand."""

    free: NDArray[np.bool_]
    belief: CameraBelief
    bow_se_in: float
    tilt_se_deg: float | None


def _beliefs(values: Floats, problem: _Problem) -> Floats:
    free, belief, bow_se_in = problem.free, problem.belief, problem.bow_se_in
    terms = []
    if problem.tilt_se_deg is not None:
        rotation, _ = cv2.Rodrigues(values[ROTATION])
        terms.extend(rotation[:2, 2] / np.sin(np.radians(problem.tilt_se_deg)))
    if free[LOG_FOCAL]:
        terms.append((values[LOG_FOCAL] - np.log(belief.focal_px)) / belief.focal_log_se)
    if free[K1]:
        terms.append(values[K1] / belief.k1_se)
    if free[BOW]:
        terms.append(values[BOW] / bow_se_in)
    if free[GLARE]:
        terms.append(values[GLARE] / GLARE_SE_PX)
    return np.array(terms)


def _solve(sightings: Sightings, start: Floats, problem: _Problem, spread: float) -> Floats:
    """Levenberg-Marquardt with Huber's weights, so that a few misplaced sightings do not pull."""
    values = start.copy()
    damping = 1e-3
    off = _residuals(values, sightings, problem, spread)
    weight = _huber(off, len(sightings))
    for _ in range(MAX_STEPS):
        jacobian = _jacobian(values, sightings, problem, spread)
        normal = jacobian.T @ (weight[:, None] * jacobian)
        slope = jacobian.T @ (weight * off)
        step = np.linalg.solve(normal + damping * np.diag(np.diag(normal)), -slope)
        ahead = values.copy()
        ahead[problem.free] += step
        off_ahead = _residuals(ahead, sightings, problem, spread)
        if np.sum(weight * off_ahead**2) <= np.sum(weight * off**2):
            # In units of each number's own standard error, the last step no longer matters.
            settled = float(step @ normal @ step) < SETTLED**2
            values, off = ahead, off_ahead
            weight = _huber(off, len(sightings))
            damping = max(damping * 0.1, 1e-9)
            if settled:
                break
        else:
            damping *= 10.0
            if damping > 1e6:
                break
    return values


def _residuals(values: Floats, sightings: Sightings, problem: _Problem, spread: float) -> Floats:
    """Sightings and beliefs, each in units of its expected error."""
    off = _off(values, sightings, problem.belief) / spread
    return np.concatenate([off, _beliefs(values, problem)])


def _huber(off: Floats, sightings: int) -> Floats:
    """Weights that turn squares into absolute values beyond ``HUBER``; beliefs keep theirs."""
    weight = np.minimum(1.0, HUBER / np.maximum(np.abs(off), 1e-12))
    weight[sightings:] = 1.0
    return weight


def _jacobian(values: Floats, sightings: Sightings, problem: _Problem, spread: float) -> Floats:
    """Slopes of the residuals by central differences."""
    columns = []
    for k in np.flatnonzero(problem.free):
        step = 1e-5 * max(1.0, abs(values[k]))
        ahead, behind = values.copy(), values.copy()
        ahead[k] += step
        behind[k] -= step
        difference = _residuals(ahead, sightings, problem, spread)
        difference = difference - _residuals(behind, sightings, problem, spread)
        columns.append(difference / (2 * step))
    return np.column_stack(columns)


def _spread(off: Floats, fitted: int) -> float:
    """How much larger the residuals are than expected."""
    return float(np.sqrt(np.sum(off**2) / max(len(off) - fitted, 1)))


def _robust_spread(off: Floats) -> float:
    return 1.4826 * float(np.median(np.abs(off - np.median(off))))
