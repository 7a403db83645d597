"""Flattened stretches where widths alone are known: where a root looks wider than its own taper.

A root thins from base to tip, by much the same share an inch. Squeezed
between clods or against a layer it becomes a ribbon, and the wall shows its
broad side. So the logarithm of its visible width is a falling line with a
step up over each flattened stretch:

    log width = a + b s + log(ratio) [s in the stretch],   b <= 0

Line and step are fitted together by least squares for every stretch of pieces
as long as the shortest that is asked for, a half inch as a rule, and the one
that explains most is taken. This is for widths that a drawing or a table
gives; where a photo is at hand, what else it shows is asked too (see
``squeezed``).

Widths scatter, and neighbours err alike; how much is taken from all roots of
the wall, and a step must stand out from it. The
upper end of a trace is thickest by nature, or by a join with a thicker root,
so a stretch that begins there is not taken. Where two roots touch, the width
read is neither's own, and tells nothing.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rootread.settings import MeasureSettings

Values = NDArray[np.float64]

FEWEST_PIECES = 5
"""A line, a step and a scatter cannot be told from fewer widths."""
STANDARD_ERRORS = 4.0
"""The best of some hundred stretches is taken, so it must stand out by more than the usual two."""
MOST_STRETCHES = 3
LARGEST_SHARE = 0.6
"""Of a root; if more of it seems wide, the rest was read too slim."""
LEAST_SCATTER = 0.05
"""Of log width; no photo shows a half inch of root more exactly."""
MOST_MEMORY = 0.8


@dataclass(frozen=True)
class Noise:
    """How log widths scatter about the taper of their roots, half inch by half inch."""

    scatter: float = LEAST_SCATTER
    """Standard deviation."""
    memory: float = 0.0
    """Correlation of one half inch with the next."""

    @property
    def inflation(self) -> float:
        """By how much memory raises the error of a mean: ``sqrt((1 + r) / (1 - r))``."""
        return float(np.sqrt((1 + self.memory) / (1 - self.memory)))

    @classmethod
    def of(cls, rests: Sequence[Values]) -> "Noise":
        """From what is left of each root when its own course is taken off.

        The scatter is a median, so that the flattened roots of the wall do not set it.
        """
        if not rests:
            return cls()
        every = np.concatenate(rests)
        squares = float(every @ every)
        next_to = float(sum(rest[1:] @ rest[:-1] for rest in rests))
        scatter = 1.4826 * float(np.median(np.abs(every)))  # the sd of a normal from its median deviation
        memory = min(max(next_to / squares, 0.0), MOST_MEMORY) if squares > 0 else 0.0
        return cls(max(scatter, LEAST_SCATTER), memory)


NO_NOISE = Noise()


@dataclass(frozen=True)
class _Step:
    """A stretch of pieces, from ``start`` up to ``end``, that is wider by ``log_ratio``."""

    start: int
    end: int
    log_ratio: float
    standard_errors: float
    """By how many it is wider."""


def width_noise(
    widths_in: Sequence[Values], unclear: Sequence[NDArray[np.bool_]], settings: MeasureSettings
) -> Noise:
    """Scatter and memory of the widths of a wall, from all roots long enough for a line.

    ``unclear`` says where each root's width is not its own, bridged or beside another root.
    """
    size = _piece_size(settings)
    rests = []
    for width, unseen in zip(widths_in, unclear, strict=True):
        log_width, at = _pieces(_log(width), ~unseen, size)
        if len(at) >= FEWEST_PIECES:
            rests.append(log_width - np.polyval(np.polyfit(at, log_width, 1), at))
    return Noise.of(rests)


def flattened_points(
    width_in: Values,
    unclear: NDArray[np.bool_],
    noise: Noise,
    settings: MeasureSettings,
) -> NDArray[np.bool_]:
    """``(N,)`` True in stretches at least as wide and as long as the definition asks.

    Parts that were bridged, or touch another root, neither shape the taper nor count.

    Parameters
    ----------
    width_in : ``(N,)`` visible width at even steps along the root, from its upper end on.
    unclear : ``(N,)`` True where the root was bridged or touches another.
    noise : of the wall's widths.
    """
    flat = np.zeros(len(width_in), dtype=bool)
    size = _piece_size(settings)
    log_width, at = _pieces(_log(width_in), ~unclear, size)
    wide = np.zeros(len(at), dtype=bool)
    for _ in range(MOST_STRETCHES):
        free = ~wide
        if free.sum() < FEWEST_PIECES:
            break
        step = _best_step(log_width[free], at[free].astype(float), noise)
        if step is None or step.standard_errors < STANDARD_ERRORS:
            break
        pieces = np.flatnonzero(free)[step.start : step.end]
        wide[pieces] = True
        if wide.mean() > LARGEST_SHARE:
            break
        if step.log_ratio >= np.log(settings.flattened_ratio) and pieces[0] > 0:
            for piece in at[pieces]:
                flat[piece * size : (piece + 1) * size] = True
    return flat & ~unclear


def _piece_size(settings: MeasureSettings) -> int:
    return max(round(settings.flattened_min_length_in / settings.step_in), 1)


def _log(width_in: Values) -> Values:
    return np.log(np.maximum(width_in, 1e-3))


def _pieces(values: Values, seen: NDArray[np.bool_], size: int) -> tuple[Values, NDArray[np.intp]]:
    """Median of each piece of ``size`` points that was mostly seen, and which piece it is."""
    count = len(values) // size
    mostly = seen[: count * size].reshape(count, size).mean(axis=1) > 0.5
    return np.median(values[: count * size].reshape(count, size)[mostly], axis=1), np.flatnonzero(mostly)


def _best_step(log_width: Values, s: Values, noise: Noise) -> _Step | None:
    """The stretch that explains most, wider beside a falling line."""
    count = len(s)
    start, past = (index.ravel() for index in np.triu_indices(count + 1, k=1))
    proper = (past - start) < count - 1
    start, past = start[proper], past[proper]
    inside = ((np.arange(count) >= start[:, None]) & (np.arange(count) < past[:, None])).astype(float)
    ratio, rest, slope = _fit(log_width, s, inside, sloping=True)
    level_ratio, level_rest, _ = _fit(log_width, s, inside, sloping=False)
    ratio, rest = np.where(slope <= 0, ratio, level_ratio), np.where(slope <= 0, rest, level_rest)
    explains = np.where(ratio > 0, -rest, -np.inf)
    best = int(np.argmax(explains))
    if not np.isfinite(explains[best]):
        return None
    length = float(past[best] - start[best])
    # The error of a difference of two means, of the pieces inside and of those outside.
    effective = 1 / (1 / length + 1 / (count - length))
    scatter = max(float(np.sqrt(rest[best] / max(count - 3, 1))), noise.scatter) * noise.inflation
    errors = float(ratio[best] * np.sqrt(effective) / scatter)
    return _Step(int(start[best]), int(past[best]), float(ratio[best]), errors)


def _fit(y: Values, s: Values, inside: NDArray[np.float64], sloping: bool) -> tuple[Values, Values, Values]:
    """Least squares of ``y = a + b s + c inside`` for each row of ``inside``.

    Returns c, the residual sum of squares, and b (0 when not sloping). What
    a and b explain is first taken out of y and of each row; then c is the
    slope of one on the other.
    """
    y_rest, z_rest = y - y.mean(), inside - inside.mean(axis=1, keepdims=True)
    centred = s - s.mean()
    spread = float(centred @ centred)
    on_y = float(centred @ y_rest) / spread
    on_z = z_rest @ centred / spread
    if sloping:
        y_rest = y_rest - on_y * centred
        z_rest = z_rest - on_z[:, None] * centred
    power = np.maximum((z_rest**2).sum(axis=1), 1e-9)
    c = z_rest @ y_rest / power
    rest = np.maximum(y_rest @ y_rest - c**2 * power, 0.0)
    b = on_y - c * on_z if sloping else np.zeros_like(c)
    return c, rest, b
