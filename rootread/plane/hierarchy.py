"""What the ticks of a rule stand for, told by their lengths: every so many is longest.

Every eighth is longest on a rule of 1/8 in, every sixteenth on one of 1/16 in, every tenth on one of
millimetres. Digits are not read.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rootread.plane.sightings import Floats
from rootread.units import CM_PER_IN, MM_PER_IN

# Share of tick length variance that a hierarchy must explain, and more than the other kind does.
MIN_EXPLAINED = 0.4
MIN_AHEAD = 0.15
# Of more ticks than these, chance explains less, by the root of their number; so must the hierarchy.
USUAL_TICKS = 48
LEAST_EXPLAINED = 0.2
# A longest tick that is not seen so often tells nothing: any few lengths fit some hierarchy.
FEWEST_TIMES = 3
# Of so many each it is seen that every second of the longest ticks is as long as the others, or is longer:
# of three, two may be dirty.
FEWEST_TIMES_ALIKE, FEWEST_TIMES_LONGER = 2, 5
# Every n-th tick is longest: what one tick is, in inches.
UNITS_IN = {8: 1 / 8, 16: 1 / 16, 10: 1 / MM_PER_IN}
CENTIMETRE_IN = 1 / CM_PER_IN
# Tapes and rules are between these wide, from a pocket tape to a folding survey rod.
TAPE_WIDTH_IN = (0.2, 2.5)
# An inch's tick is longer than a half inch's by more than this share of the width, ticks of one kind by less.
LONGER = 0.075
# The median of n lengths, each known to within s, is known to within MEDIAN_SE s / sqrt(n).
MEDIAN_SE = 1.2533
# Lengths are seen no better than this share of the width.
LEAST_SPREAD = 0.012


@dataclass(frozen=True)
class Hierarchy:
    """What the lengths of some ticks tell."""

    count: int
    """How many ticks."""
    explained: dict[int, float]
    """How well a longest tick every 8, 10 or 16 explains their lengths, 1 fully."""
    second_longer: bool | None
    """Whether of the longest ticks, eight apart, every second one is longer still; None where not certain."""


def hierarchy(k: NDArray[np.int64], lengths: Floats) -> Hierarchy:
    """What ticks of counts ``k`` and of ``lengths``, shares of the width, ``(K,)`` both, tell.

    A side that was placed a little askew makes all ticks longer toward one end, which is taken out.
    """
    even = lengths - median_slope(k, lengths) * k
    told = {n: np.ptp(k) + 1 >= FEWEST_TIMES * n for n in UNITS_IN}
    explained = {n: _explained(k, even, n) if told[n] else 0.0 for n in UNITS_IN}
    return Hierarchy(len(k), explained, _second_longer(k, even))


def median_slope(x: NDArray[np.int64], y: Floats) -> float:
    """The median of the slopes between any two places, to which a few that lie aside hardly matter.

    Sen, Journal of the American Statistical Association, 1968; from memory. SciPy has it in ``scipy.stats``,
    of which nothing else is needed to read a wall, and to import that takes a third of a second.
    """
    one, other = np.triu_indices(len(x), 1)
    return float(np.median((y[other] - y[one]) / (x[other] - x[one])))


def tick_unit_in(told: Hierarchy, ticks_wide: float) -> float | None:
    """What one tick is, in inches; None when that is not certain.

    Every tenth is longest on rules of millimetres and of centimetres alike; these are told by how
    many ticks go on the rule's width.
    """
    inch, metric = max(told.explained[8], told.explained[16]), told.explained[10]
    enough = max(MIN_EXPLAINED * min(1.0, (USUAL_TICKS / told.count) ** 0.5), LEAST_EXPLAINED)
    if max(inch, metric) < enough or abs(inch - metric) < MIN_AHEAD:
        return None
    if metric <= inch and told.second_longer is None:
        return None
    binary = (UNITS_IN[16],) if told.second_longer else (UNITS_IN[8],)
    for unit_in in (UNITS_IN[10], CENTIMETRE_IN) if metric > inch else binary:
        if TAPE_WIDTH_IN[0] <= ticks_wide * unit_in <= TAPE_WIDTH_IN[1]:
            return unit_in
    return None


def _explained(k: NDArray[np.int64], lengths: Floats, n: int) -> float:
    """Share of the spread of tick lengths that the count modulo n explains.

    Spread is the mean distance from the median, which a tick misread for a
    root or a speck does not upset; it is taken per degree of freedom.
    """
    total = float(np.sum(np.abs(lengths - np.median(lengths))))
    within = float(np.sum(np.abs(_off_median(k, lengths, n))))
    freedom = max(len(k) - n, 1)
    return 1.0 - (within / freedom) / (total / (len(k) - 1)) if total > 0 else 0.0


def _off_median(k: NDArray[np.int64], lengths: Floats, n: int) -> Floats:
    """How much longer each tick is than the median of those whose count leaves the same rest by n."""
    off = np.zeros(len(k))
    for rest in np.unique(k % n):
        members = k % n == rest
        off[members] = lengths[members] - np.median(lengths[members])
    return off


def _second_longer(k: NDArray[np.int64], lengths: Floats) -> bool | None:
    """Whether every second of the longest ticks is longer still: an inch's, and the others a half inch's.

    On a rule of eighths all of them are inches, as long as each other.
    """
    rests = np.unique(k % 8)
    longest = rests[int(np.argmax([np.median(lengths[k % 8 == rest]) for rest in rests]))]
    some, others = lengths[(k - longest) % 16 == 0], lengths[(k - longest) % 16 == 8]
    fewest = min(len(some), len(others))
    if fewest < FEWEST_TIMES_ALIKE:
        return None
    least_spread = max(_spread(_off_median(k, lengths, 16)), LEAST_SPREAD)
    # Dirt makes ticks shorter and digits make them longer, and so the longer half of each kind is asked too.
    apart, se = np.transpose([
        _apart(some, others, least_spread),
        _apart(_longer_half(some), _longer_half(others), least_spread),
    ])  # fmt: skip
    if np.any(apart < LONGER - 2.0 * se):
        return False
    # Rules of sixteenths are rarer, and dirt may hide some inches.
    return True if fewest >= FEWEST_TIMES_LONGER and np.all(apart > LONGER + 2.0 * se) else None


def _apart(some: Floats, others: Floats, least_spread: float) -> tuple[float, float]:
    """How far the medians of two kinds of tick lie apart, and its standard error."""
    # What holds for the worse seen kind counts for both.
    spread = max(_spread(some), _spread(others), least_spread)
    se = MEDIAN_SE * spread * (1 / len(some) + 1 / len(others)) ** 0.5
    return abs(float(np.median(some) - np.median(others))), se


def _longer_half(lengths: Floats) -> Floats:
    return np.sort(lengths)[len(lengths) // 2 :]


def _spread(lengths: Floats) -> float:
    """The standard deviation of normal errors by their median distance from the median."""
    return 1.4826 * float(np.median(np.abs(lengths - np.median(lengths))))
