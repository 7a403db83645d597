"""Measure each root and the wall."""

from rootread.measure.types import Interval, Readings, RootReading, SidewaysRun, Turn
from rootread.measure.wall import measure_wall

__all__ = ["Interval", "Readings", "RootReading", "SidewaysRun", "Turn", "measure_wall"]
