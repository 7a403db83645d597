"""The curve of passage against depth that a report shows, with its interval."""

from collections.abc import Sequence

import numpy as np
from scipy.special import ndtri

from rootread.judge.scores import root_weights
from rootread.judge.survival import DEPTH_STEP_IN, FEWEST_AT_RISK, passing_share, wall_risk
from rootread.judge.types import Layer, PassageCurve
from rootread.measure.types import Readings


def passage_curve(readings: Readings, layers: Sequence[Layer]) -> PassageCurve:
    """Passage against depth for the whole wall, with its 95 % interval.

    The interval is Greenwood's variance on the log-minus-log scale (Kalbfleisch
    and Prentice, The Statistical Analysis of Failure Time Data, ch. 1; from
    memory), which stays between 0 and 1. It speaks of roots like these, not of
    this wall alone. Where no root was held yet it has no width.
    """
    if not readings.roots:
        nothing = np.zeros(0)
        return PassageCurve(nothing, nothing, nothing, nothing, nothing)
    table = wall_risk(readings, layers)
    counts = root_weights(readings)
    share = passing_share(table, counts[None])[0]
    held, seen = counts @ table.held, counts @ table.at_risk
    at_risk = np.maximum(seen, FEWEST_AT_RISK)
    survived = np.maximum(at_risk - held, 0.5)
    greenwood = np.cumsum(held / (at_risk * survived))
    inside = (share > 0) & (share < 1)
    log_share = np.log(np.where(inside, share, 0.5))
    spread = np.where(inside, ndtri(0.975) * np.sqrt(greenwood) / np.abs(log_share), 0.0)
    low = np.where(inside, np.exp(log_share * np.exp(spread)), share)
    high = np.where(inside, np.exp(log_share * np.exp(-spread)), share)
    depth_in = np.arange(len(share), dtype=np.float64) * DEPTH_STEP_IN
    return PassageCurve(depth_in, share, low, high, seen)
