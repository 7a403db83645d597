"""A ruled bar (staff or tape) located as a plane: its even marks and its sides.

Object coordinates: x across in half widths, -1 on the left side and 1 on the
right; z along in inches, 0 at the middle of the marks that were found.
"""

from dataclasses import dataclass, field
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from rootread.geometry import Points
from rootread.plane.camera import (
    CameraBelief,
    CameraFit,
    Sightings,
    fit_camera,
    plane_to_photo,
    pose_from_homography,
)
from rootread.plane.edges import crossings, dips, profiles_across, straight_edge
from rootread.plane.strips import EvenMarks, Strip

PLACES_A_MARK = 14
# How far to both sides of a mark it is looked for, in spacings.
REACH_SHARE = 0.32
MIN_REACH_PX = 2.0
# Sides only place the bar sideways: bars have thickness, shadow and dust along their sides.
SIDE_SE_PX = 3.0
MIN_MARKS = 6


@dataclass(frozen=True)
class RuledObject:
    """What the marks are and how far apart."""

    mark: Literal["step", "tick"]
    spacing_in: float
    across: tuple[float, float] = (-0.8, 0.8)
    """Part of the width, in half widths, that every mark spans."""
    reach_of: dict[int, tuple[float, float]] = field(default_factory=dict)
    """The same for single marks that span more than that, by their count."""


def locate_ruled(
    light: NDArray[np.float32], strip: Strip, marks: EvenMarks, ruled: RuledObject, belief: CameraBelief
) -> tuple[CameraFit, Points] | None:
    """Fit the plane of a bar; the fit and the outline in photo pixels, None when it does not hold up."""
    middle = 0.5 * (marks.k.min() + marks.k.max())
    all_k = np.arange(marks.k.min(), marks.k.max() + 1)
    all_k = all_k[:: max(len(all_k) // 40, 1)]
    z = (all_k - middle) * ruled.spacing_in
    s = marks.at(all_k)
    sides_px = np.concatenate([strip.to_photo(np.full(len(s), u), s) for u in (0.0, 1.0)])
    sides_in = np.concatenate([np.column_stack([np.full(len(z), x), z]) for x in (-1.0, 1.0)])
    matrix, _ = cv2.findHomography(sides_in, sides_px)
    if matrix is None:
        return None
    start = pose_from_homography(matrix, belief, width_free=True)
    directions = np.diff(strip.to_photo(np.array([0.5, 0.5]), np.array([0.0, 1.0])), axis=0)[0]
    normal = np.array([-directions[1], directions[0]]) / np.hypot(*directions)
    count = len(sides_in)
    sides = Sightings(
        sides_in,
        sides_px,
        np.tile(normal, (count, 1)),
        np.full(count, SIDE_SE_PX * np.sqrt(count / 2.0)),
        np.zeros(count, dtype=bool),
    )
    along = Sightings(
        sides_in,
        sides_px,
        np.tile(directions / np.hypot(*directions), (count, 1)),
        np.full(count, 2.0),
        sides.printed,
    )
    fit = fit_camera(Sightings.joined([sides, along]), start, belief, width_free=True)
    for _ in range(2):
        lines = _find_marks(light, fit, marks, middle, ruled)
        if len(lines) < 2 * MIN_MARKS:
            return None
        fit = fit_camera(Sightings.joined([sides, lines]), fit.values, belief, width_free=True)
    half_length = 0.5 * float(np.ptp(marks.k)) * ruled.spacing_in
    half_width = fit.half_width_in
    corners = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1.0]]) * [half_width, half_length]
    return fit, plane_to_photo(fit, corners)


def _find_marks(
    light: NDArray[np.float32], fit: CameraFit, marks: EvenMarks, middle: float, ruled: RuledObject
) -> Sightings:
    """Two places on every mark that is found where the fit puts it."""
    half_width = fit.half_width_in
    parts = []
    for k in range(int(marks.k.min()), int(marks.k.max()) + 1):
        z = (k - middle) * ruled.spacing_in
        x = np.linspace(*ruled.reach_of.get(k, ruled.across), PLACES_A_MARK)
        places_in = np.column_stack([x * half_width, np.full(PLACES_A_MARK, z)])
        places_px = plane_to_photo(fit, places_in)
        next_px = plane_to_photo(fit, places_in + [0.0, ruled.spacing_in])
        spacing_px = float(np.hypot(*(next_px - places_px).T).mean())
        tangent = places_px[-1] - places_px[0]
        length_px = float(np.hypot(*tangent))
        normal = np.array([-tangent[1], tangent[0]]) / length_px
        normal = normal * np.sign(normal @ (next_px - places_px).mean(axis=0))
        reach = max(REACH_SHARE * spacing_px, MIN_REACH_PX)
        tones, offsets = profiles_across(
            light, places_px, np.tile(normal, (PLACES_A_MARK, 1)), reach, length_px / (PLACES_A_MARK - 1)
        )
        if ruled.mark == "step":
            rising = bool(np.median(tones[:, -3:]) > np.median(tones[:, :3]))
            where, contrast = crossings(tones, offsets, np.full(PLACES_A_MARK, rising))
        else:
            rising = True
            where, contrast = dips(tones, offsets)
        share = np.linspace(-1.0, 1.0, PLACES_A_MARK)
        line = straight_edge(share, np.where(contrast > 0.3 * np.median(contrast), where, np.nan))
        if line is None:
            continue
        (centre, slope), se, _ = line
        at = np.array([-0.7, 0.7])
        chosen = np.column_stack([np.interp(at, share, x), np.full(2, z)])
        chosen_px = plane_to_photo(fit, chosen * [half_width, 1.0]) + (centre + slope * at)[:, None] * normal
        # Normals point from dark to light across a step.
        to_light = normal if rising else -normal
        parts.append(
            Sightings(
                chosen,
                chosen_px,
                np.tile(to_light, (2, 1)),
                np.full(2, max(se, 0.05)),
                np.full(2, ruled.mark == "step"),
            )
        )
    if not parts:
        return Sightings(
            np.zeros((0, 2)), np.zeros((0, 2)), np.zeros((0, 2)), np.zeros(0), np.zeros(0, dtype=bool)
        )
    return Sightings.joined(parts)
