"""The floor of the loosened soil, where a person marked it: how much was loosened, and how evenly.

Shanks leave valleys where they ran and hills, the berms, between them. Depths
are below the soil surface straight above.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rootread.fieldsheet import SheetRow
from rootread.geometry import Points
from rootread.judge.spacing import ShankSpacing

STEP_IN = 0.1
LEAST_BERM_IN = 1.0
"""A hill of the floor lower than this is a clod's worth, not a berm."""


@dataclass(frozen=True)
class Berm:
    """A hill of the floor between two valleys."""

    x_in: float
    height_in: float
    """Over the higher of the two valleys beside it."""
    width_in: float
    """At half its height."""


@dataclass(frozen=True, eq=False)
class LoosenedFloor:
    """What the marked floor says."""

    line_in: Points
    """``(N, 2)`` x and z of the floor in the wall plane, x rising."""
    tool_depth_in: float
    """Of the sheet; else the deepest place of the floor."""
    from_sheet: bool
    loosened_share: float
    """Of the soil from the surface to the tool depth, over the marked width."""
    mean_depth_in: float
    roughness_in: float
    """Standard deviation of the floor's depth about its mean, hill and valley."""
    berms: tuple[Berm, ...]
    spacing: ShankSpacing | None
    """None if the sheet has no spacing and there are not two valleys."""


def loosened_floor(floor_in: Points, surface_in: Points, row: SheetRow | None) -> LoosenedFloor | None:
    """Measure a marked floor; None if it spans no width or lies above the surface.

    Parameters
    ----------
    floor_in : ``(N, 2)`` x and z of the line a person drew.
    surface_in : ``(M, 2)`` soil surface line, x rising.
    row : for the tool's depth and the shanks' spacing.
    """
    order = np.argsort(floor_in[:, 0], kind="stable")
    line = floor_in[order]
    if len(line) < 2 or np.ptp(line[:, 0]) < 1.0:
        return None
    x = np.arange(line[0, 0], line[-1, 0] + STEP_IN / 2, STEP_IN)
    depth = np.interp(x, *line.T) - np.interp(x, surface_in[:, 0], surface_in[:, 1])
    stated = row.tool_depth_in if row is not None else None
    if depth.max() <= 0:
        return None
    tool_in = stated or float(depth.max())
    return LoosenedFloor(
        line_in=line,
        tool_depth_in=tool_in,
        from_sheet=stated is not None,
        loosened_share=float(np.clip(depth, 0.0, tool_in).mean() / tool_in),
        mean_depth_in=float(depth.mean()),
        roughness_in=float(depth.std()),
        berms=_berms(x, depth),
        spacing=_spacing(row.shank_spacing_in if row is not None else None, x, depth, tool_in),
    )


def _spacing(
    stated_in: float | None, x: NDArray[np.float64], depth: NDArray[np.float64], tool_in: float
) -> ShankSpacing | None:
    apart_in = stated_in or _valley_spacing(x, depth)
    return ShankSpacing(apart_in, tool_in, from_sheet=bool(stated_in)) if apart_in else None


def _valley_spacing(x: NDArray[np.float64], depth: NDArray[np.float64]) -> float | None:
    """From valley to valley; None if there are not two.

    A valley is where a shank ran: the floor rises on both sides of it. Where the line ends in the deep,
    nobody drew how far the valley goes on.
    """
    from scipy.signal import find_peaks

    valleys, _ = find_peaks(depth, prominence=LEAST_BERM_IN)
    return float(np.median(np.diff(x[valleys]))) if len(valleys) > 1 else None


def _berms(x: NDArray[np.float64], depth: NDArray[np.float64]) -> tuple[Berm, ...]:
    """A berm's height is its prominence: over the higher valley beside it."""
    from scipy.signal import find_peaks, peak_widths

    hills, found = find_peaks(-depth, prominence=LEAST_BERM_IN)
    if not len(hills):
        return ()
    width = peak_widths(-depth, hills, rel_height=0.5)[0] * STEP_IN
    return tuple(
        Berm(float(x[hill]), float(height), float(across))
        for hill, height, across in zip(hills, found["prominences"], width, strict=True)
    )
