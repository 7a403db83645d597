"""The figures of a wall: every root read, then summed and averaged."""

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from rootread.follow.company import beside_another
from rootread.follow.marked import along_lines, on_wall
from rootread.follow.types import Trace
from rootread.geometry import Points
from rootread.marks import Marks
from rootread.measure import calibrated
from rootread.measure.centreline import centreline
from rootread.measure.density import density_grid
from rootread.measure.descent import PatternShares, counted_descents, pattern_shares, wall_descent
from rootread.measure.flat_stretches import flat_stretches, flattened_in_cracks
from rootread.measure.flattening import NO_NOISE, width_noise
from rootread.measure.intervals import length_interval, ratio_interval, sideways_interval
from rootread.measure.light import light_falloff, linear_grey
from rootread.measure.pattern import pattern_band
from rootread.measure.root import measure_root
from rootread.measure.types import PlaneErrors, Readings, RootReading, WallIntervals
from rootread.plane.types import WallImage, WallPlane
from rootread.settings import MeasureSettings


def measure_wall(
    traces: Sequence[Trace],
    plane: WallPlane,
    settings: MeasureSettings,
    image: WallImage | None = None,
    marks: Marks | None = None,
    cracks_in: Points | None = None,
) -> Readings:
    """Read all traces of a wall.

    Parameters
    ----------
    traces : roots in wall inches; a trace shorter than two steps carries no direction and is left out.
    plane : the wall plane; its soil surface, and how sure its level is, are used.
    image : the flat wall, for the light across roots; without it widths alone tell what is flattened.
    marks : stretches that a person found not to be flattened.
    cracks_in : ``(K, 2)`` places in the face that show a crack; without them the course of a root alone
        tells whether it was flattened in one.

    Returns
    -------
    The readings in the order of the traces. A wall without roots has lengths
    of zero and NaN for every mean.
    """
    surface = plane.surface.line_in
    lines = [centreline(trace, settings) for trace in traces if _spans(trace, 2 * settings.step_in)]
    falloffs = _falloffs(lines, image)
    unclear = unclear_points(lines)
    # With the photo more is asked than how widths scatter.
    noise = NO_NOISE if falloffs else width_noise([line.width_in for line in lines], unclear, settings)
    round_in = [on_wall(plane, line) for line in marks.not_flattened_px] if marks else []
    roots = tuple(
        measure_root(
            line,
            surface,
            settings,
            noise,
            falloffs[index] if falloffs else None,
            along_lines(line, round_in),
            unclear[index],
        )
        for index, line in enumerate(lines)
    )
    flats = tuple(flat for root in roots for flat in flat_stretches(root, cracks_in))
    band = pattern_band(settings, plane.level.se_deg)
    counted = counted_descents(roots, settings)
    errors = _plane_errors(plane)
    intervals = _intervals(roots, pattern_shares(counted, band, errors.level_se_deg), errors)
    density, x_edges, z_edges = density_grid([root.trace.points for root in roots], settings.density_cell_in)
    return Readings(
        roots=roots,
        pattern=band,
        errors=errors,
        counted_width_in=settings.counted_width_in,
        root_length_in=intervals.root_length_in.value,
        descent=wall_descent(counted, errors.level_se_deg),
        shallow_share=intervals.shallow_share.value,
        in_pattern_share=intervals.in_pattern_share.value,
        steep_share=intervals.steep_share.value,
        tortuosity=intervals.tortuosity.value,
        flattened_share=intervals.flattened_share.value,
        flats=flats,
        flattened_in_cracks=flattened_in_cracks(flats),
        sideways_in=intervals.sideways_in.value,
        intervals=intervals,
        density=density,
        density_x_in=x_edges,
        density_z_in=z_edges,
    )


def unclear_points(lines: Sequence[Trace]) -> list[NDArray[np.bool_]]:
    """For each root ``(N,)`` where its width is not seen: bridged, or flank to flank with another root."""
    flank_to_flank = beside_another(lines, touch_in=0.0)
    return [line.inferred | beside for line, beside in zip(lines, flank_to_flank, strict=True)]


def _falloffs(lines: Sequence[Trace], image: WallImage | None) -> list[NDArray[np.float64]] | None:
    if image is None:
        return None
    grey = linear_grey(image)
    return [light_falloff(grey, image, line) for line in lines]


def _intervals(roots: Sequence[RootReading], shares: PatternShares, errors: PlaneErrors) -> WallIntervals:
    def of_each(figure: Callable[[RootReading], float]) -> NDArray[np.float64]:
        return np.array([figure(root) for root in roots], dtype=float)

    sure = of_each(lambda root: root.trace.confidence)
    lengths = of_each(lambda root: root.length_in)
    flattened = of_each(lambda root: root.flattened.sum())
    flat_or_round = of_each(lambda root: root.flat_or_round.sum())
    tortuous = of_each(lambda root: root.tortuosity * root.length_in)
    return WallIntervals(
        root_length_in=length_interval(
            lengths, sure, errors.scale_se, calibrated.LENGTH_SHIFT, calibrated.LENGTH_SE
        ),
        shallow_share=shares.shallow,
        in_pattern_share=shares.in_pattern,
        steep_share=shares.steep,
        tortuosity=ratio_interval(
            tortuous, lengths, sure, calibrated.TORTUOSITY_SE, 1.0, calibrated.TORTUOSITY_SHIFT
        ),
        flattened_share=ratio_interval(
            flattened, flat_or_round, sure, calibrated.FLATTENED_SE, 0.0, calibrated.FLATTENED_SHIFT, 1.0
        ),
        sideways_in=sideways_interval(
            of_each(lambda root: root.sideways_in),
            sure,
            errors.scale_se,
            calibrated.SIDEWAYS_SHIFT,
            calibrated.SIDEWAYS_SPREAD,
        ),
    )


def _plane_errors(plane: WallPlane) -> PlaneErrors:
    scale_se = plane.scale.px_per_in_se / plane.scale.px_per_in
    return PlaneErrors(plane.level.se_deg, scale_se, plane.surface.se_in)


def _spans(trace: Trace, least_in: float) -> bool:
    return len(trace.points) > 1 and float(np.hypot(*np.diff(trace.points, axis=0).T).sum()) >= least_in
