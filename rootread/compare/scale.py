"""An axis with round numbers, upright or level."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from markupsafe import Markup

from rootread.report.faces import Face
from rootread.report.svg import line, text

ROUND_STEPS = [1, 2, 5, 10]
"""Between marks on an axis, times a power of ten."""
TICK_PX = 11
"""Height of the numbers' letters."""
ALIKE = 1e-6
"""Figures that differ by less do not differ as they are written."""


@dataclass(frozen=True)
class Scale:
    """Round numbers as they are written, and where they come on a drawing."""

    low: float
    high: float
    ticks: tuple[float, ...]

    @staticmethod
    def over(values: Sequence[float], times: float, most: float = math.inf) -> "Scale":
        """A scale that holds all values, each multiplied by ``times`` as it is written.

        It goes no further than values can: up to ``most``, and down to ``-most``.
        """
        # Imported here, since a run that compares nothing would wait for it.
        from matplotlib.ticker import MaxNLocator

        written = np.array([value * times for value in values if math.isfinite(value)])
        limit = max(most * times, float(np.abs(written).max()))
        # Figures that are all alike have an axis all the same.
        pad = 0.06 * float(np.ptp(written)) if np.ptp(written) > ALIKE else 0.05 * abs(written.max()) or 1.0
        # No axis goes beyond zero for figures that do not.
        least = max(written.min() - pad, -limit if written.min() < 0 else 0.0)
        highest = min(written.max() + pad, limit if written.max() > 0 or not written.any() else 0.0)
        ticks = MaxNLocator(5, steps=ROUND_STEPS).tick_values(least, highest)
        kept = tuple(float(tick) for tick in ticks if abs(tick) <= limit * (1 + 1e-9))
        return Scale(kept[0], kept[-1], kept)

    def between(self, start: float, end: float, written: float) -> float:
        """Where a number comes on an axis drawn from ``start`` to ``end``."""
        return start + (end - start) * (written - self.low) / (self.high - self.low)

    def upright(self, left: float, right: float, top: float, bottom: float, signed: bool) -> list[Markup]:
        """Level lines from ``left`` to ``right``, each with its number at the left."""
        marks = []
        for tick, written in zip(self.ticks, self._written(signed), strict=True):
            row = self.between(bottom, top, tick)
            marks.append(line(left, row, right, row, "edge"))
            marks.append(text(left - 6, row + 4, written, "end", "tick"))
        return marks

    def level(self, left: float, right: float, top: float, bottom: float, signed: bool) -> list[Markup]:
        """Upright lines from ``top`` to ``bottom``, each with its number above where there is room."""
        marks, numbers, face = [], self._written(signed), Face(TICK_PX)
        apart = (right - left) / max(len(self.ticks) - 1, 1)
        every = math.ceil((max(face.getlength(number) for number in numbers) + 6) / apart)
        # Counted from zero, so that zero has its number.
        first = self.ticks.index(0.0) % every if 0.0 in self.ticks else 0
        for k, (tick, number) in enumerate(zip(self.ticks, numbers, strict=True)):
            x = self.between(left, right, tick)
            marks.append(line(x, top, x, bottom, "edge"))
            if k % every == first:
                marks.append(text(x, top - 6, number, "middle", "tick"))
        return marks

    def _written(self, signed: bool) -> list[str]:
        digits = max(0, *(_decimals(tick) for tick in self.ticks))
        return [f"{tick:{'+' if signed and tick else ''}.{digits}f}".replace("-", "−") for tick in self.ticks]


def _decimals(tick: float) -> int:
    return next((n for n in range(4) if abs(round(tick, n) - tick) < 1e-9), 4)
