"""Least squares adjustment: the camera and plane that fit what was located on a scale object.

What is believed beforehand of focal length, lens and glare enters as further
observations. The covariance of the adjustment is where every stated
uncertainty of scale and angle comes from.
"""

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from rootread.plane.camera import (
    COUNT,
    CURL,
    GLARE,
    K1,
    LOG_FOCAL,
    LOG_HALF_WIDTH,
    ROTATION,
    CameraBelief,
    CameraFit,
    project,
)
from rootread.plane.sightings import NO_GLARE, Floats, Sightings

# Bright tones spread over dark ones by some tenths of a pixel (glare, clipping, tone curve),
# so every printed edge lies that much to the dark side; nearly the same all over one object.
GLARE_SE_PX = 0.5
GLARE_DIFFERENCE_SE_PX = 0.12
# A place further from the fit than this many robust standard deviations is not on the object.
OUTLIER_SIGMAS = 4.0
MAX_ROUNDS = 4
MAX_STEPS = 60
# What is fitted no longer matters when it is nearer to the best than this, in standard errors.
SETTLED = 0.03
# Residuals beyond this many expected errors count by their size, not their square.
HUBER = 2.0
LONGEST_STEP = 0.3
TINY = 1e-12
# What a photo shows of tilt, bend and lens is their share of the focal length, or its square: a camera twice
# as far with twice the focal length shows the same for twice the tilt. So they keep that share in a step.
GROWS_AS_FOCAL = np.zeros(COUNT)
GROWS_AS_FOCAL[[0, 1, *range(CURL.start, CURL.stop), K1]] = (1.0, 1.0, 1.0, 1.0, 2.0)


@dataclass(frozen=True, eq=False)
class _Problem:
    """What is fitted, and what is believed beforehand."""

    free: NDArray[np.bool_]
    belief: CameraBelief
    tilt_se_deg: float | None
    curl_se: Floats


def fit_camera(
    sightings: Sightings,
    start: Floats,
    belief: CameraBelief,
    *,
    width_free: bool = False,
    tilt_se_deg: float | None = None,
    curl_se: Floats | None = None,
) -> CameraFit:
    """Least squares over pose, focal length, one radial term and glare, outliers dropped.

    Parameters
    ----------
    sightings : what was located.
    start : ``(12,)`` or more starting values, as from ``pose_from_homography``.
    belief : what is known of the camera; acts as observations of focal length and k1.
    width_free : the object's width is fitted too (staff, tape).
    curl_se : how far the object bends towards the camera, inches per square inch from its middle, across
        and along; None for one that does not.
    tilt_se_deg : how square to the wall the camera is believed to be, where the object cannot tell.
    """
    as_taken = sightings
    sightings = _undistorted(sightings, belief)
    groups = int(sightings.glare_group.max()) + 1
    values = np.concatenate([start[:COUNT], np.zeros(groups)])
    free = np.zeros(len(values), dtype=bool)
    free[:6] = True
    free[LOG_FOCAL] = belief.known is None
    free[K1] = belief.k1_se > 0
    free[LOG_HALF_WIDTH] = width_free
    free[CURL] = curl_se is not None
    free[GLARE:] = groups > 0
    problem = _Problem(free, belief, tilt_se_deg, np.ones(2) if curl_se is None else curl_se)

    used = np.ones(len(sightings), dtype=bool)
    spread = 1.0
    for _ in range(MAX_ROUNDS):
        values = _solve(sightings.keep(used), values, problem, spread)
        off = _off(values, sightings, belief)
        spread = max(_robust_spread(off[used]), 1.0)
        close = np.abs(off) <= OUTLIER_SIGMAS * spread
        if np.array_equal(close, used):
            break
        used = close
    kept = sightings.keep(used)
    off = _off(values, kept, belief)
    # The stated errors are the least there are (pixel grid, JPEG, print); residuals may show larger ones.
    spread = max(float(np.sqrt(np.sum(off**2) / max(len(off) - free.sum(), 1))), 1.0)
    jacobian = _jacobian(values, kept, problem, spread, _glare_slopes(values, kept, problem, spread))
    covariance = np.zeros((len(values), len(values)))
    covariance[np.ix_(free, free)] = np.linalg.pinv(jacobian.T @ jacobian)
    residual_px = float(np.sqrt(np.mean((off * kept.se_px) ** 2)))
    dropped = int((~used).sum())
    # A place left out counts as one that just is not.
    everything = _residuals(values, kept, problem, 1.0)
    misfit = float(np.sum(_huber(everything, len(kept)) * everything**2)) + dropped * OUTLIER_SIGMAS**2
    return CameraFit(values, covariance, belief, as_taken.keep(used), residual_px, dropped, misfit)


def residuals_px(fit: CameraFit, sightings: Sightings) -> Floats:
    """``(N,)`` distance of each place from a fit along its normal, in pixels."""
    return _off(fit.values, _undistorted(sightings, fit.belief), fit.belief) * sightings.se_px


def _undistorted(sightings: Sightings, belief: CameraBelief) -> Sightings:
    """Sightings as a lens without distortion would have them, where the lens is known."""
    if belief.known is None:
        return sightings
    return replace(sightings, photo_px=belief.known.undistort(sightings.photo_px))


def _off(values: Floats, sightings: Sightings, belief: CameraBelief) -> Floats:
    """Distance of each place from the fit along its normal, in units of its expected error."""
    seen = project(values, sightings.object_in, belief)
    off_px = np.sum((seen - sightings.photo_px) * sightings.normal, axis=1)
    group = sightings.glare_group
    differences = np.append(values[COUNT:], 0.0)
    glare = np.where(group == NO_GLARE, 0.0, values[GLARE] + differences[group])
    return (off_px - glare) / sightings.se_px


def _beliefs(values: Floats, problem: _Problem) -> Floats:
    """What is believed beforehand, as differences in units of its expected error."""
    free, belief = problem.free, problem.belief
    terms = list(values[COUNT:] / GLARE_DIFFERENCE_SE_PX)
    if free[GLARE]:
        terms.append(values[GLARE] / GLARE_SE_PX)
    if free[LOG_FOCAL]:
        terms.append((values[LOG_FOCAL] - np.log(belief.focal_px)) / belief.focal_log_se)
    if free[K1]:
        terms.append(values[K1] / belief.k1_se)
    if free[CURL].any():
        terms.extend(values[CURL] / problem.curl_se)
    if problem.tilt_se_deg is not None:
        rotation, _ = cv2.Rodrigues(values[ROTATION])
        terms.extend(rotation[:2, 2] / np.sin(np.radians(problem.tilt_se_deg)))
    return np.array(terms)


def _residuals(values: Floats, sightings: Sightings, problem: _Problem, spread: float) -> Floats:
    """Sightings and beliefs, each in units of its expected error."""
    return np.concatenate([_off(values, sightings, problem.belief) / spread, _beliefs(values, problem)])


def _solve(sightings: Sightings, start: Floats, problem: _Problem, spread: float) -> Floats:
    """Levenberg-Marquardt with Huber's weights, so that a few misplaced sightings do not pull."""
    values = start.copy()
    damping = 1e-3
    off = _residuals(values, sightings, problem, spread)
    weight = _huber(off, len(sightings))
    of_glare = _glare_slopes(values, sightings, problem, spread)
    for _ in range(MAX_STEPS):
        jacobian = _jacobian(values, sightings, problem, spread, of_glare)
        jacobian = jacobian @ _keeping_shares(values)[np.ix_(problem.free, problem.free)]
        normal = jacobian.T @ (weight[:, None] * jacobian)
        slope = jacobian.T @ (weight * off)
        least = TINY * np.trace(normal) * np.eye(len(normal))
        # How far the best is by the slopes here, and not how far the damped step goes.
        if float(slope @ np.linalg.solve(normal + least, slope)) < SETTLED**2:
            break
        step = np.linalg.solve(normal + damping * np.diag(np.diag(normal)) + least, -slope)
        # Rotations and logarithms never move far at once, so that no step leaves the plane behind the camera.
        step = step * min(1.0, LONGEST_STEP / max(float(np.abs(step[_near_one(problem)]).max()), 1e-12))
        ahead = _moved(values, step, problem.free)
        off_ahead = _residuals(ahead, sightings, problem, spread)
        # Anything not finite compares as no better.
        if np.sum(weight * off_ahead**2) <= np.sum(weight * off**2):
            values, off = ahead, off_ahead
            weight = _huber(off, len(sightings))
            damping = max(damping * 0.1, 1e-9)
        else:
            damping *= 10.0
            if damping > 1e6:
                break
    return values


def _keeping_shares(values: Floats) -> Floats:
    """``(P, P)`` slopes of the values along a step that keeps their share of the focal length."""
    slopes = np.eye(len(values))
    slopes[:COUNT, LOG_FOCAL] += GROWS_AS_FOCAL * values[:COUNT]
    return slopes


def _moved(values: Floats, step: Floats, free: NDArray[np.bool_]) -> Floats:
    """The values after such a step."""
    ahead = values.copy()
    ahead[free] += step
    ahead[:COUNT] *= np.exp(GROWS_AS_FOCAL * (ahead[LOG_FOCAL] - values[LOG_FOCAL]))
    return ahead


def _near_one(problem: _Problem) -> NDArray[np.bool_]:
    """Which of the fitted numbers are angles or logarithms."""
    chosen = np.zeros(len(problem.free), dtype=bool)
    chosen[ROTATION] = True
    chosen[[LOG_FOCAL, LOG_HALF_WIDTH]] = True
    return chosen[problem.free]


def _huber(off: Floats, sightings: int) -> Floats:
    """Weights that turn squares into absolute values beyond ``HUBER``; beliefs keep theirs."""
    weight = np.minimum(1.0, HUBER / np.maximum(np.abs(off), 1e-12))
    weight[sightings:] = 1.0
    return weight


def _jacobian(
    values: Floats, sightings: Sightings, problem: _Problem, spread: float, of_glare: Floats
) -> Floats:
    """Slopes of the residuals at these values: of what is not glare by forward differences."""
    steps = 1e-6 * np.maximum(1.0, np.abs(values[:GLARE]))
    return np.column_stack([_slopes(values, steps, sightings, problem, spread), of_glare])


def _glare_slopes(values: Floats, sightings: Sightings, problem: _Problem, spread: float) -> Floats:
    """Slopes along the glares, of which residuals are linear: the same at all values."""
    steps = np.concatenate([np.zeros(GLARE), np.ones(len(values) - GLARE)])
    return _slopes(values, steps, sightings, problem, spread)


def _slopes(values: Floats, steps: Floats, sightings: Sightings, problem: _Problem, spread: float) -> Floats:
    """Differences of the residuals over a step of each free number that has one."""
    here = _residuals(values, sightings, problem, spread)
    chosen = [k for k in np.flatnonzero(steps) if problem.free[k]]
    ahead = [values + steps[k] * (np.arange(len(values)) == k) for k in chosen]
    columns = [
        (_residuals(at, sightings, problem, spread) - here) / steps[k]
        for k, at in zip(chosen, ahead, strict=True)
    ]
    return np.column_stack(columns) if columns else np.zeros((len(here), 0))


def _robust_spread(off: Floats) -> float:
    return 1.4826 * float(np.median(np.abs(off - np.median(off))))
