"""The tape: a rule with even ticks along one or both of its sides.

The period of the ticks is the frequency, under a perspective chirp, at which
the tone just inside the bar's side repeats most strongly. What a tick stands
for is told by the hierarchy of tick lengths: every eighth is longest on a rule
of 1/8 in, every tenth on one of millimetres. Digits are not read.
"""

from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.fft import next_fast_len, rfft
from scipy.ndimage import gaussian_filter1d, uniform_filter1d

from rootread.errors import NoBelievableScale
from rootread.plane.camera import CameraBelief
from rootread.plane.ruled import RuledFit, RuledObject, locate_ruled
from rootread.plane.sightings import Floats
from rootread.plane.strips import STRAY_LIGHT, EvenMarks, Strip, fit_even_marks

# Part of the width just inside a side that every tick crosses.
TICK_ZONE = (0.06, 0.19)
TICK_PX = (3.0, 48.0)
# Relative change of tick spacing from one end of the strip to the other: 25 degrees of pitch.
CHIRPS = np.linspace(-0.4, 0.4, 17)
MIN_TICKS = 24
# The repetition of real ticks is this many times stronger than what lies beside it in the spectrum;
# that of soil, roots and letters is 70 times stronger at most.
MIN_PEAK = 150.0
NOISE_KNOTS = 24
MIN_FOUND_SHARE = 0.6
TICK_TOLERANCE = 0.25
MAX_RESIDUAL = 0.08
# Share of tick length variance that a hierarchy must explain, and more than the other kind does.
MIN_EXPLAINED = 0.4
MIN_AHEAD = 0.15
# Every n-th tick is longest: what one tick is, in inches.
UNITS_IN = {8: 1 / 8, 16: 1 / 16, 10: 1 / 25.4}
PROVISIONAL_UNIT_IN = 1 / 8
LENGTH_PLACES = 41
# Tick rows located to sub-pixel; the same tape is often found as several bars.
MAX_LOCATED = 4
# Share of the ticks from first to last that must be found as lines.
MIN_LINES_SHARE = 0.6
# With this share of them found no other row need be looked at.
GOOD_LINES_SHARE = 0.95
CLEAR = 0.6


@dataclass(frozen=True, eq=False)
class TickRow:
    """Ticks counted along one side of a bar."""

    strip: Strip
    marks: EvenMarks
    side: Literal["left", "right"]
    score: float


def find_ticks(strips: list[Strip]) -> list[TickRow]:
    """Every row of even ticks along the side of a bar, best first."""
    rows = []
    for strip in strips:
        for side in ("left", "right"):
            row = _count_ticks(strip, side)
            if row is not None:
                rows.append(row)
    return sorted(rows, key=lambda row: (-sum(row.strip.followed), -row.score))


def find_tape(
    light: NDArray[np.float32], strips: list[Strip], belief: CameraBelief, unit_in: float | None = None
) -> RuledFit | None:
    """The tape among a photo's bars, straightened; ``unit_in`` is what a tick is, where that is known.

    Raises
    ------
    NoBelievableScale : there is a tape, but what its ticks are is not certain.
    """
    # What a tick is does not change the shape of the plane, so any unit does to begin with.
    rough_in = unit_in or PROVISIONAL_UNIT_IN
    best: _Candidate | None = None
    for row in find_ticks(strips)[:MAX_LOCATED]:
        tape = _locate(light, row, rough_in, belief)
        if tape is None or tape.found < MIN_TICKS or tape.share < MIN_LINES_SHARE:
            continue
        lengths = tick_lengths(light, tape, row, rough_in)
        candidate = _Candidate(row, tape, lengths, hierarchy(row.marks.k, lengths))
        if best is None or candidate.clearness > best.clearness:
            best = candidate
        if tape.share > GOOD_LINES_SHARE and candidate.clearness > CLEAR:
            break
    if best is None:
        return None
    certain_in = unit_in or tick_unit_in(best.explained)
    if certain_in is None:
        raise NoBelievableScale(
            "A tape was found, but whether its ticks are eighths of an inch or millimetres is not certain.",
            "Say how far apart its ticks are in the sheet's scale column, for example tape:0.125.",
        )
    # Once more, each tick over its whole length: the longer, the surer its direction.
    return _locate(light, best.row, certain_in, belief, best.lengths)


@dataclass(frozen=True, eq=False)
class _Candidate:
    """A row of ticks, located, with the lengths of its ticks."""

    row: TickRow
    tape: RuledFit
    lengths: Floats
    explained: dict[int, float]

    @property
    def clearness(self) -> float:
        """Share of the ticks found, and how much of their lengths a hierarchy explains; both count."""
        return self.tape.share * max(max(self.explained.values()), 0.1)


def hierarchy(k: NDArray[np.int64], lengths: Floats) -> dict[int, float]:
    """How well a longest tick every 8, 10 or 16 explains the lengths."""
    return {n: _explained(k, lengths, n) for n in UNITS_IN}


def tick_unit_in(explained: dict[int, float]) -> float | None:
    """What one tick is, in inches, by the hierarchy of lengths; None when that is not certain."""
    inch, metric = max(explained[8], explained[16]), explained[10]
    if max(inch, metric) < MIN_EXPLAINED or abs(inch - metric) < MIN_AHEAD:
        return None
    if metric > inch:
        return UNITS_IN[10]
    return UNITS_IN[16] if explained[16] > explained[8] + 0.1 else UNITS_IN[8]


def _locate(
    light: NDArray[np.float32],
    row: TickRow,
    unit_in: float,
    belief: CameraBelief,
    lengths: Floats | None = None,
) -> RuledFit | None:
    """The plane of a tape whose ticks are known, and their lengths where these are."""
    reach_of = {}
    if lengths is not None:
        reach_of = {
            int(k): _from_side(TICK_ZONE[0], max(0.9 * length, TICK_ZONE[1]), row.side)
            for k, length in zip(row.marks.k, lengths, strict=True)
        }
    ruled = RuledObject("tick", unit_in, _from_side(*TICK_ZONE, row.side), reach_of)
    return locate_ruled(light, row.strip, row.marks, ruled, belief)


def _from_side(low: float, high: float, side: str) -> tuple[float, float]:
    """Shares of the width from a side, as half widths from the middle."""
    return (2 * low - 1, 2 * high - 1) if side == "left" else (1 - 2 * high, 1 - 2 * low)


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
    spread = np.sqrt(np.maximum(uniform_filter1d(fine**2, 101, mode="nearest"), 0.0))
    return np.clip(fine / np.maximum(spread, 1e-3), -3, 3)


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
    height = power / _noise_beside(power, cycles[band])
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
    around = [(cycles >= knot / 1.25) & (cycles <= knot * 1.25) for knot in knots]
    medians = np.stack([np.median(power[:, near], axis=1) for near in around], axis=1)
    return np.stack([np.interp(cycles, knots, row) for row in medians])


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
    enough = 0.35 * np.percentile(depth, 85) if len(depth) else np.inf
    places, depth = places[depth > enough], depth[depth > enough]
    for tolerance in (0.4, TICK_TOLERANCE, TICK_TOLERANCE):
        found = _nearest(marks, places, tolerance, int(k[-1]) + 1 if len(k) else 0)
        if found is None:
            return None, 0.0
        marks = fit_even_marks(*found)
    if marks.residual > MAX_RESIDUAL:
        return None, 0.0
    return marks, float(np.mean(depth))


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


def tick_lengths(light: NDArray[np.float32], tape: RuledFit, row: TickRow, unit_in: float) -> Floats:
    """How far across each counted tick reaches, as a share of the width: dark without a gap from its side."""
    half_width = tape.fit.half_width_in
    share = np.linspace(0.04, 0.96, LENGTH_PLACES)
    x = (2 * share - 1) if row.side == "left" else (1 - 2 * share)
    z = (row.marks.k - tape.middle) * unit_in
    tones = []
    for between in (-0.5, -0.12, 0.0, 0.12, 0.5):
        places = np.column_stack([np.tile(x * half_width, len(z)), np.repeat(z + between * unit_in, len(x))])
        at = tape.fit.to_photo(places).astype(np.float32).reshape(len(z), len(x), 2)
        tones.append(np.log(cv2.remap(light, at[..., 0], at[..., 1], cv2.INTER_LINEAR) + STRAY_LIGHT))
    before, early, here, late, after = tones
    dark = 0.5 * (before + after) - np.minimum(np.minimum(early, here), late)
    zone = int(np.searchsorted(share, TICK_ZONE[1]))
    typical = np.median(dark[:, :zone], axis=1, keepdims=True)
    smooth = gaussian_filter1d(dark, 0.8, axis=1)
    reaches = np.cumprod(np.where(np.arange(len(share)) < zone, True, smooth > 0.45 * typical), axis=1)
    return reaches.sum(axis=1) / len(share)


def _explained(k: NDArray[np.int64], lengths: Floats, n: int) -> float:
    """Share of the spread of tick lengths that the count modulo n explains.

    Spread is the mean distance from the median, which a tick misread for a
    root or a speck does not upset; it is taken per degree of freedom.
    """
    total = float(np.sum(np.abs(lengths - np.median(lengths))))
    within = 0.0
    for rest in range(n):
        members = lengths[k % n == rest]
        if len(members):
            within += float(np.sum(np.abs(members - np.median(members))))
    freedom = max(len(k) - n, 1)
    return 1.0 - (within / freedom) / (total / (len(k) - 1)) if total > 0 else 0.0
