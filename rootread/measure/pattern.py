"""The growth pattern band, and the shares of root length below, in and above it."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rootread.measure.types import PatternBand
from rootread.settings import MeasureSettings


@dataclass(frozen=True)
class PatternShares:
    """Shares of root length; they sum to 1."""

    shallow: float
    in_pattern: float
    steep: float


def pattern_band(settings: MeasureSettings, angle_se_deg: float) -> PatternBand:
    """The band of the settings, stated from the horizontal whichever way it was given.

    A pattern of 30 to 35 degrees from the plumb line is one of 55 to 60
    degrees below horizontal. Each edge is widened by two standard errors of
    the wall's level, and by ``min_angle_uncertainty_deg`` at least.
    """
    low, high = settings.pattern_low_deg, settings.pattern_high_deg
    if settings.pattern_from == "plumb":
        low, high = 90.0 - high, 90.0 - low
    return PatternBand(low, high, max(settings.min_angle_uncertainty_deg, 2.0 * angle_se_deg))


def pattern_shares(
    descent_deg: NDArray[np.float64], weight: NDArray[np.float64], band: PatternBand
) -> PatternShares:
    """Shares of evenly spaced descents below, in and above the widened band; NaN for no descents.

    ``weight`` is how much each ``(K,)`` descent counts.
    """
    if weight.sum() == 0:
        return PatternShares(np.nan, np.nan, np.nan)
    shallow = float(np.average(descent_deg < band.low_deg - band.widened_by_deg, weights=weight))
    steep = float(np.average(descent_deg > band.high_deg + band.widened_by_deg, weights=weight))
    return PatternShares(shallow, 1.0 - shallow - steep, steep)
