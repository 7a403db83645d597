"""The tape: a rule with even ticks along one or both of its sides.

What a tick stands for is told by the hierarchy of tick lengths: every eighth is
longest on a rule of 1/8 in, every tenth on one of millimetres. Digits are not
read.
"""

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d
from scipy.stats import theilslopes

from rootread.errors import NoBelievableScale
from rootread.plane.camera import CameraBelief
from rootread.plane.ruled import RuledFit, RuledObject, locate_ruled
from rootread.plane.sightings import Floats
from rootread.plane.strips import STRAY_LIGHT, Strip
from rootread.plane.ticks import MIN_TICKS, TICK_ZONE, TickRow, find_ticks

# Share of tick length variance that a hierarchy must explain, and more than the other kind does.
MIN_EXPLAINED = 0.4
MIN_AHEAD = 0.15
# A longest tick that is not seen so often tells nothing: any few lengths fit some hierarchy.
FEWEST_TIMES = 3
# Every n-th tick is longest: what one tick is, in inches.
UNITS_IN = {8: 1 / 8, 16: 1 / 16, 10: 1 / 25.4}
CENTIMETRE_IN = 1 / 2.54
# Tapes and rules are between these wide, from a pocket tape to a folding survey rod.
TAPE_WIDTH_IN = (0.2, 2.5)
# Taken for a tick until it is known; the shape of the plane does not depend on it.
PROVISIONAL_UNIT_IN = 1 / 8
# Places across the tape at which each tick is looked for.
LENGTH_PLACES = 41
# Tick rows located to sub-pixel; the same tape is often found as several bars.
MAX_LOCATED = 4
# Share of the ticks from first to last that must be found as lines.
MIN_LINES_SHARE = 0.6
# With this share of them found no other row need be looked at.
GOOD_LINES_SHARE = 0.95
# More ticks are looked for over this share of the length on both sides at a time.
GROW_SHARE = 0.25
# How clear such a row is: share found times share of the lengths explained.
CLEAR = 0.6


def find_tape(
    light: NDArray[np.float32], strips: list[Strip], belief: CameraBelief, unit_in: float | None = None
) -> RuledFit | None:
    """The tape among a photo's bars, straightened; ``unit_in`` is what a tick is, where that is known.

    Raises
    ------
    NoBelievableScale : there is a tape, but what its ticks are is not certain.
    """
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
    certain_in = unit_in or tick_unit_in(best.explained, 2.0 * best.tape.fit.half_width_in / rough_in)
    if certain_in is None:
        raise NoBelievableScale(
            "A tape was found, but whether its ticks are eighths of an inch, millimetres or centimetres is "
            "not certain.",
            "Say how far apart its ticks are in the sheet's scale column, as tape:0.125 in or tape:1 mm.",
        )
    # Once more, each tick over its whole length: the longer, the surer its direction.
    tape = _locate(light, best.row, certain_in, belief, best.lengths)
    return None if tape is None else _with_more_ticks(light, best.row, tape, certain_in, belief)


def _with_more_ticks(
    light: NDArray[np.float32], row: TickRow, tape: RuledFit, unit_in: float, belief: CameraBelief
) -> RuledFit:
    """The same tape with the ticks before and after the counted ones, where dust had broken the count."""
    while True:
        more = max(int(GROW_SHARE * (tape.last - tape.first)), 8)
        k = np.arange(tape.first - more, tape.last + more + 1)
        s = row.marks.at(k)
        k = k[(s > 0) & (s < len(row.strip.tones))]
        wider = replace(row, marks=replace(row.marks, k=k, s=row.marks.at(k)))
        lengths = tick_lengths(light, tape, wider, unit_in)
        longer = _locate(light, wider, unit_in, belief, lengths, tape)
        if longer is None or longer.found <= tape.found or longer.share < MIN_LINES_SHARE:
            return tape
        tape = longer


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
    """How well a longest tick every 8, 10 or 16 explains the lengths.

    A side that was placed a little askew makes all ticks longer toward one end. That is taken out by the
    median of the slopes between any two ticks, to which the few long ones hardly matter (Sen, Journal of the
    American Statistical Association, 1968; from memory).
    """
    even = lengths - theilslopes(lengths, k).slope * k
    told = {n: np.ptp(k) + 1 >= FEWEST_TIMES * n for n in UNITS_IN}
    return {n: _explained(k, even, n) if told[n] else 0.0 for n in UNITS_IN}


def tick_unit_in(explained: dict[int, float], ticks_wide: float) -> float | None:
    """What one tick is, in inches, by the hierarchy of lengths; None when that is not certain.

    Every tenth is longest on rules of millimetres and of centimetres alike; these are told by how
    many ticks go on the tape's width.
    """
    inch, metric = max(explained[8], explained[16]), explained[10]
    if max(inch, metric) < MIN_EXPLAINED or abs(inch - metric) < MIN_AHEAD:
        return None
    binary = (UNITS_IN[16],) if explained[16] > explained[8] + 0.1 else (UNITS_IN[8],)
    for unit_in in (UNITS_IN[10], CENTIMETRE_IN) if metric > inch else binary:
        if TAPE_WIDTH_IN[0] <= ticks_wide * unit_in <= TAPE_WIDTH_IN[1]:
            return unit_in
    return None


def _locate(
    light: NDArray[np.float32],
    row: TickRow,
    unit_in: float,
    belief: CameraBelief,
    lengths: Floats | None = None,
    known: RuledFit | None = None,
) -> RuledFit | None:
    """The plane of a tape whose ticks are counted, and their lengths where these are known."""
    reach_of = {}
    if lengths is not None:
        reach_of = {
            int(k): _from_side(TICK_ZONE[0], max(0.9 * length, TICK_ZONE[1]), row.side)
            for k, length in zip(row.marks.k, lengths, strict=True)
        }
    ruled = RuledObject("tick", unit_in, _from_side(*TICK_ZONE, row.side), reach_of)
    return locate_ruled(light, row.strip, row.marks, ruled, belief, known)


def _from_side(low: float, high: float, side: str) -> tuple[float, float]:
    """Shares of the width from a side, as half widths from the middle."""
    return (2 * low - 1, 2 * high - 1) if side == "left" else (1 - 2 * high, 1 - 2 * low)


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
