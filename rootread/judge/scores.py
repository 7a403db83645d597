"""What each root adds to the parts of the grade, kept as sums so that roots can be drawn again.

The parts are ratios of sums over roots. A trace broken in two adds the same
as one whole, so the grade does not hang on how well roots were joined.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rootread.judge.zones import Zones
from rootread.measure.counting import counts
from rootread.measure.types import Readings, RootReading

STRAIGHTNESS_SPAN_IN = 3.0
"""Straightness is the straight distance over each this much of root, against the length."""

STILL_ROOT = 0.6
"""Of the traces that follow no single root right, so many lie on roots all the same (made walls;
``benchmarks/confidence.py``)."""


@dataclass(frozen=True, eq=False)
class RootSums:
    """Sums over the points of each root; Z zones, R roots."""

    in_zone: NDArray[np.float64]
    """``(Z, R)`` points in each zone that count."""
    freedom: NDArray[np.float64]
    """``(Z, R)`` of them, sum of descent / pattern, no point below 0 or above 1."""
    straight: NDArray[np.float64]
    """``(R,)`` sum of straight distance / length around each point that counts."""
    flat_or_round: NDArray[np.float64]
    """``(R,)`` points that count and of which is known whether they are flattened."""
    flattened: NDArray[np.float64]
    """``(R,)`` of them, flattened."""
    counts: NDArray[np.float64]
    """``(R,)`` as ``root_weights``."""


def counted(readings: Readings) -> NDArray[np.float64]:
    """``(R,)`` how much each root counts by its width, from 0 to 1.

    Roots much thinner than the wall's ``counted_width_in`` count for nothing
    unless all are so thin: which of them a photo shows depends on light and
    soil, and laterals leave their parent level by nature.
    """
    thick = np.array([counts(root, readings.counted_width_in) for root in readings.roots])
    return thick if thick.any() else np.ones_like(thick)


def root_weights(readings: Readings) -> NDArray[np.float64]:
    """``(R,)`` how much each root counts: by its width, and by the chance that its trace lies on roots.

    That chance is taken against its mean. Traces are least sure where roots lie in
    bundles, as they do on a layer; if they counted by their confidence alone,
    walls that turn roots would look too open.
    """
    confidence = np.array([root.trace.confidence for root in readings.roots])
    thick = counted(readings)
    weight = thick * (confidence + STILL_ROOT * (1.0 - confidence))
    return weight * float(thick.sum()) / max(float(weight.sum()), 1e-9)


def root_sums(readings: Readings, zones: Zones) -> RootSums:
    """Sum over the points of every root that counts, by how sure its trace is."""
    roots = readings.roots
    weight = root_weights(readings)
    in_zone = zones.points_in_zone * weight
    return RootSums(
        in_zone=in_zone,
        freedom=freedom_sums(readings, zones) * weight,
        straight=np.array([local_straightness(root).sum() for root in roots]) * weight,
        flat_or_round=np.array([root.flat_or_round.sum() for root in roots]) * weight,
        flattened=np.array([root.flattened.sum() for root in roots]) * weight,
        counts=weight,
    )


def equal_roots(sums: RootSums) -> float:
    """As many roots of one length tell as much: ``(sum l)^2 / sum l^2`` (Kish 1965; from memory)."""
    lengths = sums.in_zone.sum(axis=0)
    return float(lengths.sum() ** 2 / (lengths**2).sum())


def freedom_sums(readings: Readings, zones: Zones, turned_by_deg: float = 0.0) -> NDArray[np.float64]:
    """``(Z, R)`` sums of each point's descent / pattern, held between 0 and 1.

    ``turned_by_deg`` turns the wall: what leads right then descends by that
    much more, what leads left by that much less.
    """
    sums = np.zeros((len(zones.names), len(readings.roots)))
    for index, (root, zone) in enumerate(zip(readings.roots, zones.zone_at, strict=True)):
        descent = root.descent_down_deg + turned_by_deg * root.rightward
        freedom = np.clip(descent / readings.pattern.free_from_deg, 0.0, 1.0)
        sums[:, index] = np.bincount(zone, weights=freedom, minlength=len(zones.names))
    return sums


def local_straightness(root: RootReading) -> NDArray[np.float64]:
    """``(N,)`` chord / length of the stretch around each point, shorter at the ends."""
    points = root.trace.points
    step_in = root.length_in / (len(points) - 1)
    half = max(round(STRAIGHTNESS_SPAN_IN / step_in / 2), 1)
    at = np.arange(len(points))
    first, last = np.maximum(at - half, 0), np.minimum(at + half, len(points) - 1)
    chord = np.hypot(*(points[last] - points[first]).T)
    return np.minimum(chord / ((last - first) * step_in), 1.0)
