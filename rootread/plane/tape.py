"""The tape: a rule with even ticks along one or both of its sides.

What a tick stands for is told by the hierarchy of tick lengths, in
``hierarchy.py``.
"""

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from rootread.errors import NoBelievableScale
from rootread.plane.camera import GLARE, CameraBelief
from rootread.plane.hierarchy import Hierarchy, hierarchy, tick_unit_in
from rootread.plane.ruled import RuledFit, RuledObject, locate_ruled
from rootread.plane.sightings import Floats
from rootread.plane.strips import STRAY_LIGHT, Strip
from rootread.plane.ticks import MIN_TICKS, TICK_ZONE, TickRow, find_ticks

# Taken for a tick until it is known; the shape of the plane does not depend on it.
PROVISIONAL_UNIT_IN = 1 / 8
# Ticks are located from this share of the width on: nearer to the side, blur spreads the soil beyond it into
# them, aslant where the camera was shaken, and that turns them by another angle at each place along the tape.
LOCATED_FROM = 0.09
# Places across the tape at which each tick is looked for.
LENGTH_PLACES = 41
# Tick rows located to sub-pixel; the same tape is often found as several bars.
MAX_LOCATED = 4
# Share of the ticks from first to last that must be found as lines.
MIN_LINES_SHARE = 0.6
# With this share of them found no other row need be looked at.
GOOD_LINES_SHARE = 0.95
# More ticks are looked for over this share of the length on both sides at a time, and where there are none,
# beyond a clod perhaps, over the next.
GROW_SHARES = (0.25, 0.5, 1.0)
FEWEST_MORE = 8
# Ticks turned alike by more than this are of a photo shaken so much that they do not tell how the wall is
# turned: of 24 made photos with motion blur 13 had such ticks, and lengths were off by up to 9 %, else by
# 1.7. Ticks that are sharp or evenly blurred seem turned by 0.04 at most.
MOST_SHAKEN_PX = 0.075
# How clear such a row is: share found times share of the lengths explained.
CLEAR = 0.6


def find_tape(
    light: NDArray[np.float32], strips: list[Strip], belief: CameraBelief, unit_in: float | None = None
) -> RuledFit | None:
    """The tape among a photo's bars, straightened; ``unit_in`` is what a tick is, where that is known.

    Raises
    ------
    NoBelievableScale : there is a tape, but what its ticks are is not certain, or the photo is shaken.
    """
    rough_in = unit_in or PROVISIONAL_UNIT_IN
    best: _Candidate | None = None
    for row in find_ticks(strips)[:MAX_LOCATED]:
        tape = _locate(light, row, rough_in, belief)
        if tape is None or tape.found < MIN_TICKS or tape.share < MIN_LINES_SHARE:
            continue
        candidate = _Candidate(row, tape, hierarchy(row.marks.k, tick_lengths(light, tape, row, rough_in)))
        if best is None or candidate.clearness > best.clearness:
            best = candidate
        if tape.share > GOOD_LINES_SHARE and candidate.clearness > CLEAR:
            break
    if best is None:
        return None
    # What a tick stands for is asked of all of them too: the run that was counted may be short.
    tape = _with_more_ticks(light, best.row, best.tape, rough_in, belief)
    row = _counted(best.row, tape.counts)
    lengths = tick_lengths(light, tape, row, rough_in)
    ticks_wide = 2.0 * tape.fit.half_width_in / rough_in
    said = {tick_unit_in(told, ticks_wide) for told in (best.told, hierarchy(tape.counts, lengths))} - {None}
    certain_in = unit_in or (said.pop() if len(said) == 1 else None)
    if certain_in is None:
        raise NoBelievableScale(
            "A tape was found, but whether its ticks are eighths of an inch, millimetres or centimetres is "
            "not certain.",
            "Say how far apart its ticks are in the sheet's scale column, as tape:0.125 in or tape:1 mm.",
        )
    # Once more, each tick over its whole length: the longer, the surer its direction.
    tape = _locate(light, row, certain_in, belief, lengths, tape.larger(certain_in / rough_in))
    return None if tape is None else _not_shaken(_with_more_ticks(light, row, tape, certain_in, belief))


def _not_shaken(tape: RuledFit) -> RuledFit:
    """The tape, of a photo whose blur does not turn its ticks."""
    if abs(tape.fit.values[GLARE]) > MOST_SHAKEN_PX:
        raise NoBelievableScale(
            "A tape was found, but the photo is shaken: its ticks are blurred aslant and do not tell how the "
            "wall is turned.",
            "Hold the camera still and photograph it again, or mark two points a known distance apart.",
        )
    return tape


def _with_more_ticks(
    light: NDArray[np.float32], row: TickRow, tape: RuledFit, unit_in: float, belief: CameraBelief
) -> RuledFit:
    """The same tape with the ticks before and after the counted ones: dust or a clod had broken the count."""
    tried = 0
    while tried < len(GROW_SHARES):
        more = max(int(GROW_SHARES[tried] * (tape.last - tape.first)), FEWEST_MORE)
        k = np.arange(tape.first - more, tape.last + more + 1)
        s = row.marks.at(k)
        wider = _counted(row, k[(s > 0) & (s < len(row.strip.tones))])
        lengths = tick_lengths(light, tape, wider, unit_in)
        longer = _locate(light, wider, unit_in, belief, lengths, tape)
        if longer is None or longer.found <= tape.found or longer.share < MIN_LINES_SHARE:
            tried += 1
        else:
            tape, tried = longer, 0
    return tape


def _counted(row: TickRow, k: NDArray[np.int64]) -> TickRow:
    """The same row with other ticks counted, where its map puts them."""
    return replace(row, marks=replace(row.marks, k=k, s=row.marks.at(k)))


@dataclass(frozen=True, eq=False)
class _Candidate:
    """A row of ticks, located, and what its ticks' lengths tell."""

    row: TickRow
    tape: RuledFit
    told: Hierarchy

    @property
    def clearness(self) -> float:
        """Share of the ticks found, and how much of their lengths a hierarchy explains; both count."""
        return self.tape.share * max(*self.told.explained.values(), 0.1)


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
            int(k): _from_side(LOCATED_FROM, max(0.9 * length, TICK_ZONE[1]), row.side)
            for k, length in zip(row.marks.k, lengths, strict=True)
        }
    ruled = RuledObject("tick", unit_in, _from_side(LOCATED_FROM, TICK_ZONE[1], row.side), reach_of)
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
