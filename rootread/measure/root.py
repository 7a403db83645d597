"""The figures of one root."""

import numpy as np
from numpy.typing import NDArray

from rootread.follow.types import Trace
from rootread.geometry import Points
from rootread.measure.direction import chord_descent, descent_along, goes_down, length_and_chord, turning
from rootread.measure.flattening import NO_NOISE, Noise, flattened_points
from rootread.measure.sideways import sideways_runs, turns
from rootread.measure.squeezed import Seen, looks_flattened
from rootread.measure.types import RootReading
from rootread.settings import MeasureSettings


def depth_below_surface(points: Points, surface_in: Points) -> NDArray[np.float64]:
    """``(N,)`` inches of each point under the soil surface line straight above it."""
    return points[:, 1] - np.interp(points[:, 0], surface_in[:, 0], surface_in[:, 1])


def measure_root(
    even: Trace,
    surface_in: Points,
    settings: MeasureSettings,
    noise: Noise = NO_NOISE,
    falloff: NDArray[np.float64] | None = None,
    round_at: NDArray[np.bool_] | None = None,
    unclear: NDArray[np.bool_] | None = None,
) -> RootReading:
    """Read one root from its centreline.

    Parameters
    ----------
    even : the trace at even steps along its smoothed centreline.
    surface_in : ``(M, 2)`` soil surface line, x rising.
    noise : of the wall's widths, which alone are asked where there is no photo; without it they are taken
        as exact.
    falloff : ``(N,)`` how light falls off across the root; None without the photo.
    round_at : ``(N,)`` True where a person found it not to be flattened.
    unclear : ``(N,)`` True where its width is not seen: bridged, or beside another root; the bridged
        parts when left out.
    """
    points = even.points
    length_in, chord_in = length_and_chord(points)
    descent_at = descent_along(points, settings.step_in, settings.tangent_in)
    below = depth_below_surface(points, surface_in)
    unclear = even.inferred if unclear is None else unclear
    flat = _flattened(even, unclear, descent_at, noise, falloff, settings)
    if round_at is not None:
        flat = flat & ~round_at
    if even.squeezed is not None:
        flat = flat | even.squeezed
    seen = ~even.inferred if not even.inferred.all() else np.ones_like(even.inferred)
    return RootReading(
        trace=even,
        length_in=length_in,
        chord_in=chord_in,
        tortuosity=length_in / max(chord_in, settings.step_in),
        turning_deg_per_in=turning(points, settings.step_in, settings.tangent_in) / length_in,
        descent_deg=float(descent_at.mean()),
        chord_descent_deg=chord_descent(points),
        width_in=float(np.median(even.width_in[seen])),
        flattened_share=float(flat.mean()),
        descent_at_deg=descent_at,
        flattened=flat,
        runs=sideways_runs(even.id, points, descent_at, below, settings),
        turns=turns(even.id, points, below, settings),
    )


def _flattened(
    even: Trace,
    unclear: NDArray[np.bool_],
    descent_at_deg: NDArray[np.float64],
    noise: Noise,
    falloff: NDArray[np.float64] | None,
    settings: MeasureSettings,
) -> NDArray[np.bool_]:
    """``(N,)`` True where the root is flattened, by its widths or, with the photo, by all that it shows."""
    way = slice(None) if goes_down(even.points) else slice(None, None, -1)
    width_in, unclear = even.width_in[way], unclear[way]
    if falloff is None:
        return flattened_points(width_in, unclear, noise, settings)[way]
    descent_deg = descent_at_deg if way.step is None else -descent_at_deg[way]
    return looks_flattened(Seen(width_in, unclear, descent_deg, falloff[way]), settings)[way]
