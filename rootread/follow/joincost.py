"""How unlikely it is that two ends belong to one root.

The cost of a join is a weighted sum of what differs between the two ends. The
weights were fitted on made walls, together with those of starts and stops, as
a conditional logistic regression: for every end, which of its possible
partners is on the same root, or whether the root ends there. A cost is
therefore a negative log-odds: one that is higher by 1 is less likely by e.
"""

import numpy as np
from numpy.typing import NDArray

from rootread.follow.ends import ARM_IN, PLACE_SIGMA_PX, Ends
from rootread.follow.strands import Strands
from rootread.geometry import Points

TURN_SIGMA_DEG = 10.0
"""Spread of the change of direction of one root over a meeting or a gap."""
SIDESTEP_SIGMA_DEG = 12.0
"""Spread of the angle by which one root steps aside there."""
USUAL_WIGGLE_DEG = 3.0
"""Median change of direction over ``ends.WIGGLE_IN`` from which more or less is told (see ``waviness``)."""
MAX_DIP = 0.3
"""Deeper dark lines say no more."""
BY_FIRST, BY_SECOND = slice(None, 4), slice(-4, None)
"""Of the values between two ends, those by either."""
WEIGHTS = {
    "always": -4.98,  # roots go on more often than not
    "always_wavy": 1.52,
    "turn": 0.85,  # each spread of the turn
    "turn_squared": 0.065,
    "turn_wavy": -0.7,  # less where roots twist
    "sidestep": 0.63,  # each spread of the sidestep
    "sidestep_squared": 0.105,
    "sidestep_wavy": -0.74,
    "short_arms": 2.07,  # log of how much the turn's spread is widened by short arms
    "width": 1.22,  # log of the width ratio
    "width_short": -0.6,  # the same where an arm is short and its width unsure
    "colour": 11.7,  # difference of log colour ratios
    "gap": 0.28,
    "gap_root_in": 4.69,  # square root of the gap in inches
    "gap_in": -1.15,
    "gap_bare_in": 2.15,  # inches of gap where no root pixels are seen
    "gap_dip": 16.5,  # mean dip over the gap: seams and soil shadows
    "gap_seam": 1.37,  # surest seam over the gap
    "gap_seam_share": -2.88,  # mean chance of a seam: a gap beneath other roots
    "gap_at_meeting": 0.45,  # each end that also meets other edges
    "between_in": 5.26,  # inches between ends at meetings
    "dip": -4.72,  # mean dip between ends at a meeting
    "dark_line": 6.44,  # deepest dip there
    "seam": 2.8,  # surest seam there
    "seam_beside": -2.41,  # seams at both ends: one root runs beneath another
    "bare": 4.53,  # share of the way there where no root pixels are seen
}
"""Cost of each feature, for one unit of it."""


def join_cost(
    ends: Ends,
    pair: NDArray[np.int64],
    is_gap: NDArray[np.bool_],
    company_px: NDArray[np.float64],
    strands: Strands,
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Cost of joining each of ``(T, 2)`` pairs of ends, and the turn there in degrees."""
    features, turn = join_features(ends, pair, is_gap, company_px, strands)
    cost = weigh(features)
    return np.where(_looks_back(ends, pair), np.inf, cost), turn


def join_features(
    ends: Ends,
    pair: NDArray[np.int64],
    is_gap: NDArray[np.bool_],
    company_px: NDArray[np.float64],
    strands: Strands,
) -> tuple[dict[str, NDArray[np.float64]], NDArray[np.float64]]:
    """What the cost of joining each of ``(T, 2)`` pairs of ends is made of, and the turn there in degrees.

    ``company_px`` is the width of the other edges that run the same way into the wider of the two.
    """
    px_per_in = strands.grid.px_per_in
    gap, meets = is_gap.astype(float), (~is_gap).astype(float)
    distance_in = np.hypot(*(ends.place_px[pair[:, 1]] - ends.place_px[pair[:, 0]]).T) / px_per_in
    between = places_between(ends, pair, strands.mask.shape)
    hidden, seam, probability = (
        image[between].astype(float) for image in (strands.hidden, strands.seam, strands.probability)
    )
    dip = strands.dip[between].astype(float).clip(0, MAX_DIP)
    # Behind the scale object every root is unseen, so that its width says nothing against a join.
    distance_in = distance_in * (1 - hidden.mean(axis=0))
    bare = 1 - np.maximum(probability, hidden).mean(axis=0)
    features, turn = bend_features(ends, pair)
    features |= width_features(ends, pair, company_px, px_per_in)
    features |= {
        "always": np.ones(len(pair)),
        "always_wavy": np.full(len(pair), waviness(ends)),
        "colour": np.hypot(*(ends.colour[pair[:, 0]] - ends.colour[pair[:, 1]]).T).clip(max=0.3),
        "gap": gap,
        "gap_root_in": gap * np.sqrt(distance_in),
        "gap_in": gap * distance_in,
        "gap_bare_in": gap * bare * distance_in,
        "gap_dip": gap * dip.mean(axis=0),
        "gap_at_meeting": gap * (ends.node[pair] >= 0).sum(axis=1),
        "gap_seam": gap * seam.max(axis=0),
        "gap_seam_share": gap * seam.mean(axis=0),
        "between_in": meets * distance_in,
        "dip": meets * dip.mean(axis=0),
        "dark_line": meets * dip.max(axis=0),
        "seam": meets * seam.max(axis=0),
        "seam_beside": meets * np.minimum(seam[BY_FIRST].max(axis=0), seam[BY_SECOND].max(axis=0)),
        "bare": meets * bare,
    }
    return features, turn


def waviness(ends: Ends) -> float:
    """How much more or less than usual the roots of the wall wiggle, on a log scale."""
    return float(np.log((1 + ends.wiggle_deg) / (1 + USUAL_WIGGLE_DEG)))


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
    arm_noise = (ends.heading_se_deg[pair] ** 2).sum(axis=1)
    # One root's centreline lies beside that of a bundle it is part of.
    beside = 2 * PLACE_SIGMA_PX + 0.5 * np.abs(ends.width_px[a] - ends.width_px[b])
    line_noise = np.degrees(np.arctan2(beside, length)) ** 2
    turn_sigma = np.sqrt(TURN_SIGMA_DEG**2 + arm_noise)
    sidestep_sigma = np.sqrt(SIDESTEP_SIGMA_DEG**2 + arm_noise + line_noise)
    turned = turn / turn_sigma
    stepped = np.abs(sidestep) / sidestep_sigma
    features = {
        "turn": turned,
        "turn_squared": np.minimum(turned**2, 25.0),
        "turn_wavy": waviness(ends) * turned,
        "sidestep": np.minimum(stepped, 5.0),
        "sidestep_squared": np.minimum(stepped**2, 25.0),
        "sidestep_wavy": waviness(ends) * np.minimum(stepped, 5.0),
        "short_arms": np.log(turn_sigma / TURN_SIGMA_DEG),
    }
    return features, turn


def width_features(
    ends: Ends, pair: NDArray[np.int64], company_px: NDArray[np.float64], px_per_in: float
) -> dict[str, NDArray[np.float64]]:
    """How the widths of two ends differ, less what the company of other roots explains."""
    width = np.sort(ends.width_px[pair], axis=1)
    single = np.maximum(width[:, 1] - company_px, width[:, 0])
    ratio = np.log(single / width[:, 0])
    short = 1 - ends.arm_px[pair].min(axis=1) / (ARM_IN * px_per_in)
    return {"width": ratio, "width_short": ratio * short}


def askew_deg(ends: Ends, pair: NDArray[np.int64]) -> NDArray[np.float64]:
    """``(T, 2)`` angle between each end's heading and the direction to the other end."""
    a, b = pair.T
    return np.column_stack([askew_of_deg(ends, a, b), askew_of_deg(ends, b, a)])


def askew_of_deg(ends: Ends, one: NDArray[np.int64], other: NDArray[np.int64]) -> NDArray[np.float64]:
    """``(T,)`` angle between the heading of one end and the direction to another."""
    return np.abs(_angle_deg(ends.heading[one], ends.place_px[other] - ends.place_px[one]))


def heading_doubt_deg(ends: Ends, one: NDArray[np.int64], other: NDArray[np.int64]) -> NDArray[np.float64]:
    """``(T,)`` two standard errors of the heading of one end and of the direction to another, together."""
    length = np.hypot(*(ends.place_px[other] - ends.place_px[one]).T)
    of_line: NDArray[np.float64] = np.degrees(np.arctan2(PLACE_SIGMA_PX, length))
    return 2 * np.hypot(ends.heading_se_deg[one], of_line)


def _looks_back(ends: Ends, pair: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Whether the second end lies clearly behind the first."""
    line = ends.place_px[pair[:, 1]] - ends.place_px[pair[:, 0]]
    ahead = np.einsum("ij,ij->i", ends.heading[pair[:, 0]], line)
    sure = ends.arm_px[pair[:, 0]] > 4 * PLACE_SIGMA_PX
    return sure & (ahead < 0) & (np.hypot(*line.T) > 4 * PLACE_SIGMA_PX)


def places_between(
    ends: Ends, pair: NDArray[np.int64], shape: tuple[int, ...]
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """``(13, T)`` rows and columns of an image on the straight line between the two ends of each pair."""
    t = np.linspace(0.05, 0.95, 13)[:, None, None]
    place = (1 - t) * ends.place_px[pair[:, 0]] + t * ends.place_px[pair[:, 1]]
    column, row = np.round(place).astype(int).transpose(2, 0, 1)
    return row.clip(0, shape[0] - 1), column.clip(0, shape[1] - 1)


def _angle_deg(u: Points, v: Points) -> NDArray[np.float64]:
    """Signed angle from ``u`` to ``v``."""
    cross = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]
    return np.degrees(np.arctan2(cross, np.einsum("ij,ij->i", u, v)))
