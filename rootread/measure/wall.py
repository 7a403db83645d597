"""The figures of a wall: every root read, then summed and averaged."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from rootread.follow.types import Trace
from rootread.measure.centreline import centreline
from rootread.measure.density import density_grid
from rootread.measure.descent import counted_descents, wall_descent
from rootread.measure.flattening import width_noise
from rootread.measure.pattern import pattern_band, pattern_shares
from rootread.measure.root import measure_root
from rootread.measure.types import PlaneErrors, Readings, RootReading
from rootread.plane.types import WallPlane
from rootread.settings import MeasureSettings


def measure_wall(traces: Sequence[Trace], plane: WallPlane, settings: MeasureSettings) -> Readings:
    """Read all traces of a wall.

    Parameters
    ----------
    traces : roots in wall inches; a trace shorter than two steps carries no direction and is left out.
    plane : the wall plane; its soil surface, and how sure its level is, are used.

    Returns
    -------
    The readings in the order of the traces. A wall without roots has lengths
    of zero and NaN for every mean.
    """
    surface = plane.surface.line_in
    lines = [centreline(trace, settings) for trace in traces if _spans(trace, 2 * settings.step_in)]
    noise = width_noise([line.width_in for line in lines], [line.inferred for line in lines], settings)
    roots = tuple(measure_root(line, surface, settings, noise) for line in lines)
    band = pattern_band(settings, plane.level.se_deg)
    counted = [counted_descents(root, settings) for root in roots]
    shares = pattern_shares(
        np.concatenate([c.descent_deg for c in counted] or [np.zeros(0)]),
        np.repeat([c.confidence for c in counted], [len(c.descent_deg) for c in counted]),
        band,
    )
    lengths = np.array([root.length_in for root in roots])
    density, x_edges, z_edges = density_grid([root.trace.points for root in roots], settings.density_cell_in)
    return Readings(
        roots=roots,
        pattern=band,
        errors=_plane_errors(plane),
        counted_width_in=settings.counted_width_in,
        root_length_in=float(lengths.sum()),
        descent=wall_descent(counted, plane.level.se_deg),
        shallow_share=shares.shallow,
        in_pattern_share=shares.in_pattern,
        steep_share=shares.steep,
        tortuosity=_mean_by_length([root.tortuosity for root in roots], lengths),
        flattened_share=_flattened_share(roots),
        sideways_in=float(sum(root.sideways_in for root in roots)),
        density=density,
        density_x_in=x_edges,
        density_z_in=z_edges,
    )


def _plane_errors(plane: WallPlane) -> PlaneErrors:
    scale_se = plane.scale.px_per_in_se / plane.scale.px_per_in
    return PlaneErrors(plane.level.se_deg, scale_se, plane.surface.se_in)


def _spans(trace: Trace, least_in: float) -> bool:
    return len(trace.points) > 1 and float(np.hypot(*np.diff(trace.points, axis=0).T).sum()) >= least_in


def _mean_by_length(values: list[float], lengths_in: NDArray[np.float64]) -> float:
    return float(np.average(values, weights=lengths_in)) if len(values) else float("nan")


def _flattened_share(roots: Sequence[RootReading]) -> float:
    """Share of the root length that was seen, bridged parts left out."""
    seen = sum(int((~root.trace.inferred).sum()) for root in roots)
    return sum(int(root.flattened.sum()) for root in roots) / seen if seen else float("nan")
