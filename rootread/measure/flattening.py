"""Flattened stretches: where a root looks wider than its own taper.

A root thins from base to tip. Squeezed between clods or against a layer it
becomes a ribbon, and the wall shows its broad side, so its visible width
stands out above the taper. Flattening only ever widens what is seen, so the
taper is the straight line through the slimmer part of the widths.
"""

import numpy as np
from numpy.typing import NDArray

from rootread.measure.sideways import stretches
from rootread.settings import MeasureSettings

OUTLIER_RATIO = 1.2
"""Widths above this many times the line are set aside and the line is fitted again; natural
knobbiness and the error of a width stay within about a tenth."""
FIT_ROUNDS = 8


def taper(along_in: NDArray[np.float64], width_in: NDArray[np.float64]) -> NDArray[np.float64]:
    """The width a root would have without flattening, at each place along it.

    A straight line by least squares, fitted again without the widths that
    stand above it until nothing changes. The start is a level line at the
    lower quartile, so that a root flattened over most of its length still
    finds its slim part. A line that widens toward the tip is replaced by the
    median of the widths kept, because roots do not grow thicker downward.

    Parameters
    ----------
    along_in, width_in : ``(N,)`` places along the root and visible widths there.
    """
    line = np.full(len(width_in), np.quantile(width_in, 0.25))
    kept = width_in <= OUTLIER_RATIO * line
    for _ in range(FIT_ROUNDS):
        line = _falling_line(along_in[kept], width_in[kept], along_in)
        now = width_in <= OUTLIER_RATIO * line
        if now.sum() < 2 or np.array_equal(now, kept):
            break
        kept = now
    return line


def _falling_line(
    s: NDArray[np.float64], width: NDArray[np.float64], at: NDArray[np.float64]
) -> NDArray[np.float64]:
    spread = float(np.sum((s - s.mean()) ** 2))
    slope = float(np.sum((s - s.mean()) * (width - width.mean()))) / spread if spread > 0 else 0.0
    if slope >= 0:
        return np.full(len(at), np.median(width))
    least = 0.25 * width.mean()  # a tip never tapers to nothing within what a photo shows
    return np.maximum(width.mean() + slope * (at - s.mean()), least)


def flattened_points(
    width_in: NDArray[np.float64], inferred: NDArray[np.bool_], settings: MeasureSettings
) -> NDArray[np.bool_]:
    """``(N,)`` True in stretches at least as wide and as long as the definition asks.

    Bridged parts were not seen, so they neither shape the taper nor count.
    """
    flat = np.zeros(len(width_in), dtype=bool)
    seen = ~inferred
    if seen.sum() < 2:
        return flat
    along_in = np.arange(len(width_in), dtype=np.float64) * settings.step_in
    expected = np.interp(along_in, along_in[seen], taper(along_in[seen], width_in[seen]))
    wide = seen & (width_in >= settings.flattened_ratio * expected)
    for start, end in stretches(wide):
        if (end - start) * settings.step_in >= settings.flattened_min_length_in:
            flat[start:end] = True
    return flat
