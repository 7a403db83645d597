"""Where in depth each treatment has its roots, from the traces of its walls."""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from rootread.compare.effect import paired_effect
from rootread.compare.measures import Row
from rootread.compare.units import block_of, text
from rootread.store import file_stem

Floats = NDArray[np.float64]

SLICE_IN = 2.0
MOST_WALLS = 400
"""Of more walls than this a random sample is drawn, each treatment alike."""
FEWEST_PITS = 3
"""A band needs so many pits."""


@dataclass(frozen=True, eq=False)
class DepthProfile:
    """Share of root length by depth, for one treatment."""

    treatment: str
    edges_in: Floats
    """``(D + 1,)``"""
    walls: Floats
    """``(W, D)`` share of each wall's root length in each slice."""
    mean: Floats
    """``(D,)`` over pits."""
    low: Floats
    high: Floats
    """``(D,)`` 95 % interval of the mean; NaN with fewer than three pits."""


def depth_profiles(
    rows: Sequence[Row], folders: Sequence[Path], by: str, pair: str, rng: np.random.Generator
) -> tuple[DepthProfile, ...]:
    """One profile a treatment; walls without traces or roots are left out."""
    used = [row for row in rows if text(row, by) and text(row, "status") in ("", "read")]
    if len(used) > MOST_WALLS:
        used = [used[k] for k in sorted(rng.choice(len(used), MOST_WALLS, replace=False).tolist())]
    found = [(row, _length_by_slice(_traces_path(row, folders))) for row in used]
    kept = [(row, length) for row, length in found if length.sum() > 0]
    if not kept:
        return ()
    deepest = max(len(length) for _, length in kept)
    edges = (np.arange(deepest + 1) * SLICE_IN).astype(np.float64)
    profiles = []
    for treatment in sorted({text(row, by) for row, _ in kept}):
        mine = [(row, length) for row, length in kept if text(row, by) == treatment]
        shares = np.array([np.pad(length, (0, deepest - len(length))) / length.sum() for _, length in mine])
        pits = np.array([block_of(row, pair) for row, _ in mine])
        by_pit = np.array([shares[pits == pit].mean(axis=0) for pit in np.unique(pits)])
        low, high = _band(by_pit, rng)
        profiles.append(DepthProfile(treatment, edges, shares, by_pit.mean(axis=0), low, high))
    return tuple(profiles)


def _traces_path(row: Row, folders: Sequence[Path]) -> Path:
    folder = Path(text(row, "folder")) if text(row, "folder") else folders[0]
    return folder / "traces" / f"{file_stem(text(row, 'wall'))}.json"


def _length_by_slice(path: Path) -> Floats:
    """``(D,)`` inches of root in each slice; what rises above the soil surface counts in the first."""
    try:
        roots = json.loads(path.read_text(encoding="utf-8"))["roots"]
    except (OSError, ValueError, KeyError):
        return np.zeros(1)
    lengths, slices = [np.zeros(0)], [np.zeros(0, dtype=np.intp)]
    for root in roots:
        points = np.array(root["points"])
        lengths.append(np.hypot(*np.diff(points, axis=0).T))
        middle = (points[1:, 1] + points[:-1, 1]) / 2
        slices.append(np.maximum(middle // SLICE_IN, 0).astype(np.intp))
    return np.bincount(np.concatenate(slices), np.concatenate(lengths), minlength=1).astype(np.float64)


def _band(by_pit: Floats, rng: np.random.Generator) -> tuple[Floats, Floats]:
    """95 % interval of the mean over pits, depth by depth."""
    if len(by_pit) < FEWEST_PITS:
        nothing = np.full(by_pit.shape[1], np.nan)
        return nothing, nothing
    effects = [paired_effect(column, rng).within(1.0) for column in by_pit.T]
    return np.array([max(one.low, 0.0) for one in effects]), np.array([one.high for one in effects])
