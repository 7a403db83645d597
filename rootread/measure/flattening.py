"""Flattened stretches: where a root looks wider than its own taper.

A root thins from base to tip, by much the same share an inch. Squeezed
between clods or against a layer it becomes a ribbon, and the wall shows its
broad side. So the logarithm of its visible width is a falling line with a
step up over each flattened stretch:

    log width = a + b s + log(ratio) [s in the stretch],   b <= 0

Line and step are fitted together by least squares for every stretch of half
inches, and the one that explains most is taken. Where the photo is at hand the
light says something too: a ribbon keeps its brightness to its edges, so the
falloff of light across the root (see ``light``) steps down where the width steps
up. Both must say so, and their errors being apart, their standard errors add up
as the sides of a right angle: ``z = sqrt(z_width^2 + z_light^2)``.

Widths read off a photo scatter, and neighbours err alike where a clod or a
shadow hides an edge; how much is taken from all roots of the wall, and a step
must stand out from it. A photo hides more width than it adds, so the level
that most of a root shows is its own and not the few slim pieces beside it. The
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
LEAST_EACH = 2.0
"""Standard errors by which width and light must each stand out, where both are known."""
LARGEST_SHARE = 0.6
"""Of a root; if more of it seems wide, the rest was read too slim."""
LEAST_SCATTER = 0.05
"""Of log width; no photo shows a half inch of root more exactly."""
MOST_MEMORY = 0.8


@dataclass(frozen=True)
class Noise:
    """How a figure scatters along the roots of a wall, half inch by half inch."""

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


@dataclass(frozen=True)
class WidthNoise:
    """How log widths scatter about the taper of their roots, and falloffs of light about their median."""

    width: Noise = Noise()
    light: Noise = Noise()


NO_NOISE = WidthNoise()


@dataclass(frozen=True)
class _Step:
    """A stretch of pieces, from ``start`` up to ``end``, that is wider by ``log_ratio``."""

    start: int
    end: int
    log_ratio: float
    width_errors: float
    """By how many standard errors it is wider."""
    light_errors: float | None
    """By how many its light falls off less; None where the light is not known."""

    @property
    def stands_out(self) -> bool:
        """Whether it is no scatter."""
        if self.light_errors is None:
            return self.width_errors >= STANDARD_ERRORS
        both = float(np.hypot(self.width_errors, self.light_errors))
        return both >= STANDARD_ERRORS and min(self.width_errors, self.light_errors) >= LEAST_EACH


def width_noise(
    widths_in: Sequence[Values],
    unclear: Sequence[NDArray[np.bool_]],
    settings: MeasureSettings,
    falloffs: Sequence[Values] | None = None,
) -> WidthNoise:
    """Scatter and memory of the widths of a wall, and of its light, from all roots long enough for a line.

    ``unclear`` says where each root's width is not its own, bridged or beside another root.
    """
    size = _piece_size(settings)
    widths, lights = [], []
    for index, (width, unseen) in enumerate(zip(widths_in, unclear, strict=True)):
        log_width, at = _pieces(_log(width), ~unseen, size)
        if len(at) < FEWEST_PIECES:
            continue
        widths.append(log_width - np.polyval(np.polyfit(at, log_width, 1), at))
        if falloffs is not None:
            falloff, _ = _pieces(falloffs[index], ~unseen, size)
            lights.append(falloff - np.median(falloff))
    return WidthNoise(Noise.of(widths), Noise.of(lights))


def flattened_points(
    width_in: Values,
    unclear: NDArray[np.bool_],
    noise: WidthNoise,
    settings: MeasureSettings,
    falloff: Values | None = None,
    upper_first: bool = True,
) -> NDArray[np.bool_]:
    """``(N,)`` True in stretches at least as wide and as long as the definition asks.

    Parts that were bridged, or touch another root, neither shape the taper nor count.

    Parameters
    ----------
    width_in : ``(N,)`` visible width at even steps along the root.
    unclear : ``(N,)`` True where the root was bridged or touches another.
    noise : of the wall's widths and light.
    falloff : ``(N,)`` falloff of light across the root; None without a photo.
    upper_first : whether the first point is the upper end.
    """
    if not upper_first:
        turned = None if falloff is None else falloff[::-1]
        return flattened_points(width_in[::-1], unclear[::-1], noise, settings, turned)[::-1]
    flat = np.zeros(len(width_in), dtype=bool)
    size = _piece_size(settings)
    log_width, at = _pieces(_log(width_in), ~unclear, size)
    light = None if falloff is None else _pieces(falloff, ~unclear, size)[0]
    wide = np.zeros(len(at), dtype=bool)
    for _ in range(MOST_STRETCHES):
        free = ~wide
        if free.sum() < FEWEST_PIECES:
            break
        step = _best_step(
            log_width[free], None if light is None else light[free], at[free].astype(float), noise
        )
        if step is None or not step.stands_out:
            break
        pieces = np.flatnonzero(free)[step.start : step.end]
        wide[pieces] = True
        if wide.mean() > LARGEST_SHARE:
            break
        if step.log_ratio >= np.log(settings.flattened_ratio) and pieces[0] > 0:
            for piece in at[pieces]:
                flat[piece * size : (piece + 1) * size] = True
    return flat & ~unclear


def _log(width_in: Values) -> Values:
    return np.log(np.maximum(width_in, 1e-3))


def _piece_size(settings: MeasureSettings) -> int:
    return max(round(settings.flattened_min_length_in / settings.step_in), 1)


def _pieces(values: Values, seen: NDArray[np.bool_], size: int) -> tuple[Values, NDArray[np.intp]]:
    """Median of each piece of ``size`` points that was mostly seen, and which piece it is."""
    count = len(values) // size
    mostly = seen[: count * size].reshape(count, size).mean(axis=1) > 0.5
    return np.median(values[: count * size].reshape(count, size)[mostly], axis=1), np.flatnonzero(mostly)


def _best_step(log_width: Values, light: Values | None, s: Values, noise: WidthNoise) -> _Step | None:
    """The stretch that stands out most: wider beside a falling line, and lit more evenly."""
    count = len(s)
    start, past = (index.ravel() for index in np.triu_indices(count + 1, k=1))
    proper = (past - start) < count - 1
    start, past = start[proper], past[proper]
    inside = ((np.arange(count) >= start[:, None]) & (np.arange(count) < past[:, None])).astype(float)
    ratio, rest, slope = _fit(log_width, s, inside, sloping=True)
    level_ratio, level_rest, _ = _fit(log_width, s, inside, sloping=False)
    ratio, rest = np.where(slope <= 0, ratio, level_ratio), np.where(slope <= 0, rest, level_rest)
    length = past - start
    effective = 1 / (1 / length + 1 / (count - length))
    wider = _standard_errors(ratio, rest, effective, count - 3, noise.width)
    if light is None:
        lit, both = None, np.where(ratio > 0, -rest, -np.inf)
    else:
        drop, light_rest, _ = _fit(light, s, inside, sloping=False)
        lit = _standard_errors(-drop, light_rest, effective, count - 2, noise.light)
        both = np.where((wider > 0) & (lit > 0), np.hypot(wider, lit), -np.inf)
    best = int(np.argmax(both))
    if not np.isfinite(both[best]):
        return None
    return _Step(
        int(start[best]),
        int(past[best]),
        float(ratio[best]),
        float(wider[best]),
        None if lit is None else float(lit[best]),
    )


def _standard_errors(step: Values, rest: Values, effective: Values, freedom: int, noise: Noise) -> Values:
    """By how many standard errors each step differs from none.

    Parameters
    ----------
    rest : residual sum of squares of the fit with the step.
    effective : ``1 / (1 / pieces inside + 1 / pieces outside)``.
    """
    scatter = np.maximum(np.sqrt(rest / max(freedom, 1)), noise.scatter) * noise.inflation
    return step * np.sqrt(effective) / scatter


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
