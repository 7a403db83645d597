"""Do the signs of a layer gather at a depth more than chance would have it?

Kulldorff's scan statistic (Communications in Statistics 26:1481-1496, 1997;
from memory) over windows of depth and of width along the wall, level and
slanting a little either way. A sign counts by its weight, the more the farther
its root ran: roots that wiggle turn level anywhere, but do not run on. Under
the null hypothesis a root is diverted, or squeezed, just as well at any depth
that it covers, so every sign is moved, with its weight, to a random depth
within its own root's reach and the root's x there. A trace that begins in
mid-wall is a lateral or a piece of a root whose way is not known; it is moved
to any depth in proportion to how many roots of the wall cover that depth. So
each random wall has as many roots at each depth as the true one.
Roots end at some depths more than at others without any layer, for they grow
to like lengths; so a stop is moved by a few inches only, and stops tell of a
layer if they gather more closely than that. The largest statistic of all
windows is compared with the largest of each random wall, which corrects for
having looked everywhere. Once a gathering is set aside, its band of wall is no
longer looked at, in the wall and in the random ones: the signs that are left
lie outside it, and chance must not spread them over it, or what gathers
elsewhere would seem more than it is (Zhang, Assuncao and Kulldorff, Spatial
scan statistics adjusted for multiple clusters, 2010; from memory).
Of a p value near the one that decides, so many random walls more are made that
the answer lies in the wall and not in the draw.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import lambertw

from rootread.geometry import Points
from rootread.judge.gathering import Band, Gathering
from rootread.judge.signs import Sign

DEPTH_BIN_IN = 0.2
X_BINS = 6
"""Widths scanned run from a third of the rooted wall to all of it, in sixths."""
NARROWEST_BINS = 2
SPANS = [(a, b) for a in range(X_BINS) for b in range(a + NARROWEST_BINS, X_BINS + 1)]
"""First sixth of each width, and the sixth past its last."""
SEEN_FROM_IN = 3.0
"""A trace that begins above this depth is followed from where it came in; its reach is its own."""
FROM_TOP_IN = 1.0
"""No run counts above this depth, so none is moved there."""
COVER_BLUR_IN = 1.0
"""The number of roots at a depth is averaged over this much."""
FEWEST_EVENTS = 3
"""Two roots that happen to turn at one depth are no layer, however few turn elsewhere."""
HEIGHTS_BINS = (4, 8)
"""Heights of window, 0.8 and 1.6 in: roots at one even layer, and at one that undulates."""
SLOPES = (0.0, -0.06, 0.06, -0.12, 0.12)
"""Slants of window, inches down per inch to the right; 0.12 is 4 in over a wall of 36. Between two of
them a layer leaves the middle of a tall window by half an inch at the wall's ends."""
SLANT_COST = 5.0
"""Of the statistic, which is a log likelihood ratio: most layers are level, so a slanting window must say
clearly more."""
STOP_MOVES_IN = 4.0
"""A stop is moved by so much at most, up or down."""
SMALL = np.int16
"""Signs in a window and their weight; small numbers are added fastest."""
CLOSE_CALL_SE = 3.0
"""A p value within so many of its standard errors of the one that decides is a close call ..."""
CLOSE_CALL_DRAWS = 10
"""... for which ten times as many random walls are made."""
WALLS_AT_ONCE = 1000
"""Random walls made and looked at together, so that memory does not grow with their number."""
ROUNDING = 1e-9
"""Of a weight worked out: whole numbers are not lifted over themselves."""
LEAST_EXPECTED = 1e-3
"""Where chance would bring no sign at all, so much weight."""


@dataclass(frozen=True, eq=False)
class _Chances:
    """For each sign, how much it counts, where it is and where it could as well have been."""

    weight: NDArray[np.int64]
    """``(signs,)``"""
    own: NDArray[np.intp]
    """``(signs,)`` depth bin."""
    chance: NDArray[np.float64]
    """``(signs, depth bins)`` rows sum to 1."""
    x_in: NDArray[np.float64]
    """``(signs, depth bins)`` where its root is at each depth."""

    def draw(self, walls: int, rng: np.random.Generator) -> NDArray[np.intp]:
        """``(walls, signs)`` random depth bins."""
        at = rng.random((len(self.own), walls))
        summed = np.cumsum(self.chance, axis=1)
        drawn = [np.searchsorted(row, u * row[-1], side="right") for row, u in zip(summed, at, strict=True)]
        return np.minimum(np.stack(drawn, axis=1), self.chance.shape[1] - 1)


def strongest_gathering(
    signs: Sequence[Sign],
    centrelines: Sequence[Points],
    x_range_in: tuple[float, float],
    permutations: int,
    rng: np.random.Generator,
    set_aside: Sequence[Band] = (),
    decided_at: float | None = None,
) -> Gathering | None:
    """The window where signs exceed their expectation most; None with fewer than three signs.

    Parameters
    ----------
    signs : with ``root`` an index into ``centrelines``.
    centrelines : ``(N, 2)`` points of each root.
    x_range_in : left and right end of the rooted wall.
    permutations : how many random walls to compare with.
    set_aside : bands whose signs were taken out; random walls have none there either.
    decided_at : the p value below which it counts; where it is a close call, more walls are compared.
    """
    if len(signs) < FEWEST_EVENTS:
        return None
    # Where the surface slopes, roots may all lie above its mean level; no layer is told of them.
    depth_bins = max(int(max(line[:, 1].max() for line in centrelines) / DEPTH_BIN_IN) + 1, 1)
    chances = _chances(signs, centrelines, depth_bins, set_aside)
    views = [_slanted(chances, x_range_in, slope) for slope in SLOPES]
    best = max((view.strongest(chances.own) for view in views), key=lambda one: one.statistic)
    as_strong = _as_strong(views, chances, permutations, best.statistic, rng)
    drawn = permutations
    if decided_at is not None and _close_call(_p_value(as_strong, drawn), decided_at, drawn):
        for _ in range(CLOSE_CALL_DRAWS - 1):
            as_strong += _as_strong(views, chances, permutations, best.statistic, rng)
            drawn += permutations
    return replace(best, p_value=_p_value(as_strong, drawn))


def _as_strong(
    views: Sequence["_Slanted"], chances: _Chances, walls: int, statistic: float, rng: np.random.Generator
) -> int:
    """How many of so many random walls have a window of a statistic, in any view."""
    at_once = [min(WALLS_AT_ONCE, walls - made) for made in range(0, walls, WALLS_AT_ONCE)]
    return sum(_reaching(views, chances.draw(count, rng), statistic) for count in at_once)


def _reaching(views: Sequence["_Slanted"], drawn: NDArray[np.intp], statistic: float) -> int:
    """The same of ``(walls, signs)`` random depth bins."""
    reached = np.zeros(len(drawn), dtype=bool)
    for view in views:
        weaker = np.flatnonzero(~reached)
        reached[weaker] = view.reaches(drawn[weaker], statistic)
    return int(reached.sum())


def _p_value(as_strong: int, drawn: int) -> float:
    """Share of walls as strong; the true one is among them."""
    return (1 + as_strong) / (1 + drawn)


def _close_call(p_value: float, decided_at: float, drawn: int) -> bool:
    """Whether another draw might well decide otherwise: a share p of n has the variance ``p (1 - p) / n``."""
    standard_error = float(np.sqrt(decided_at * (1.0 - decided_at) / drawn))
    return abs(p_value - decided_at) < CLOSE_CALL_SE * standard_error


@dataclass(frozen=True, eq=False)
class _Slanted:
    """The wall sheared by a slope, so that a layer of that slope is level."""

    slope: float
    x_range_in: tuple[float, float]
    weight: NDArray[np.int64]
    """``(signs,)``"""
    z_bin: NDArray[np.intp]
    """``(signs, depth bins)`` sheared depth bin at each depth a sign may be at, 0 and up."""
    x_bin: NDArray[np.intp]
    first_bin: int
    """Sheared bin 0, counted from the soil surface."""
    bins: int
    expected: NDArray[np.float64]
    """``(shapes, starts)`` weight that chance would bring into each window."""

    @property
    def middle_x_in(self) -> float:
        return (self.x_range_in[0] + self.x_range_in[1]) / 2

    @property
    def weight_of_one(self) -> float:
        """``sum w^2 / sum w``: so much more than a Poisson count of its mean does a sum of weights vary."""
        return float((self.weight**2).sum() / self.weight.sum())

    def strongest(self, depth_bin: NDArray[np.intp]) -> Gathering:
        """The window of the largest statistic for ``(signs,)`` depth bins; its p value is not known yet."""
        weights = np.array([weight[:, 0] for weight in _windows(self._weights(depth_bin[None]))])
        counts = np.array([count[:, 0] for count in _windows(self._counts(depth_bin[None]))])
        found = self._statistic(weights, counts)
        best = np.unravel_index(int(np.argmax(found)), found.shape)
        height, (x_first, x_past) = _window_shapes()[int(best[0])]
        left, right = self.x_range_in
        width_in = (right - left) / X_BINS
        return Gathering(
            z_from_in=float((best[1] + self.first_bin) * DEPTH_BIN_IN),
            z_to_in=float((best[1] + self.first_bin + height) * DEPTH_BIN_IN),
            x_from_in=left + x_first * width_in,
            x_to_in=left + x_past * width_in,
            statistic=float(found[best]),
            p_value=1.0,
            slope=self.slope,
            middle_x_in=self.middle_x_in,
        )

    def reaches(self, depth_bin: NDArray[np.intp], statistic: float) -> NDArray[np.bool_]:
        """``(walls,)`` whether a window of each wall comes to a statistic, for ``(walls, signs)`` depth bins.

        The statistic of a window grows with the weight in it, so summing that is enough; signs are
        counted only in walls that have the weight somewhere.
        """
        if statistic <= 0:
            return np.ones(len(depth_bin), dtype=bool)
        least = self._least_weight(statistic)
        reached = np.zeros(len(depth_bin), dtype=bool)
        for weight, enough in zip(_windows(self._weights(depth_bin)), least, strict=True):
            reached |= (weight >= enough[:, None]).any(axis=0)
        heavy = np.flatnonzero(reached)
        reached[heavy] = False
        both = zip(
            _windows(self._weights(depth_bin[heavy])), _windows(self._counts(depth_bin[heavy])), strict=True
        )
        for (weight, count), enough in zip(both, least, strict=True):
            reached[heavy] |= ((weight >= enough[:, None]) & (count >= FEWEST_EVENTS)).any(axis=0)
        return reached

    def _weights(self, depth_bin: NDArray[np.intp]) -> NDArray[np.integer]:
        """``(depth bins, x bins, walls)`` weight in each cell of ``(walls, signs)`` depth bins."""
        return self._cells(depth_bin, self.weight)

    def _counts(self, depth_bin: NDArray[np.intp]) -> NDArray[np.integer]:
        """``(depth bins, x bins, walls)`` signs in each cell of ``(walls, signs)`` depth bins."""
        return self._cells(depth_bin, np.ones_like(self.weight))

    def _cells(self, depth_bin: NDArray[np.intp], each: NDArray[np.int64]) -> NDArray[np.integer]:
        """``(depth bins, x bins, walls)`` sums over the signs in each cell of ``each`` ``(signs,)``."""
        walls, sign = len(depth_bin), np.arange(depth_bin.shape[1])
        place = self.z_bin[sign, depth_bin] * X_BINS + self.x_bin[sign, depth_bin]
        flat = place * walls + np.arange(walls)[:, None]
        summed = np.bincount(
            flat.ravel(), np.broadcast_to(each, flat.shape).ravel(), self.bins * X_BINS * walls
        )
        return summed.reshape(self.bins, X_BINS, walls).astype(self._whole)

    @property
    def _whole(self) -> type[np.signedinteger[Any]]:
        """Whole numbers as small as hold the weight of all signs."""
        return SMALL if self.weight.sum() < np.iinfo(SMALL).max else np.int64

    def _statistic(self, weights: NDArray[np.integer], counts: NDArray[np.integer]) -> NDArray[np.float64]:
        """``(shapes, starts)`` Poisson log likelihood ratio of each window, 0 where chance brings as much.

        Of the weight w where E is expected, it is ``(w ln(w/E) - (w - E)) / weight of one``. Windows with too
        few signs to be called a layer count as 0 too, in the wall and in every permutation.
        """
        more = (weights > self.expected) & (counts >= FEWEST_EVENTS)
        w = np.where(more, weights, 1.0)
        ratio = (w * np.log(w / self.expected) - (w - self.expected)) / self.weight_of_one
        return np.where(more, np.maximum(ratio - self._cost, 0.0), 0.0)

    def _least_weight(self, statistic: float) -> NDArray[np.integer]:
        """``(shapes, starts)`` least whole weight with which each window comes to a statistic above 0.

        ``w ln(w/E) - (w - E) = r`` has the solution ``w = E exp(1 + W((r/E - 1) / e))`` above E, where W is
        Lambert's function (Corless and others, Advances in Computational Mathematics 5:329-359, 1996; from
        memory).
        """
        ratio = (statistic + self._cost) * self.weight_of_one
        least = self.expected * np.exp(1.0 + lambertw((ratio / self.expected - 1.0) / np.e).real)
        more_than_all = self.weight.sum() + 1
        return np.minimum(np.ceil(least - ROUNDING), more_than_all).astype(self._whole)

    @property
    def _cost(self) -> float:
        return SLANT_COST if self.slope else 0.0


def _slanted(chances: _Chances, x_range_in: tuple[float, float], slope: float) -> _Slanted:
    middle = (x_range_in[0] + x_range_in[1]) / 2
    depth = np.arange(chances.chance.shape[1])
    lifted = np.round(slope * (chances.x_in - middle) / DEPTH_BIN_IN).astype(np.intp)
    z_bin = depth - lifted
    first = int(z_bin.min())
    z_bin = z_bin - first
    bins = int(z_bin.max()) + 1
    x_bin = _x_bin(chances.x_in, x_range_in)
    flat = (z_bin * X_BINS + x_bin).ravel()
    cells = np.bincount(flat, (chances.chance * chances.weight[:, None]).ravel(), bins * X_BINS)
    expected = np.array([window[:, 0] for window in _windows(cells.reshape(bins, X_BINS, 1))])
    expected = np.maximum(expected, LEAST_EXPECTED)
    return _Slanted(slope, x_range_in, chances.weight, z_bin, x_bin, first, bins, expected)


def _x_bin(x_in: NDArray[np.float64], x_range_in: tuple[float, float]) -> NDArray[np.intp]:
    left, right = x_range_in
    return np.clip((x_in - left) / max(right - left, 1e-9) * X_BINS, 0, X_BINS - 1).astype(np.intp)


def _chances(
    signs: Sequence[Sign],
    centrelines: Sequence[Points],
    depth_bins: int,
    set_aside: Sequence[Band] = (),
) -> _Chances:
    middles_in = (np.arange(depth_bins) + 0.5) * DEPTH_BIN_IN
    ways = [_way_down(line) for line in centrelines]
    covered = np.array([(middles_in >= z[0]) & (middles_in <= z[-1]) for _, z in ways], dtype=float)
    blur = round(COVER_BLUR_IN / DEPTH_BIN_IN)
    deep_enough = middles_in > FROM_TOP_IN
    # "same" would be as long as the blur where a wall is less deep than that.
    blurred = np.convolve(covered.sum(axis=0), np.ones(blur) / blur)[blur // 2 : blur // 2 + depth_bins]
    anywhere = blurred * deep_enough
    owns, rows, places = [], [], []
    for sign in signs:
        x, z = ways[sign.root]
        own = int(np.clip(sign.depth_in / DEPTH_BIN_IN, 0, depth_bins - 1))
        if sign.kind == "stopped":
            row = anywhere * (np.abs(middles_in - sign.depth_in) <= STOP_MOVES_IN)
        elif z[0] <= SEEN_FROM_IN:
            row = covered[sign.root] * deep_enough
        else:
            row = anywhere.copy()
        x_at_in = np.interp(middles_in, z, x)
        for band in set_aside:
            row = np.where(band.covers(x_at_in, middles_in), 0.0, row)
        row[own] = max(row[own], row.max(), 1e-9)
        owns.append(own)
        rows.append(row / row.sum())
        places.append(x_at_in)
    weight = np.array([sign.weight for sign in signs], dtype=np.int64)
    return _Chances(weight, np.array(owns), np.array(rows), np.array(places))


def _way_down(line: Points) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """x and depth of a root where it first gets to each depth, depth rising."""
    if line[-1, 1] < line[0, 1]:
        line = line[::-1]
    deepest = np.maximum.accumulate(line[:, 1])
    gains = np.concatenate([[True], np.diff(deepest) > 0])
    return line[gains, 0], deepest[gains]


def _window_shapes() -> list[tuple[int, tuple[int, int]]]:
    return [(height, span) for height in HEIGHTS_BINS for span in SPANS]


def _windows(cells: NDArray[Any]) -> Iterator[NDArray[Any]]:
    """Sums over every window: of ``(depth bins, x bins, walls)``, for each shape ``(starts, walls)``."""
    bins, _, walls = cells.shape
    summed = np.zeros((bins + max(HEIGHTS_BINS), X_BINS + 1, walls), dtype=cells.dtype)
    # Row by row, which keeps the walls side by side in memory: several times as fast as cumsum.
    for z in range(bins):
        np.add(summed[z, 1:], cells[z], out=summed[z + 1, 1:])
    for x in range(X_BINS):
        summed[:, x + 1] += summed[:, x]
    summed[bins + 1 :] = summed[bins]
    across = {(first, past): summed[:, past] - summed[:, first] for first, past in SPANS}
    for height, span in _window_shapes():
        yield across[span][height : height + bins] - across[span][:bins]
