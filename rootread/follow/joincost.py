"""How unlikely it is that two ends belong to one root.

The cost of a join is a weighted sum of what differs between the two ends. The
weights were fitted on made walls, as a conditional logistic regression: for
every end, which of its possible partners is on the same root. A cost is
therefore a negative log-odds: one that is higher by 1 is less likely by e.
"""

import numpy as np
from numpy.typing import NDArray

from rootread.follow.ends import ARM_IN, Ends
from rootread.follow.strands import Strands
from rootread.geometry import Points

TURN_SIGMA_DEG = 10.0
"""Spread of the change of direction of one root over a meeting or a gap."""
SIDESTEP_SIGMA_DEG = 12.0
"""Spread of the angle by which one root steps aside there."""
PLACE_SIGMA_PX = 1.5
"""Spread of the place of a centreline near a meeting, across the root."""
MAX_DIP = 0.3
"""Deeper seams say no more."""
ALWAYS = -1.0
"""Cost of any join, before what speaks against it: roots go on more often than not."""
LEAST_COST = 0.05
"""No join is free, so that rings of roots are not."""
WEIGHTS = {
    "turn": 0.48,  # each spread of the turn
    "turn_squared": 0.16,
    "sidestep_squared": 0.25,  # each squared spread of the sidestep
    "short_arms": 1.9,  # log of how much the turn's spread is widened by short arms
    "width": 0.46,  # log of the width ratio
    "width_squared": 2.26,
    "width_short": -2.1,  # the same where an arm is short and its width unsure
    "colour": 23.6,  # difference of log colour ratios
    "gap": -0.6,
    "gap_in": 2.7,  # each inch of gap
    "gap_dip": 36.0,  # mean dip over the gap: seams and soil shadows
    "gap_at_meeting": 1.1,  # each end that also meets other edges
    "via": 1.6,  # each short edge between
    "via_in": 7.1,  # their length
    "dip": 20.0,  # mean dip between ends at a meeting
    "seam": 29.0,  # deepest dip there: a seam crossed
}
"""Cost of each feature, for one unit of it."""


def join_cost(
    ends: Ends,
    pair: NDArray[np.int64],
    is_gap: NDArray[np.bool_],
    via_count: NDArray[np.float64],
    via_px: NDArray[np.float64],
    strands: Strands,
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Cost of joining each of ``(T, 2)`` pairs of ends, and the turn there in degrees."""
    px_per_in = strands.grid.px_per_in
    gap = is_gap.astype(float)
    distance_in = np.hypot(*(ends.place_px[pair[:, 1]] - ends.place_px[pair[:, 0]]).T) / px_per_in
    mean_dip, deepest_dip = _dips_between(ends, pair, strands.dip)
    features, turn = bend_features(ends, pair)
    features |= width_features(ends, pair, px_per_in)
    features |= {
        "colour": np.hypot(*(ends.colour[pair[:, 0]] - ends.colour[pair[:, 1]]).T).clip(max=0.3),
        "gap": gap,
        "gap_in": gap * distance_in,
        "gap_dip": gap * mean_dip,
        "gap_at_meeting": gap * (ends.node[pair] >= 0).sum(axis=1),
        "via": via_count,
        "via_in": via_px / px_per_in,
        "dip": (1 - gap) * mean_dip,
        "seam": (1 - gap) * deepest_dip,
    }
    cost = np.maximum(ALWAYS + weigh(features), LEAST_COST)
    return np.where(_looks_back(ends, pair), np.inf, cost), turn


def weigh(features: dict[str, NDArray[np.float64]]) -> NDArray[np.float64]:
    """Weighted sum of features."""
    return np.sum([WEIGHTS[name] * value for name, value in features.items()], axis=0)


def bend_features(
    ends: Ends, pair: NDArray[np.int64]
) -> tuple[dict[str, NDArray[np.float64]], NDArray[np.float64]]:
    """How the least-energy curve between two ends bends, and the turn in degrees.

    With ``alpha`` the angle from the first heading to the line between the ends
    and ``beta`` that from the line to the way on, the least-energy cubic has
    bending energy proportional to alpha^2 + alpha beta + beta^2: 3/4 of the turn
    (alpha + beta) squared and 1/4 of the sidestep (alpha - beta) squared. Both
    are measured in their spreads, which grow where arms or the way between are
    short, since centrelines are sure to ``PLACE_SIGMA_PX`` only.
    """
    a, b = pair.T
    line = ends.place_px[b] - ends.place_px[a]
    length = np.hypot(*line.T)
    out, on = ends.heading[a], -ends.heading[b]
    turn = np.abs(_angle_deg(out, on))
    sidestep = np.where(length > 1e-6, _angle_deg(out, line) - _angle_deg(line, on), 0.0)
    arm_noise = (np.degrees(np.arctan2(PLACE_SIGMA_PX, ends.arm_px[pair])) ** 2).sum(axis=1)
    line_noise = np.degrees(np.arctan2(2 * PLACE_SIGMA_PX, length)) ** 2
    turn_sigma = np.sqrt(TURN_SIGMA_DEG**2 + arm_noise)
    sidestep_sigma = np.sqrt(SIDESTEP_SIGMA_DEG**2 + arm_noise + line_noise)
    features = {
        "turn": turn / turn_sigma,
        "turn_squared": np.minimum((turn / turn_sigma) ** 2, 25.0),
        "sidestep_squared": np.minimum((sidestep / sidestep_sigma) ** 2, 25.0),
        "short_arms": np.log(turn_sigma / TURN_SIGMA_DEG),
    }
    return features, turn


def width_features(ends: Ends, pair: NDArray[np.int64], px_per_in: float) -> dict[str, NDArray[np.float64]]:
    """How the widths of two ends differ."""
    ratio = np.abs(np.log(ends.width_px[pair[:, 0]] / ends.width_px[pair[:, 1]]))
    short = 1 - ends.arm_px[pair].min(axis=1) / (ARM_IN * px_per_in)
    return {"width": ratio, "width_squared": np.minimum(ratio**2, 2.0), "width_short": ratio * short}


def _looks_back(ends: Ends, pair: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Whether the second end lies behind the first."""
    line = ends.place_px[pair[:, 1]] - ends.place_px[pair[:, 0]]
    ahead = np.einsum("ij,ij->i", ends.heading[pair[:, 0]], line)
    return (ahead < 0) & (np.hypot(*line.T) > 4 * PLACE_SIGMA_PX)


def _dips_between(
    ends: Ends, pair: NDArray[np.int64], dip: NDArray[np.float32]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Mean and largest dip in brightness on the straight line between two ends."""
    t = np.linspace(0.05, 0.95, 13)[:, None, None]
    place = (1 - t) * ends.place_px[pair[:, 0]] + t * ends.place_px[pair[:, 1]]
    column, row = np.round(place).astype(int).transpose(2, 0, 1)
    on_line = dip[row.clip(0, dip.shape[0] - 1), column.clip(0, dip.shape[1] - 1)].clip(0, MAX_DIP)
    return on_line.mean(axis=0).astype(float), on_line.max(axis=0).astype(float)


def _angle_deg(u: Points, v: Points) -> NDArray[np.float64]:
    """Signed angle from ``u`` to ``v``."""
    cross = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]
    return np.degrees(np.arctan2(cross, np.einsum("ij,ij->i", u, v)))
