"""The growth pattern band."""

from rootread.measure.types import PatternBand
from rootread.settings import MeasureSettings


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
