"""The staff: dark and light bands of equal length along a straight bar.

Band edges are counted along every bar in the photo; they must alternate, keep
the one spacing that perspective allows, and part tones that really differ.
Then each edge is located as a straight line across the bar, to sub-pixel: the
places along the bar give scale and pitch, the fan of the lines gives yaw.
"""

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from rootread.plane.camera import CameraBelief
from rootread.plane.ruled import RuledFit, RuledObject, locate_ruled
from rootread.plane.sightings import Floats
from rootread.plane.strips import STRAY_LIGHT, EvenMarks, Strip, fit_even_marks

BAND_IN = 1.0
# Bands as long as this share of the bar's width are sought.
BAND_OVER_WIDTH = (0.25, 4.0)
MIN_EDGES = 6
MAX_MISSED = 3
# A band edge may lie this far, in bands, from where the last ones put it; from where all put it.
NEXT_TOLERANCE = 0.18
FIT_TOLERANCE = 0.12
MAX_RESIDUAL = 0.05
MIN_FOUND_SHARE = 0.6
# Light over dark, as a logarithm: paint differs by a factor of 3 and more, dusty bands by 1.3.
MIN_BAND_CONTRAST = 0.35
MIN_ALTERNATING = 0.85
# Parts of the width where bands are compared, and beside the bar where they must not go on with
# more than this share of the contrast.
INSIDE = (0.25, 0.75)
BESIDE = ((-0.35, -0.12), (1.12, 1.35))
MAX_BESIDE = 0.4
# A chain starts from two steps with at most this many others between them ...
SEED_NEIGHBOURS = 6
# ... and so many of the six steps around them in place.
MIN_SEED_SCORE = 4
MAX_SEEDS = 6
# Spacings closer than this, as a logarithm, are the same.
SPACING_APART = 0.15
# Of steps at least this tall, against the counted ones, no more than this share may lie between these.
TALL_SHARE = 0.5
MAX_EXTRA_SHARE = 0.5
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
    counted = [(strip, marks) for strip in strips if (marks := count_bands(strip)) is not None]
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
    profile = np.log(strip.columns(*INSIDE).mean(axis=1) + STRAY_LIGHT)
    inside = np.flatnonzero(np.isfinite(profile))
    if len(inside) < 40:
        return None
    profile = profile[inside[0] : inside[-1] + 1]
    profile = np.nan_to_num(profile, nan=float(np.nanmedian(profile)))
    width = strip.bar.width_px
    places, heights = _steps(profile, max(1.5, width / 40.0))
    marks = _chain(places, heights, (BAND_OVER_WIDTH[0] * width, BAND_OVER_WIDTH[1] * width))
    if marks is None:
        return None
    marks = EvenMarks(
        marks.a + inside[0], marks.b + marks.c * inside[0], marks.c, marks.k, marks.s + inside[0]
    )
    return marks if _is_staff(strip, marks) else None


def _steps(profile: Floats, sigma: float) -> tuple[Floats, Floats]:
    """Where a profile steps up or down, and by how much, signed."""
    slope = gaussian_filter1d(profile, sigma, order=1, mode="nearest") * sigma * np.sqrt(2 * np.pi)
    size = np.abs(slope)
    peak = np.flatnonzero((size[1:-1] >= size[:-2]) & (size[1:-1] > size[2:])) + 1
    if len(peak) == 0:
        return np.zeros(0), np.zeros(0)
    tall = size[peak] > 0.2 * np.percentile(size[peak], 95)
    peak = peak[tall]
    # The vertex of the parabola through the three values around the peak.
    before, here, after = size[peak - 1], size[peak], size[peak + 1]
    shift = 0.5 * (before - after) / np.minimum(before - 2 * here + after, -1e-9)
    return peak + shift, slope[peak]


def _chain(places: Floats, heights: Floats, spacing_px: tuple[float, float]) -> EvenMarks | None:
    """The longest chain of alternating, evenly spaced steps."""
    best: tuple[float, NDArray[np.int64], NDArray[np.int64]] | None = None
    for i, j in _seeds(places, heights, spacing_px):
        k, chosen, missed = _follow(places, heights, i, j)
        score = len(k) - 0.7 * missed
        if best is None or score > best[0]:
            best = (score, k, chosen)
    if best is None or len(best[1]) < MIN_EDGES:
        return None
    _, k, chosen = best
    marks = fit_even_marks(k, places[chosen])
    rising_at_even = bool(heights[chosen[0]] * (-1.0) ** k[0] > 0)
    for _ in range(2):
        marks = _recount(marks, places, heights, rising_at_even)
        if len(marks.k) < MIN_EDGES:
            return None
    return None if _has_more_between(marks, places, heights) else marks


def _has_more_between(marks: EvenMarks, places: Floats, heights: Floats) -> bool:
    """Whether steps as tall as those counted lie between them: then every third one was counted, say."""
    inside = (places > marks.s.min()) & (places < marks.s.max())
    counted = np.isin(places, marks.s)
    tall = np.abs(heights) > TALL_SHARE * np.median(np.abs(heights[counted]))
    return bool(np.sum(inside & tall & ~counted) > MAX_EXTRA_SHARE * len(marks.k))


def _seeds(places: Floats, heights: Floats, spacing_px: tuple[float, float]) -> list[tuple[int, int]]:
    """Pairs of opposite steps that have further steps where a staff would have them, most first."""
    first, second = np.triu_indices(len(places), 1)
    gap = places[second] - places[first]
    fits = (
        (heights[first] * heights[second] < 0)
        & (gap >= spacing_px[0])
        & (gap <= spacing_px[1])
        & (second - first <= SEED_NEIGHBOURS)
    )
    first, second, gap = first[fits], second[fits], gap[fits]
    if len(first) == 0:
        return []
    score = np.zeros(len(first))
    signs = np.sign(heights)
    for step in (-3, -2, -1, 2, 3, 4):
        expected = places[first] + step * gap
        wanted = signs[first] * (-1.0) ** step
        nearest = np.full(len(first), np.inf)
        for sign in (-1.0, 1.0):
            of_sign = places[signs == sign]
            at = np.searchsorted(of_sign, expected)
            for neighbour in (np.clip(at - 1, 0, len(of_sign) - 1), np.clip(at, 0, len(of_sign) - 1)):
                far = np.abs(of_sign[neighbour] - expected)
                nearest = np.where((wanted == sign) & (far < nearest), far, nearest)
        score += nearest < (NEXT_TOLERANCE / 2 + 0.03 * abs(step)) * gap
    strength = np.minimum(np.abs(heights[first]), np.abs(heights[second]))
    order = np.lexsort((-strength, -score))
    order = order[score[order] >= MIN_SEED_SCORE]
    # One of each spacing, so that a staff's own is among them beside its multiples.
    _, one_each = np.unique(np.round(np.log(gap[order]) / SPACING_APART), return_index=True)
    return [(int(first[n]), int(second[n])) for n in order[np.sort(one_each)[:MAX_SEEDS]]]


def _follow(
    places: Floats, heights: Floats, i: int, j: int
) -> tuple[NDArray[np.int64], NDArray[np.int64], int]:
    """Follow a chain of steps from two neighbours, down then up; counts and indices of its steps."""
    counts, chosen, missed_all = [0, 1], [i, j], 0
    for direction in (1, -1):
        spacing = places[j] - places[i]
        k, at, last = (1, places[j], j) if direction > 0 else (0, places[i], i)
        sign_0 = np.sign(heights[i])
        missed = 0
        expected = at
        while missed <= MAX_MISSED:
            k += direction
            expected += direction * spacing
            if not -spacing < expected < places[-1] + spacing:
                break
            sign = sign_0 * (-1.0) ** k
            near = np.abs(places - expected)
            near[np.sign(heights) != sign] = np.inf
            hit = int(np.argmin(near))
            if near[hit] < NEXT_TOLERANCE * spacing and hit != last:
                gaps = missed + 1
                spacing = 0.6 * spacing + 0.4 * abs(places[hit] - at) / gaps
                expected = at = places[hit]
                counts.append(k)
                chosen.append(hit)
                last = hit
                missed_all += missed
                missed = 0
            else:
                missed += 1
    order = np.argsort(counts)
    return np.array(counts)[order], np.array(chosen)[order], missed_all


def _recount(marks: EvenMarks, places: Floats, heights: Floats, rising_at_even: bool) -> EvenMarks:
    """All steps near where the fitted map puts them, and the map fitted anew."""
    k = np.arange(marks.k.min() - 4, marks.k.max() + 5)
    k = k[1.0 + marks.c * k > 0.2]
    expected, spacing = marks.at(k), marks.spacing(k)
    found_k, found_s = [], []
    for count, at, gap in zip(k, expected, spacing, strict=True):
        near = np.abs(places - at)
        near[(heights > 0) != ((count % 2 == 0) == rising_at_even)] = np.inf
        hit = int(np.argmin(near))
        if near[hit] < FIT_TOLERANCE * gap:
            found_k.append(int(count))
            found_s.append(float(places[hit]))
    if len(found_k) < MIN_EDGES:
        return EvenMarks(marks.a, marks.b, marks.c, np.array(found_k, dtype=np.int64), np.array(found_s))
    kept_k, kept_s = _longest_run(np.array(found_k), np.array(found_s))
    return fit_even_marks(kept_k, kept_s)


def _longest_run(k: NDArray[np.int64], s: Floats) -> tuple[NDArray[np.int64], Floats]:
    """The part without a hole of more than ``MAX_MISSED`` marks."""
    cuts = np.flatnonzero(np.diff(k) > MAX_MISSED + 1) + 1
    parts = np.split(np.arange(len(k)), cuts)
    longest = max(parts, key=len)
    return k[longest], s[longest]


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
