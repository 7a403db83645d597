"""A ruled bar (staff or tape) located as a plane: its even marks and its sides.

Object coordinates: x across in half widths, -1 on the left side and 1 on the
right; z along in inches, 0 at the middle of the marks that were found.
"""

from dataclasses import dataclass, field, replace
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import label, uniform_filter1d

from rootread.geometry import Points
from rootread.plane.adjust import fit_camera, residuals_px
from rootread.plane.camera import LOG_HALF_WIDTH, SHIFT, CameraBelief, CameraFit, pose_from_homography
from rootread.plane.edges import LINE_ENDS, PRINT_SE_PX, crossings, dips, read_profiles, straight_lines
from rootread.plane.sightings import NO_GLARE, Floats, Sightings
from rootread.plane.strips import EvenMarks, Strip

PLACES_A_MARK = 14
# How far to both sides of a mark it is looked for, in spacings: of even ticks, a whole wave of them.
REACH_SHARE = {"step": 0.32, "tick": 0.5}
MIN_REACH_PX = {"step": 2.0, "tick": 0.0}
# Sides place the bar sideways and tell its direction, no more: they have thickness, shadow and dust.
SIDE_SE_PX = 3.0
SIDE_SE_SHARE = 0.08
SIDE_UNSEEN_SE_SHARE = 0.3
SIDE_PLACES = 9
# Where along the bar its sides are asked. Thickness and shadow go along a side and seem to move it, but in
# parallel: it still tells where the bar leads, and the right angle to its marks then tells the focal length
# of a camera that stands both aside and above or below.
SIDE_SHARES = (0.1, 0.5, 0.9)
MIN_MARKS = 6
# Most marks of a rule lie within this share of their spacing, or so many pixels, of their places.
MAX_OFF_SHARE = 0.03
MAX_OFF_PX = 0.5
MOST = 80.0
LOCATING_ROUNDS = 3
# Light and dust change little over so many bands.
BANDS_ALIKE = 6
# Further marks lie this near to where the known ones put them, in spacings; most of a stretch of so many.
NEAR_SHARE = 0.1
RUN = 8
RUN_SHARE = 0.6
# People stand square to the wall to within about this, to either side and up or down.
USUAL_TILT_SE_DEG = {"step": 25.0, "tick": 12.0}
# The edges of one staff err alike, for its thickness and the light along its sides, so that many of
# them are worth less than as many independent ones.
ALIKE = {"step": 1.5, "tick": 1.0}
# A mark is good when seen over this share of its length, with this share of the usual contrast.
GOOD_SHARE = 0.7
GOOD_CONTRAST = 0.4


@dataclass(frozen=True)
class RuledObject:
    """What the marks are and how far apart."""

    mark: Literal["step", "tick"]
    spacing_in: float
    across: tuple[float, float] = (-0.8, 0.8)
    """Part of the width, in half widths, that every mark spans."""
    reach_of: dict[int, tuple[float, float]] = field(default_factory=dict)
    """The same for single marks that span more than that, by their count."""


@dataclass(frozen=True, eq=False)
class RuledFit:
    """A ruled bar, located."""

    fit: CameraFit
    counts: NDArray[np.int64]
    """``(K,)`` of the marks that were found as lines across it, in order."""
    middle: float
    """The count at the object's origin."""
    sides_followed: int
    """How many of the bar's two sides were seen along it."""
    outline_px: Points

    @property
    def found(self) -> int:
        """How many marks were found."""
        return len(self.counts)

    @property
    def first(self) -> int:
        """Count of the first of them."""
        return int(self.counts[0])

    @property
    def last(self) -> int:
        """Count of the last."""
        return int(self.counts[-1])

    @property
    def share(self) -> float:
        """Share of the marks from first to last that were found."""
        return self.found / (self.last - self.first + 1)

    def larger(self, times: float) -> "RuledFit":
        """The same photo of a bar so many times as large, seen from as many times as far."""
        values = self.fit.values.copy()
        values[SHIFT] *= times
        values[LOG_HALF_WIDTH] += np.log(times)
        return replace(self, fit=replace(self.fit, values=values))


def locate_ruled(
    light: NDArray[np.float32],
    strip: Strip,
    marks: EvenMarks,
    ruled: RuledObject,
    belief: CameraBelief,
    known: RuledFit | None = None,
) -> RuledFit | None:
    """Fit the plane of a bar; None when its marks do not hold up as lines across it.

    ``known`` is what fewer of its marks gave; more are looked for where that puts them.
    """
    first, last = int(marks.k.min()), int(marks.k.max())
    middle = 0.5 * (first + last) if known is None else known.middle
    if known is None:
        sides_in, sides_px = _sides(strip, marks, (first, last), middle, ruled)
        matrix, _ = cv2.findHomography(sides_in, sides_px)
        if matrix is None:
            return None
        rough = Sightings.of_points(sides_in, sides_px, SIDE_SE_PX)
        start = pose_from_homography(matrix, belief, width_free=True)
        fit = _fit(rough, start, belief, ruled)
    else:
        fit = known.fit
    for _ in range(LOCATING_ROUNDS):
        if not fit.sound:
            return None
        lines = _find_marks(light, fit, np.arange(first, last + 1), middle, ruled)
        good = np.flatnonzero(lines.good if known is None else lines.in_runs)
        if len(good) < MIN_MARKS:
            return None
        # Texture beyond the bar's end may have been counted as further marks.
        first, last = int(lines.k[good[0]]), int(lines.k[good[-1]])
        within = (lines.k >= first) & (lines.k <= last)
        seen = lines.sightings.keep(np.repeat(within[lines.found], 2))
        sides = _sides(strip, marks, (first, last), middle, ruled)
        placed = _side_places(*sides, strip.followed)
        fit = _fit(Sightings.joined([placed, seen]), fit.values, belief, ruled)
    allowed_px = max(MAX_OFF_SHARE * float(np.median(lines.spacing_px[within])), MAX_OFF_PX)
    # Most marks, though not each and every one: a root or a clod may lie along one.
    if not fit.sound or np.percentile(np.abs(residuals_px(fit, seen)), MOST) > allowed_px:
        return None
    z0, z1 = (np.array([first, last]) - middle) * ruled.spacing_in
    x = fit.half_width_in
    outline_px = fit.to_photo(np.array([[-x, z0], [x, z0], [x, z1], [-x, z1]]))
    return RuledFit(fit, lines.k[within & lines.found], middle, sum(strip.followed), outline_px)


def _fit(sightings: Sightings, start: Floats, belief: CameraBelief, ruled: RuledObject) -> CameraFit:
    """A bar tells little of the tilt where few of its marks are seen; there, people stand nearly square."""
    return fit_camera(sightings, start, belief, width_free=True, tilt_se_deg=USUAL_TILT_SE_DEG[ruled.mark])


def _sides(
    strip: Strip, marks: EvenMarks, ends: tuple[int, int], middle: float, ruled: RuledObject
) -> tuple[Points, Points]:
    """Places along both sides from mark to mark, left side first: half widths and inches, and photo."""
    some_k = np.linspace(*ends, SIDE_PLACES)
    z = (some_k - middle) * ruled.spacing_in
    s = marks.at(some_k)
    sides_in = np.concatenate([np.column_stack([np.full(len(z), x), z]) for x in (-1.0, 1.0)])
    sides_px = np.concatenate([strip.to_photo(np.full(len(s), u), s) for u in (0.0, 1.0)])
    return sides_in, sides_px


def _side_places(sides_in: Points, sides_px: Points, followed: tuple[bool, bool]) -> Sightings:
    """Places on both sides at ``SIDE_SHARES`` of the way along, known across the bar.

    They place it sideways, and say how wide it is and where it leads.
    """
    along = [round(part * (SIDE_PLACES - 1)) for part in SIDE_SHARES]
    chosen = along + [SIDE_PLACES + place for place in along]
    way = sides_px[SIDE_PLACES - 1] - sides_px[0]
    across = np.array([-way[1], way[0]]) / np.hypot(*way)
    width_px = float(np.abs((sides_px[SIDE_PLACES] - sides_px[0]) @ across))
    se_px = np.where(followed, max(SIDE_SE_PX, SIDE_SE_SHARE * width_px), SIDE_UNSEEN_SE_SHARE * width_px)
    return Sightings(
        sides_in[chosen],
        sides_px[chosen],
        np.tile(across, (len(chosen), 1)),
        np.repeat(se_px, len(along)),
        np.full(len(chosen), NO_GLARE),
    )


@dataclass(frozen=True, eq=False)
class _Marks:
    """Marks looked for as lines across the bar."""

    k: NDArray[np.int64]
    found: NDArray[np.bool_]
    good: NDArray[np.bool_]
    """Seen over most of their length, as clearly as the others, and so are their neighbours."""
    in_runs: NDArray[np.bool_]
    """Clearly seen where the fit puts them, as most of their neighbours are for a stretch."""
    spacing_px: Floats
    """To the next mark."""
    sightings: Sightings
    """Two for each found one."""


def _find_marks(
    light: NDArray[np.float32], fit: CameraFit, k: NDArray[np.int64], middle: float, ruled: RuledObject
) -> _Marks:
    """Each of the marks ``k`` where the fit puts it."""
    stretch = np.array([fit.half_width_in, 1.0])
    z = (k - middle) * ruled.spacing_in
    spans = np.array([ruled.reach_of.get(int(count), ruled.across) for count in k])
    share = np.linspace(0.0, 1.0, PLACES_A_MARK)
    x = spans[:, :1] + share[None, :] * (spans[:, 1:] - spans[:, :1])
    places = np.stack([x, np.broadcast_to(z[:, None], x.shape)], axis=-1)
    places_px = fit.to_photo(places * stretch)
    next_px = fit.to_photo(places * stretch + np.array([0.0, ruled.spacing_in]))
    spacing_px = np.hypot(*np.moveaxis(next_px - places_px, -1, 0)).mean(axis=1)
    tangent = places_px[:, -1] - places_px[:, 0]
    normals = np.column_stack([-tangent[:, 1], tangent[:, 0]]) / np.hypot(*tangent.T)[:, None]
    normals = normals * np.sign(np.sum(normals * (next_px - places_px).mean(axis=1), axis=1))[:, None]
    reach_px = np.maximum(REACH_SHARE[ruled.mark] * spacing_px, MIN_REACH_PX[ruled.mark])
    profiles = read_profiles(light, places_px, normals, reach_px)
    if ruled.mark == "step":
        end = max(profiles.tones.shape[-1] // 4, 2)
        # Places outside the photo have no tone and do not vote.
        rise = np.median(profiles.tones[..., -end:], axis=2) - np.median(profiles.tones[..., :end], axis=2)
        rising = np.sum(np.sign(np.nan_to_num(rise)), axis=1) > 0
        where, contrast = crossings(profiles, rising)
        # Normals of sightings point from dark to light.
        to_light = np.where(rising, 1.0, -1.0)
    else:
        where, contrast = dips(profiles)
        to_light = np.ones(len(k))
    lines = straight_lines(where, contrast)
    found = np.flatnonzero(lines.found)
    # Along a mark from -1 to 1, as the line is given.
    x_ends = x.mean(axis=1)[found, None] + LINE_ENDS * (x[found, -1:] - x[found, :1]) / 2
    chosen = np.stack([x_ends, np.broadcast_to(z[found, None], x_ends.shape)], axis=-1)
    offsets = lines.middle_px[found, None] + lines.slope_px[found, None] * LINE_ENDS
    chosen_px = fit.to_photo(chosen * stretch)
    chosen_px = chosen_px + offsets[..., None] * normals[found, None]
    sightings = Sightings.on_lines(
        chosen,
        chosen_px,
        normals[found] * to_light[found, None],
        ALIKE[ruled.mark] * np.hypot(lines.se_px[found], PRINT_SE_PX),
        found // BANDS_ALIKE if ruled.mark == "step" else np.full(len(found), NO_GLARE),
    )
    sightings = sightings if ruled.mark == "step" else sightings.turned_alike()
    # Relative to the brighter tone, so that a shadow does not change it.
    brightest = np.nan_to_num(profiles.tones.max(axis=-1), nan=1.0)
    relative = np.median(contrast / np.maximum(brightest, 1e-3), axis=1)
    good = lines.found & (lines.share >= GOOD_SHARE)
    good &= relative >= GOOD_CONTRAST * np.median(relative[lines.found]) if len(found) else False
    near = lines.found & (
        np.abs(np.nan_to_num(lines.middle_px)) <= np.maximum(NEAR_SHARE * spacing_px, MAX_OFF_PX)
    )
    return _Marks(k, lines.found, _with_neighbour(good), _in_runs(near), spacing_px, sightings)


def _in_runs(near: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Those in stretches of ``RUN`` and more where most are; specks in soil beyond the bar's end are not."""
    most = uniform_filter1d(near.astype(float), RUN - 1, mode="constant") >= RUN_SHARE
    pieces, count = label(most)
    long_enough = [piece for piece in range(1, count + 1) if np.sum(pieces == piece) >= RUN]
    return np.asarray(near & np.isin(pieces, long_enough))


def _with_neighbour(good: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Those whose neighbour on one side, or the one after it, is good too."""
    padded = np.pad(good, 2)
    beside = padded[1:-3] | padded[3:-1] | padded[:-4] | padded[4:]
    return good & beside
