"""Which stretches of root count toward the wall's descent, shares and grade.

Those of roots at least ``counted_width_in`` wide: finer ones are laterals and
hairs, which leave their parents at angles of their own, and how many of them a
photo shows depends on light and soil. Single places err, so the width is
taken over half an inch. A trace shorter than an inch and a half is as often a
bit of straw as of a root.

Toward the wall's mean descent and its shares a root counts in full from four
inches on, if it is more likely followed right than not; what is shorter is more
often a lateral that reads thick, or a piece of straw. On made walls the mean
is nearer to the truth so than with every inch alike, or with every inch by its
root's confidence: level roots in a tangle are doubted more than steep ones that
stand alone, and the wall would read too steep.

For the grade a root counts the more the thicker it looks. Were there one width from
which it counts, a wall of roots about that thick would be judged by the few that
happen to be read a little thicker.
"""

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter

from rootread.measure.types import RootReading

WIDTH_OVER_IN = 0.5
SHORTEST_IN = 1.5
FULL_FROM_IN = 4.0
DOUBTED_BELOW = 0.5
DRAWN_BY_HAND = 1.0
"""The confidence of a root that a person drew: it is what it seems."""
NOTHING_BELOW, ALL_FROM = 0.6, 1.2
"""Of the width from which roots count: thinner ones count for nothing as a whole, thicker ones fully."""


def counted_points(root: RootReading, counted_width_in: float) -> NDArray[np.bool_]:
    """``(N,)`` True at the points of a root that count: thick enough, seen, and of a trace long enough."""
    width = root.trace.width_in
    if root.length_in < SHORTEST_IN:
        return np.zeros(len(width), dtype=bool)
    step_in = root.length_in / max(len(width) - 1, 1)
    window = min(2 * round(WIDTH_OVER_IN / step_in / 2) + 1, len(width) // 2 * 2 + 1)
    steady = median_filter(width, size=window, mode="nearest")
    return (steady >= counted_width_in) & ~root.trace.inferred


def weight_in_descent(root: RootReading) -> float:
    """How much a root's length counts toward the wall's mean descent and shares, from 0 to 1."""
    confidence = root.trace.confidence
    if confidence >= DRAWN_BY_HAND:
        return 1.0
    return min(root.length_in / FULL_FROM_IN, 1.0) * min(confidence / DOUBTED_BELOW, 1.0)


def counts(root: RootReading, counted_width_in: float) -> float:
    """How much a root as a whole counts, from 0 to 1."""
    if root.length_in < SHORTEST_IN:
        return 0.0
    nothing_in, all_in = NOTHING_BELOW * counted_width_in, ALL_FROM * counted_width_in
    return 1.0 if root.width_in >= all_in else max(root.width_in - nothing_in, 0.0) / (all_in - nothing_in)
