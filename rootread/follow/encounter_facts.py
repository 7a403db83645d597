"""What is known of an encounter besides its picture, as numbers for the network."""

import math

import numpy as np
from numpy.typing import NDArray

from rootread.follow.encounters import Encounter
from rootread.follow.limbs import Limb, Limbs, against, angle_deg, cross, over
from rootread.plane.types import Surface

LEAST_REACH_IN, MARGIN_IN = 1.28, 0.7
"""A picture reaches at least so far to either side of its middle, and so far beyond the limbs' beginnings."""
TOUCHING_IN = 0.02
"""Limbs nearer to each other than this have no direction from one to the other."""
PLACE_FACTS, LIMB_FACTS, PAIR_FACTS = 9, 9, 13
THERE = slice(5, 9)
"""Facts that say which limbs there are."""
TURN = 5
"""Of the facts of a limb, the one that a mirror turns about: which way it bends."""
ASKEW, ASIDE, WIDENING = 4, 6, 9
"""Of the facts of a pair: twice two, of one limb and the other, and one whose sign is that of their order."""
FACTS = PLACE_FACTS + 4 * LIMB_FACTS + 4 * PAIR_FACTS
"""Numbers known of each encounter."""


def encounter_facts(
    encounter: Encounter, four: Limbs, step_in: float, surface: Surface
) -> NDArray[np.float32]:
    """``(97,)`` what is known of an encounter besides its picture; 0 of limbs that are not there.

    First of the encounter, then of each limb, then of how well each of these goes on as each other: as it was
    followed (heads with their own tails), and as it would be.
    """
    head, tail, other_head, other_tail = four
    counts = [p.onward - p.until for p in (encounter.first, encounter.second)]
    whole = [
        encounter.is_gap,
        encounter.first.turned + encounter.second.turned,
        counts[0] * step_in,
        counts[1] * step_in,
        picture_reach_in(four),
        *[limb is not None for limb in four],
    ]
    of_limbs = [fact for limb in four for fact in _limb_facts(limb, surface)]
    pairs = ((head, tail), (other_head, other_tail), (head, other_tail), (other_head, tail))
    of_pairs = [fact for one, other in pairs for fact in _pair_facts(one, other)]
    return np.array([*whole, *of_limbs, *of_pairs], dtype=np.float32)


def picture_reach_in(four: Limbs) -> float:
    """Half the length of an encounter's picture: over an inch, more where limbs lie far apart."""
    near = np.array([limb.line_in[0] for limb in four if limb is not None])
    apart_in = float(np.hypot(*np.ptp(near, axis=0)))
    return max(LEAST_REACH_IN, apart_in / 2 + MARGIN_IN)


def _limb_facts(limb: Limb | None, surface: Surface) -> list[float]:
    if limb is None:
        return [0.0] * LIMB_FACTS
    x, z = limb.line_in[[0, -1]].T
    return [*limb.facts, *(z - np.interp(x, *surface.line_in.T)).tolist()]


def _pair_facts(one: Limb | None, other: Limb | None) -> list[float]:
    """How well two limbs go on as each other; one comes to the place, the other leaves it."""
    if one is None or other is None:
        return [0.0] * PAIR_FACTS
    way_over = over(one, other)
    distance = math.hypot(*way_over)
    # Limbs lead away from where they were parted, so that the way into the place is against the limb's.
    bends = [angle_deg(against(a), b) for a, b in zip(one.way, other.way, strict=True)]
    is_apart = distance > TOUCHING_IN
    askew = [angle_deg(against(one.way[1]), way_over), angle_deg(way_over, other.way[1])]
    aside = [abs(cross(way, way_over)) for way in (one.way[1], other.way[1])]
    light, green_red, blue_yellow = (one.colour[0] - other.colour[0]).tolist()
    return [
        distance,
        *bends,
        *(askew if is_apart else [0.0, 0.0]),
        *aside,
        abs(math.log(one.width_in[0] / other.width_in[0])),
        math.log(one.width_in[1] / other.width_in[1]),
        math.hypot(green_red, blue_yellow),
        abs(light),
        math.dist(one.colour[1].tolist(), other.colour[1].tolist()),
    ]
