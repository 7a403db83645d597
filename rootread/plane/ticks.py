"""Count even ticks along the sides of a straightened bar.

The period of the ticks is the frequency, under a perspective chirp, at which
the tone just inside the bar's side repeats more strongly than its neighbours.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.fft import next_fast_len, rfft
from scipy.ndimage import gaussian_filter1d, uniform_filter1d

from rootread.plane.sightings import Floats
from rootread.plane.strips import STRAY_LIGHT, EvenMarks, Strip, fit_even_marks
from rootread.threads import share_out

# Part of the width just inside a side that every tick crosses.
TICK_ZONE = (0.06, 0.19)
TICK_PX = (3.0, 48.0)
# Relative change of tick spacing from one end of the strip to the other: 25 degrees of pitch.
CHIRPS = np.linspace(-0.4, 0.4, 17)
MIN_TICKS = 24
# The repetition of real ticks is this many times stronger than what lies beside it in the spectrum;
# that of soil, roots and letters is 70 times stronger at most.
MIN_PEAK = 150.0
NO_NOISE = 1e-12
NOISE_KNOTS = 24
NOISE_BINS = 48
MIN_FOUND_SHARE = 0.6
TICK_TOLERANCE = 0.25
MAX_RESIDUAL = 0.08
# So many ticks are left out at both ends at a time, down to this share, where not all are even.
ENDS_DROPPED = 4
LEAST_EVEN_SHARE = 0.4


@dataclass(frozen=True, eq=False)
class TickRow:
    """Ticks counted along one side of a bar."""

    strip: Strip
    marks: EvenMarks
    side: Literal["left", "right"]
    score: float


def find_ticks(strips: list[Strip]) -> list[TickRow]:
    """Every row of even ticks along the side of a bar, best first."""
    sides: list[tuple[Strip, Literal["left", "right"]]] = [
        (strip, side) for strip in strips for side in ("left", "right")
    ]
    rows = [row for row in share_out(lambda one: _count_ticks(*one), sides) if row is not None]
    return sorted(rows, key=lambda row: (-sum(row.strip.followed), -row.score))


def _zone(strip: Strip, low: float, high: float, side: str) -> NDArray[np.float32]:
    return strip.columns(low, high) if side == "left" else strip.columns(1 - high, 1 - low)


def _count_ticks(strip: Strip, side: Literal["left", "right"]) -> TickRow | None:
    tones = np.log(_zone(strip, *TICK_ZONE, side) + STRAY_LIGHT)
    usable = np.isfinite(tones).all(axis=1)
    if usable.sum() < 8 * MIN_TICKS / 2:
        return None
    first, last = np.flatnonzero(usable)[[0, -1]]
    profile = np.nan_to_num(tones[first : last + 1].mean(axis=1), nan=float(np.nanmedian(tones)))
    guess = _best_period(profile)
    if guess is None:
        return None
    chirp, cycles, phase, peak = guess
    marks, depth = _pick_ticks(profile, chirp, cycles, phase)
    if marks is None:
        return None
    marks = EvenMarks(marks.a + first, marks.b + marks.c * first, marks.c, marks.k, marks.s + first)
    return TickRow(strip, marks, side, peak * len(marks.k) * depth)


def _warp(chirp: float, share: Floats) -> Floats:
    """Even coordinate 0-1 to strip coordinate 0-1: a 1-D projective map that keeps both ends."""
    return share * (1 + chirp / 2) / (1 + chirp * (share - 0.5))


def _even_tone(profile: Floats) -> Floats:
    """The profile with shading and shadow taken out: what repeats, in units of its local spread."""
    fine = profile - gaussian_filter1d(profile, 12.0, mode="nearest")
    return np.clip(fine / _local_spread(fine), -3, 3)


def _local_spread(fine: Floats) -> Floats:
    spread = np.sqrt(np.maximum(uniform_filter1d(fine**2, 101, mode="nearest"), 0.0))
    return np.maximum(spread, 1e-3)


def _best_period(profile: Floats) -> tuple[float, float, float, float] | None:
    """Chirp, cycles over the profile, phase and height over the noise of the strongest repetition."""
    tone = _even_tone(profile)
    size = len(tone)
    places = np.linspace(0.0, 1.0, 2 * size)
    window = np.hanning(2 * size)
    warped = np.stack([np.interp(_warp(c, places) * (size - 1), np.arange(size), tone) for c in CHIRPS])
    padded = next_fast_len(4 * size, real=True)
    spectrum = rfft((warped * window).astype(np.float32), padded, axis=1)
    # Bin b holds b * 2 size / padded cycles over the profile.
    cycles = np.arange(spectrum.shape[1]) * (2.0 * size / padded)
    band = np.flatnonzero((cycles >= size / TICK_PX[1]) & (cycles <= size / TICK_PX[0]))
    power = np.abs(spectrum[:, band]) ** 2
    # A bar of one flat tone has no noise at all.
    height = power / np.maximum(_noise_beside(power, cycles[band]), NO_NOISE)
    # Of thin ticks the double frequency stands out of its noise as well, but the ticks' own is stronger.
    strong = np.where(height >= MIN_PEAK, power, 0.0)
    best, peak = np.unravel_index(int(strong.argmax()), strong.shape)
    if strong[best, peak] == 0.0:
        return None
    phase = float(np.angle(spectrum[best, band[peak]]))
    return float(CHIRPS[best]), float(cycles[band[peak]]), phase, float(height[best, peak])


def _noise_beside(power: Floats, cycles: Floats) -> Floats:
    """Median power at frequencies near each: soil has more of it in coarse texture than in fine."""
    knots = np.geomspace(cycles[0], cycles[-1], NOISE_KNOTS)
    starts = np.searchsorted(cycles, knots / 1.25, side="left")
    ends = np.searchsorted(cycles, knots * 1.25, side="right")
    # The spectrum is that of a padded and tapered signal, in which neighbours are alike: a few say as much.
    steps = np.maximum((ends - starts) // NOISE_BINS, 1)
    medians = np.stack(
        [_medians(power[:, a:b:step]) for a, b, step in zip(starts, ends, steps, strict=True)], axis=1
    )
    return np.stack([np.interp(cycles, knots, row) for row in medians])


def _medians(rows: Floats) -> Floats:
    """The median of each row; of rows so short numpy's own takes twice as long, for it looks for NaN."""
    middle = rows.shape[1] // 2
    ordered = np.partition(rows, (max(middle - 1, 0), middle), axis=1)
    return ordered[:, middle] if rows.shape[1] % 2 else 0.5 * (ordered[:, middle - 1] + ordered[:, middle])


def _pick_ticks(profile: Floats, chirp: float, cycles: float, phase: float) -> tuple[EvenMarks | None, float]:
    """Each tick near where the repetition puts it, counted, and their mean depth."""
    size = len(profile)
    fine = gaussian_filter1d(profile, 0.8) - gaussian_filter1d(profile, 12.0, mode="nearest")
    dips = np.flatnonzero((fine[1:-1] <= fine[:-2]) & (fine[1:-1] < fine[2:]) & (fine[1:-1] < 0)) + 1
    before, here, after = fine[dips - 1], fine[dips], fine[dips + 1]
    places = dips + 0.5 * (before - after) / np.maximum(before - 2 * here + after, 1e-9)
    depth = -here
    # cos(2 pi cycles x + phase) is lowest where its argument is an odd multiple of pi.
    count = np.arange(-1, int(cycles) + 2)
    even = np.asarray((count + 0.5 - phase / (2 * np.pi)) / cycles, dtype=np.float64)
    even = even[(even >= 0) & (even <= 1)]
    expected = _warp(chirp, even) * (size - 1)
    k = np.arange(len(expected))
    marks = fit_even_marks(k, expected)
    # Soil beyond a tape's ends may be rougher than faint ticks: each dip is held against what is around it.
    clear = depth / _local_spread(fine)[dips]
    enough = clear > 0.35 * np.percentile(clear, 85) if len(clear) else clear > 0
    places, depth = places[enough], depth[enough]
    for tolerance in (0.4, TICK_TOLERANCE, TICK_TOLERANCE):
        found = _nearest(marks, places, tolerance, int(k[-1]) + 1 if len(k) else 0)
        if found is None:
            return None, 0.0
        marks = fit_even_marks(*found)
    marks = _where_even(marks)
    if marks.residual > MAX_RESIDUAL:
        return None, 0.0
    return marks, float(np.mean(depth))


def _where_even(marks: EvenMarks) -> EvenMarks:
    """The middle of the marks, where a lens alone keeps all of them from being even.

    It moves those near the photo's border, by the third power of their distance from the middle of the photo:
    with a cubic of their count taken off, all must be even.
    """
    off = (marks.s - marks.at(marks.k)) / marks.spacing(marks.k)
    along = 2.0 * (marks.k - marks.k.min()) / max(int(np.ptp(marks.k)), 1) - 1.0
    bowed = off - np.polyval(np.polyfit(along, off, 3), along)
    if float(np.sqrt(np.mean(bowed**2))) > MAX_RESIDUAL:
        return marks
    fewest = max(LEAST_EVEN_SHARE * len(marks.k), MIN_TICKS)
    while marks.residual > MAX_RESIDUAL and len(marks.k) - 2 * ENDS_DROPPED >= fewest:
        inner = slice(ENDS_DROPPED, -ENDS_DROPPED)
        marks = fit_even_marks(marks.k[inner], marks.s[inner])
    return marks


def _nearest(
    marks: EvenMarks, places: Floats, tolerance: float, count: int
) -> tuple[NDArray[np.int64], Floats] | None:
    """The dips nearest to where the marks should be, over the longest well-filled run."""
    if len(places) < MIN_TICKS:
        return None
    k = np.arange(-3, count + 3)
    k = k[1 + marks.c * k > 0.2]
    expected, spacing = marks.at(k), marks.spacing(k)
    at = np.abs(places[None, :] - expected[:, None])
    hit = at.argmin(axis=1)
    good = at[np.arange(len(k)), hit] < tolerance * spacing
    filled = uniform_filter1d(good.astype(float), 9, mode="constant") >= MIN_FOUND_SHARE
    edges = np.flatnonzero(np.diff(np.concatenate([[0], filled.astype(int), [0]])))
    if len(edges) == 0:
        return None
    runs = edges.reshape(-1, 2)
    start, end = max(runs, key=lambda run: run[1] - run[0])
    chosen = np.zeros(len(k), dtype=bool)
    chosen[start:end] = good[start:end]
    if chosen.sum() < MIN_TICKS:
        return None
    return k[chosen], places[hit[chosen]]
