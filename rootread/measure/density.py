"""Root length density: inches of root per square inch of wall, cell by cell."""

import numpy as np
from numpy.typing import NDArray

from rootread.geometry import Points
from rootread.units import CM_PER_IN

Edges = NDArray[np.float64]

PROFILE_CELL_IN = 5.0 / CM_PER_IN
PROFILE_UNIT_IN = 0.5 / CM_PER_IN
"""The profile-wall method counts root in units of 5 mm in cells of 5 by 5 cm. Bohm 1979, Methods of Studying
Root Systems, Springer (from memory)."""


def density_grid(
    centrelines: list[Points], cell_in: float, below_in: float = 0.0
) -> tuple[NDArray[np.float64], Edges, Edges]:
    """Density in square cells that cover all roots.

    Each short piece of a centreline is counted where its middle lies, so the
    sum over cells times the cell's area is the total root length.

    Parameters
    ----------
    centrelines : list of ``(N, 2)`` points in inches, close together against the cell.
    cell_in : side of a cell.
    below_in : depth at which the first row starts, unless a root lies higher.

    Returns
    -------
    ``(rows, columns)`` density, ``(columns + 1,)`` x edges and ``(rows + 1,)`` z edges.
    """
    lines = [line for line in centrelines if len(line) > 1]
    if not lines:
        return np.zeros((0, 0)), np.zeros(1), np.full(1, below_in)
    middles = np.concatenate([(line[1:] + line[:-1]) / 2 for line in lines])
    lengths = np.concatenate([np.hypot(*np.diff(line, axis=0).T) for line in lines])
    x_edges = _edges(middles[:, 0], cell_in)
    z_edges = _edges(np.append(middles[:, 1], below_in), cell_in)
    summed, _, _ = np.histogram2d(middles[:, 1], middles[:, 0], bins=(z_edges, x_edges), weights=lengths)
    return summed / cell_in**2, x_edges, z_edges


def profile_wall_grid(
    centrelines: list[Points], below_in: float = 0.0
) -> tuple[NDArray[np.float64], Edges, Edges]:
    """Units of 5 mm of root in cells of 5 by 5 cm, with x and z edges in inches, as ``density_grid``."""
    density, x_edges, z_edges = density_grid(centrelines, PROFILE_CELL_IN, below_in)
    return density * PROFILE_CELL_IN**2 / PROFILE_UNIT_IN, x_edges, z_edges


def _edges(values: NDArray[np.float64], cell_in: float) -> Edges:
    first = np.floor(values.min() / cell_in)
    last = max(np.floor(values.max() / cell_in) + 1, first + 1)
    return np.arange(first, last + 1) * cell_in
