"""Count alternating, evenly spaced steps of tone along a line: the band edges of a staff.

Glare makes light bands wider and dark ones narrower, all by the same, so the
steps from dark to light are counted first, two bands apart; those from light
to dark must lie between them.
"""

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from rootread.plane.sightings import Floats
from rootread.plane.strips import EvenMarks, fit_even_marks

MIN_EDGES = 6
# Steps smaller than this share of the tall ones are noise.
LEAST_STEP_SHARE = 0.2
# Two periods following each other differ by perspective, by less than this; from the place that all give
# by less than the second.
NEXT_TOLERANCE = 0.12
FIT_TOLERANCE = 0.08
# A step down lies within this part of a period of the middle between two steps up.
MIDDLE_TOLERANCE = 0.16
MAX_MISSED = 2
# A count starts from two steps up with at most this many others between them ...
SEED_NEIGHBOURS = 4
# ... and so many of the nine steps around them in place; one start of each spacing, as a logarithm.
MIN_SEED_SCORE = 5
SPACING_APART = 0.15
MAX_SEEDS = 6
# Of steps at least this tall, against the counted ones, no more than this share may lie between these.
TALL_SHARE = 0.5
MAX_EXTRA_SHARE = 0.5


def count_steps(profile: Floats, sigma_px: float, band_px: tuple[float, float]) -> EvenMarks | None:
    """The longest count of even steps along a profile of tone.

    Steps up are even counts, steps down odd ones; places are corrected for
    glare. None where there are too few, or others as tall lie between them.

    Parameters
    ----------
    profile : ``(S,)`` tone.
    sigma_px : of the smoothing before steps are looked for.
    band_px : least and greatest length of a band.
    """
    places, heights = find_steps(profile, sigma_px)
    best: tuple[NDArray[np.int64], Floats] | None = None
    up, down = places[heights > 0], places[heights < 0]
    for first, period in _seeds(up, down, band_px):
        counted = _follow(up, down, first, period)
        if best is None or len(counted[0]) > len(best[0]):
            best = counted
    if best is None or len(best[0]) < MIN_EDGES:
        return None
    marks = _without_glare(*best)
    for _ in range(2):
        found = _recount(marks, up, down)
        if len(found[0]) < MIN_EDGES:
            return None
        marks = _without_glare(*found)
    return None if _has_more_between(found[1], places, heights) else marks


def find_steps(profile: Floats, sigma_px: float) -> tuple[Floats, Floats]:
    """Where a profile steps up or down, and by how much, signed."""
    slope = gaussian_filter1d(profile, sigma_px, order=1, mode="nearest") * sigma_px * np.sqrt(2 * np.pi)
    size = np.abs(slope)
    peak = np.flatnonzero((size[1:-1] >= size[:-2]) & (size[1:-1] > size[2:])) + 1
    if len(peak) == 0:
        return np.zeros(0), np.zeros(0)
    peak = peak[size[peak] > LEAST_STEP_SHARE * np.percentile(size[peak], 95)]
    # The vertex of the parabola through the three values around the peak.
    before, here, after = size[peak - 1], size[peak], size[peak + 1]
    shift = 0.5 * (before - after) / np.minimum(before - 2 * here + after, -1e-9)
    return peak + shift, slope[peak]


def _seeds(up: Floats, down: Floats, band_px: tuple[float, float]) -> list[tuple[float, float]]:
    """Steps up, with the distance to the next, that have further steps where a staff would have them."""
    first, second = np.triu_indices(len(up), 1)
    period = up[second] - up[first]
    fits = (period >= 2 * band_px[0]) & (period <= 2 * band_px[1]) & (second - first <= SEED_NEIGHBOURS)
    first, second, period = first[fits], second[fits], period[fits]
    if len(first) == 0 or len(down) == 0:
        return []
    score = np.zeros(len(first))
    for step in (-2, -1, 2, 3):
        tolerance = (NEXT_TOLERANCE / 2 + 0.03 * abs(step)) * period
        score += _nearest(up, up[first] + step * period) < tolerance
    for half in (-1.5, -0.5, 0.5, 1.5, 2.5):
        score += _nearest(down, up[first] + half * period) < (MIDDLE_TOLERANCE + 0.03 * abs(half)) * period
    order = np.argsort(-score, kind="stable")
    order = order[score[order] >= MIN_SEED_SCORE]
    _, one_each = np.unique(np.round(np.log(period[order]) / SPACING_APART), return_index=True)
    return [(float(up[first[n]]), float(period[n])) for n in order[np.sort(one_each)[:MAX_SEEDS]]]


def _nearest(places: Floats, wanted: Floats) -> Floats:
    """Distance from each wanted place to the nearest of ``places``, which rise."""
    at = np.searchsorted(places, wanted)
    before, after = places[np.clip(at - 1, 0, len(places) - 1)], places[np.clip(at, 0, len(places) - 1)]
    return np.minimum(np.abs(wanted - before), np.abs(wanted - after))


def _follow(up: Floats, down: Floats, start: float, period: float) -> tuple[NDArray[np.int64], Floats]:
    """Follow steps up from one, to both sides; counts and places of these and of the steps between."""
    counted = {0: start}
    for direction in (1, -1):
        at, gap, count, missed = start, period, 0, 0
        while missed <= MAX_MISSED:
            count += direction
            expected = at + direction * gap * (missed + 1)
            if not up[0] - gap < expected < up[-1] + gap:
                break
            hit = float(up[np.argmin(np.abs(up - expected))])
            if abs(hit - expected) < NEXT_TOLERANCE * gap:
                gap = 0.5 * gap + 0.5 * abs(hit - at) / (missed + 1)
                at, missed = hit, 0
                counted[2 * count] = hit
            else:
                missed += 1
    k = np.array(sorted(counted))
    s = np.array([counted[count] for count in k])
    odd = np.arange(k[0] - 1, k[-1] + 2, 2)
    middles = np.interp(odd, k, s)
    # Beyond the last step up on each side, half a period further.
    middles[0], middles[-1] = s[0] - (middles[1] - s[0]), s[-1] + (s[-1] - middles[-2])
    periods = np.gradient(middles) if len(middles) > 1 else np.array([period])
    return _with_hits(k, s, odd, middles, MIDDLE_TOLERANCE * np.abs(periods), down)


def _with_hits(
    k: NDArray[np.int64],
    s: Floats,
    more_k: NDArray[np.int64],
    expected: Floats,
    tolerance: Floats,
    places: Floats,
) -> tuple[NDArray[np.int64], Floats]:
    """Counts with those added whose expected place has a step near it, in order."""
    hit = places[np.abs(places[None, :] - expected[:, None]).argmin(axis=1)]
    near = np.abs(hit - expected) < tolerance
    k, s = np.concatenate([k, more_k[near]]), np.concatenate([s, hit[near]])
    order = np.argsort(k)
    return k[order], s[order]


def _without_glare(k: NDArray[np.int64], s: Floats) -> EvenMarks:
    """The map through steps up and down, each moved to where it would be without glare."""
    marks = fit_even_marks(k, s)
    off = s - marks.at(k)
    up = k % 2 == 0
    if not up.any() or up.all():
        return marks
    late = 0.5 * (np.median(off[~up]) - np.median(off[up]))
    return fit_even_marks(k, s + np.where(up, late, -late))


def _recount(marks: EvenMarks, up: Floats, down: Floats) -> tuple[NDArray[np.int64], Floats]:
    """All steps near where the map puts them, over the longest stretch without a large hole."""
    counts = np.arange(marks.k.min() - 4, marks.k.max() + 5)
    counts = counts[1.0 + marks.c * counts > 0.2]
    k, s = np.zeros(0, dtype=np.int64), np.zeros(0)
    for rest, places in ((0, up), (1, down)):
        chosen = counts[counts % 2 == rest]
        # Glare is still in the places: it moves steps by less than a tenth of a band or the count is lost.
        tolerance = 2 * FIT_TOLERANCE * marks.spacing(chosen)
        k, s = _with_hits(k, s, chosen, marks.at(chosen), tolerance, places)
    cuts = np.flatnonzero(np.diff(k) > 2 * MAX_MISSED) + 1
    longest = max(np.split(np.arange(len(k)), cuts), key=len)
    return k[longest], s[longest]


def _has_more_between(counted: Floats, places: Floats, heights: Floats) -> bool:
    """Whether steps as tall as those counted lie between them: then every third one was counted, say."""
    inside = (places > counted.min()) & (places < counted.max())
    is_counted = np.isin(places, counted)
    tall = np.abs(heights) > TALL_SHARE * np.median(np.abs(heights[is_counted]))
    return bool(np.sum(inside & tall & ~is_counted) > MAX_EXTRA_SHARE * len(counted))
