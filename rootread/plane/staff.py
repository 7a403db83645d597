"""The staff: dark and light bands of equal length along a straight bar.

Band edges are counted along every bar in the photo; they must alternate, keep
the one spacing that perspective allows, and part tones that really differ.
Then each edge is located as a straight line across the bar, to sub-pixel: the
places along the bar give scale and pitch, the fan of the lines gives yaw, each
as a share of the focal length; and that these lines stand at a right angle to
the bar's sides gives the focal length where there is both.
"""

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from rootread.plane.bands import MIN_EDGES, count_steps
from rootread.plane.camera import CameraBelief
from rootread.plane.ruled import RuledFit, RuledObject, locate_ruled
from rootread.plane.sightings import Floats
from rootread.plane.strips import STRAY_LIGHT, EvenMarks, Strip, fit_even_marks
from rootread.threads import share_out

BAND_IN = 1.0
# Bands as long as this share of the bar's width are sought.
BAND_OVER_WIDTH = (0.25, 4.0)
MAX_RESIDUAL = 0.05
MIN_FOUND_SHARE = 0.6
# At least this share of the counted edges is the staff's.
LEAST_STAFF_SHARE = 0.75
# Light over dark, as a logarithm: paint differs by a factor of 3 and more, dusty bands by 1.3.
MIN_BAND_CONTRAST = 0.35
MIN_ALTERNATING = 0.85
# Parts of the width where bands are compared, and beside the bar where they must not go on with
# more than this share of the contrast.
INSIDE = (0.25, 0.75)
BESIDE = ((-0.35, -0.12), (1.12, 1.35))
MAX_BESIDE = 0.4
# Bars located to sub-pixel, of all that carry bands.
MAX_LOCATED = 3
# With this share of its edges found as lines no other bar need be looked at.
GOOD_LINES_SHARE = 0.95


def find_staff(
    light: NDArray[np.float32], strips: list[Strip], belief: CameraBelief, band_in: float = BAND_IN
) -> RuledFit | None:
    """The strip that carries most even bands, located; None where there is none.

    The same staff is often found as several bars, so the best few are located.
    """
    found = zip(strips, share_out(count_bands, strips), strict=True)
    counted = [(strip, marks) for strip, marks in found if marks is not None]
    counted.sort(key=lambda item: (-sum(item[0].followed), -len(item[1].k) * _contrast(*item)))
    best: RuledFit | None = None
    for strip, marks in counted[:MAX_LOCATED]:
        staff = locate_ruled(light, strip, marks, RuledObject("step", band_in), belief)
        if staff is None or staff.found < MIN_EDGES:
            continue
        if best is None or (staff.found, staff.sides_followed) > (best.found, best.sides_followed):
            best = staff
        if staff.share > GOOD_LINES_SHARE and staff.sides_followed == 2:
            break
    return best


def count_bands(strip: Strip) -> EvenMarks | None:
    """Count the band edges along a strip; None where there are none that hold up."""
    profile = np.log(_mean_seen(strip.columns(*INSIDE)) + STRAY_LIGHT)
    inside = np.flatnonzero(np.isfinite(profile))
    if len(inside) < 40:
        return None
    profile = profile[inside[0] : inside[-1] + 1]
    profile = np.nan_to_num(profile, nan=float(np.nanmedian(profile)))
    width = strip.bar.width_px
    band_px = (BAND_OVER_WIDTH[0] * width, BAND_OVER_WIDTH[1] * width)
    marks = count_steps(profile, max(1.5, width / 40.0), band_px)
    if marks is None:
        return None
    marks = _without_soil(marks)
    marks = EvenMarks(
        marks.a + inside[0], marks.b + marks.c * inside[0], marks.c, marks.k, marks.s + inside[0]
    )
    return marks if _is_staff(strip, marks) else None


def _without_soil(marks: EvenMarks) -> EvenMarks:
    """The marks without a few at the ends that are uneven: steps in soil that went on with the count."""
    fewest = max(MIN_EDGES, int(np.ceil(LEAST_STAFF_SHARE * len(marks.k))))
    while marks.residual > MAX_RESIDUAL and len(marks.k) > fewest:
        off = np.abs(marks.s - marks.at(marks.k)) / marks.spacing(marks.k)
        kept = slice(1, None) if off[0] > off[-1] else slice(None, -1)
        marks = fit_even_marks(marks.k[kept], marks.s[kept])
    return marks


def _mean_seen(tones: NDArray[np.float32]) -> Floats:
    """Mean of each row over what of it lies in the photo; NaN where nothing does."""
    seen = np.isfinite(tones)
    count = seen.sum(axis=1)
    total = np.where(seen, tones, 0.0).sum(axis=1)
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)


def _band_tones(strip: Strip, marks: EvenMarks, across: tuple[float, float] = INSIDE) -> Floats:
    """Median log tone of each band between the first and the last edge, over a part of the width."""
    inner = np.log(strip.columns(*across) + STRAY_LIGHT)
    edges = marks.at(np.arange(marks.k.min(), marks.k.max() + 1))
    tones = []
    for start, end in pairwise(edges):
        rows = inner[int(start + 0.25 * (end - start)) : int(np.ceil(end - 0.25 * (end - start)))]
        seen = rows[np.isfinite(rows)]
        tones.append(float(np.median(seen)) if seen.size else np.nan)
    return np.array(tones)


def _contrast(strip: Strip, marks: EvenMarks) -> float:
    """Median over bands of how much each differs from its neighbours, as a logarithm."""
    return float(np.nanmedian(np.abs(np.diff(_band_tones(strip, marks)))))


def _is_staff(strip: Strip, marks: EvenMarks) -> bool:
    """Whether counted steps hold up as the bands of a staff."""
    if len(marks.k) < MIN_EDGES or marks.residual > MAX_RESIDUAL:
        return False
    if len(marks.k) < MIN_FOUND_SHARE * (np.ptp(marks.k) + 1):
        return False
    steps = _alternating(_band_tones(strip, marks))
    contrast = np.nanmedian(steps)
    if np.sign(contrast) * contrast <= MIN_BAND_CONTRAST:
        return False
    if np.nanmean(steps * np.sign(contrast) > 0) < MIN_ALTERNATING:
        return False
    # Bands that go on beyond the sides are a chessboard, a brick wall or a fence.
    beside = [_alternating(_band_tones(strip, marks, part)) / contrast for part in BESIDE]
    goes_on = [np.isfinite(side).any() and abs(np.nanmedian(side)) > MAX_BESIDE for side in beside]
    return not all(goes_on)


def _alternating(tones: Floats) -> Floats:
    """Steps from band to band, every second one with its sign turned."""
    steps = np.diff(tones)
    return steps * (-1.0) ** np.arange(len(steps))
