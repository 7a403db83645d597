"""The paths roots take: a descent of their own, and what layers and cracks do to it.

A main root keeps a descent angle of its own with some wiggle. At a layer it
may cross, stop, turn and run near level, or find a crack and follow it down
squeezed flat. Paths are built as headings every 0.05 in and then summed, so
that bends are smooth.
"""

import numpy as np

from rootread.geometry import Points, arc_length, resample_polyline
from rootread.scene.describe import Groove, Layer, Run, Values
from rootread.scene.noise import wiggle

STEP_IN = 0.05
EDGE_IN = 0.15
"""Nearest that a root comes to the wall's ends and surface."""
FATES = {"turn": 0.68, "stop": 0.1, "cross": 0.12, "crack": 0.1}
"""What becomes of a main root at a layer."""
MOST_TURN = 0.92
"""Share of the main roots that turn at a layer where ``hindrance`` is 1."""
AFTER_TURN = {"stop": 0.35, "down": 0.4, "crack": 0.25}
"""How a sideways run ends."""
RUN_LEVEL_DEG, RUN_LENGTH_IN, RUN_DEPTH_IN = 12.0, 1.5, 1.0
"""A sideways run, as the design defines it; tangents are taken over 1 in."""


def _pick(rng: np.random.Generator, odds: dict[str, float]) -> str:
    return str(rng.choice(list(odds), p=list(odds.values())))


def fates(hindrance: float) -> dict[str, float]:
    """What becomes of a main root at a layer, the more of them turning the more it hinders (0 to 1)."""
    turn = FATES["turn"] + hindrance * (MOST_TURN - FATES["turn"])
    others = (1 - turn) / (1 - FATES["turn"])
    return {fate: turn if fate == "turn" else odds * others for fate, odds in FATES.items()}


def walk(start: Points, heading_deg: Values) -> Points:
    """Points 0.05 in apart from ``start`` (2,), along headings in degrees below +x."""
    turn = np.radians(heading_deg)
    steps = np.column_stack([np.cos(turn), np.sin(turn)]) * STEP_IN
    return np.vstack([start, start + np.cumsum(steps, axis=0)])


def smooth_heading(heading_deg: Values, length_in: float) -> Values:
    """Box-smoothed twice, so that a turn takes about ``length_in``."""
    width = max(int(length_in / STEP_IN / 2), 1)
    for _ in range(2):
        padded = np.concatenate(
            [np.full(width, heading_deg[0]), heading_deg, np.full(width, heading_deg[-1])]
        )
        total = np.cumsum(np.concatenate([[0.0], padded]))
        span = 2 * width + 1
        heading_deg = (total[span:] - total[:-span]) / span
    return heading_deg


def own_course(rng: np.random.Generator, descent_deg: float, length_in: float, wiggle_deg: float) -> Values:
    """Descent angles of an unobstructed root, one every step."""
    count = max(int(length_in / STEP_IN), 4)
    drift = rng.normal(0, 4) * np.linspace(-0.5, 0.5, count)
    swing = 0.6 * wiggle_deg * wiggle(count, rng, rng.uniform(3, 6) / STEP_IN)
    jitter_deg = wiggle_deg * wiggle(count, rng, rng.uniform(0.5, 1.2) / STEP_IN)
    return descent_deg + drift + swing + jitter_deg


def _meets(points: Points, layer: Layer) -> int | None:
    """First point under the layer within its width."""
    under = (points[:, 1] >= layer.z_in) & (points[:, 0] >= layer.x0_in) & (points[:, 0] <= layer.x1_in)
    return int(np.argmax(under)) if under.any() and points[0, 1] < layer.z_in else None


def _nearest_crack(cracks: tuple[Groove, ...], at: Points, reach_in: float) -> Groove | None:
    best, nearest = None, reach_in
    for crack in cracks:
        top, bottom = crack.points[:, 1].min(), crack.points[:, 1].max()
        if top - 0.6 < at[1] < bottom - 1.0:
            gap = abs(float(np.interp(at[1], crack.points[:, 1], crack.points[:, 0])) - at[0])
            if gap < nearest:
                best, nearest = crack, gap
    return best


def main_course(
    rng: np.random.Generator,
    start: Points,
    side: int,
    descent_deg: float,
    length_in: float,
    wiggle_deg: float,
    level_wiggle_deg: float,
    layers: tuple[Layer, ...],
    cracks: tuple[Groove, ...],
    odds: dict[str, float] = FATES,
) -> tuple[Points, Values]:
    """Path of a main root through the layers, and how far (0 to 1 a point) a crack squeezes it.

    ``odds`` say what becomes of it at a layer.
    """
    descent = own_course(rng, descent_deg, length_in, wiggle_deg)
    headings = descent if side > 0 else 180.0 - descent
    bend_in = rng.uniform(0.25, 0.7)
    for layer in layers:
        hit = _meets(walk(start, smooth_heading(headings, bend_in)), layer)
        fate = _pick(rng, odds)
        if hit is None or fate == "cross" or hit < 8:
            continue
        headings = headings[: hit - 5]
        if fate == "stop":
            break
        if fate == "turn":
            headings = np.concatenate([headings, _level_run(rng, headings[-1], level_wiggle_deg)])
        end = _pick(rng, AFTER_TURN) if fate == "turn" else "crack"
        arrived = walk(start, smooth_heading(headings, bend_in))
        crack = _nearest_crack(cracks, arrived[-1], 2.5) if end == "crack" else None
        if crack is not None:
            return _into_crack(rng, arrived, crack)
        if end == "stop":
            break
        left_in = max(length_in - len(headings) * STEP_IN, 1.5)
        after = own_course(rng, rng.uniform(35, 70), left_in, wiggle_deg)
        after[: int(rng.uniform(0.2, 1.2) / STEP_IN)] = rng.uniform(60, 85)
        headings = np.concatenate([headings, after if _to_right(headings[-1]) else 180.0 - after])
    points = walk(start, smooth_heading(headings, bend_in))
    return points, np.zeros(len(points))


def _to_right(heading_deg: float) -> bool:
    return bool(np.cos(np.radians(heading_deg)) > 0)


def _level_run(rng: np.random.Generator, heading_deg: float, wiggle_deg: float) -> Values:
    """Headings of a stretch along a layer, mostly on the side the root came from."""
    count = int(rng.uniform(1.8, 7.5) / STEP_IN)
    level = rng.normal(0, 2.0) + wiggle_deg * wiggle(count, rng, 30)
    return level if _to_right(heading_deg) ^ (rng.random() < 0.12) else 180.0 - level


def _into_crack(rng: np.random.Generator, points: Points, crack: Groove) -> tuple[Points, Values]:
    """Join a root's end to a crack and follow it down, some way or to its end."""
    below = crack.points[crack.points[:, 1] > points[-1, 1] + 0.3]
    below = below[: max(int(len(below) * rng.uniform(0.4, 1.0)), 2)]
    joined, _ = resample_polyline(np.vstack([points, below]), STEP_IN)
    # A root is stiffer than a crack is ragged.
    kernel = np.hanning(13) / np.hanning(13).sum()
    padded = np.pad(joined, ((6, 6), (0, 0)), mode="edge")
    joined = np.column_stack([np.convolve(padded[:, k], kernel, "valid") for k in (0, 1)])
    inside = np.clip((np.arange(len(joined)) - len(points)) / 10.0, 0, 1)
    return joined, inside


def within(points: Points, width_in: float, depth_in: float) -> Points:
    """The path as far as it stays in the wall."""
    x, z = points[:, 0], points[:, 1]
    out = (x < EDGE_IN) | (x > width_in - EDGE_IN) | (z > depth_in) | (z < EDGE_IN)
    return points[: int(np.argmax(out))] if out.any() else points


def runs_of(points: Points) -> tuple[Run, ...]:
    """Sideways runs by their definition: near level, long enough, deep enough."""
    reach = int(0.5 / STEP_IN)
    if len(points) < 2 * reach:
        return ()
    index = np.arange(len(points))
    chord = points[np.minimum(index + reach, len(points) - 1)] - points[np.maximum(index - reach, 0)]
    descent = np.degrees(np.arctan2(np.abs(chord[:, 1]), np.abs(chord[:, 0])))
    level = (descent <= RUN_LEVEL_DEG) & (points[:, 1] > RUN_DEPTH_IN)
    edges = np.flatnonzero(np.diff(np.concatenate([[0], level.astype(int), [0]])))
    found = []
    for first, last in zip(edges[::2], edges[1::2] - 1, strict=True):
        length = float(arc_length(points[first : last + 1])[-1])
        if length >= RUN_LENGTH_IN:
            x = points[first : last + 1, 0]
            found.append(
                Run(float(points[first : last + 1, 1].mean()), float(x.min()), float(x.max()), length)
            )
    return tuple(found)
