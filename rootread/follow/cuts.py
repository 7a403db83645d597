"""Roots that the photo does not show to their end: its edge, or the scale object, ends them."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from rootread.follow.shown import Shown, shown_part
from rootread.follow.types import Trace
from rootread.plane.types import Surface, WallImage

CUT_REACH_IN = 0.25
"""An end nearer than this, and a width, to where the visible soil ends is cut by it."""
SURFACE_BAND_IN = 0.5
"""Soil this far below the surface line counts as surface: the line is not sure to the pixel."""


def with_cuts(traces: Sequence[Trace], image: WallImage, surface: Surface) -> tuple[Trace, ...]:
    """The traces, marked ``cut`` where the photo's edge, the wall's side or the scale object ends them.

    Roots end at the soil surface by nature; that is no cut.
    """
    if not traces:
        return ()
    px_per_in = image.grid.px_per_in
    seen = seen_part(image, surface)
    ends_px = image.grid.to_px(np.concatenate([trace.points[[0, -1]] for trace in traces]))
    width_in = np.concatenate([trace.width_in[[0, -1]] for trace in traces])
    at_edge = seen.depth_px(ends_px) < (CUT_REACH_IN + width_in) * px_per_in
    cut = at_edge[0::2] | at_edge[1::2]
    return tuple(replace(trace, cut=bool(cut[k])) for k, trace in enumerate(traces))


def seen_part(image: WallImage, surface: Surface) -> Shown:
    """The part of the wall that the photo shows, with all that lies above the soil surface."""
    x_in = image.grid.to_in(np.column_stack([np.arange(image.soil.shape[1]), np.zeros(image.soil.shape[1])]))
    z_in = image.grid.to_in(np.column_stack([np.zeros(image.soil.shape[0]), np.arange(image.soil.shape[0])]))
    surface_in = np.interp(x_in[:, 0], surface.line_in[:, 0], surface.line_in[:, 1])
    return shown_part(image.soil | (z_in[:, 1][:, None] <= surface_in[None] + SURFACE_BAND_IN))
