"""How the made roots grow: fans from the crowns, laterals, and what layers and cracks do to them.

A main root keeps a descent angle of its own with some wiggle. At a layer it
may cross, stop, turn and run near level, or find a crack and follow it down
squeezed flat. Paths are built as headings every 0.05 in and then summed, so
that bends are smooth.
"""

from dataclasses import dataclass

import numpy as np

from rootread.geometry import Points, arc_length, resample_polyline
from rootread.scene.describe import Colour, Difficulty, Groove, Kind, Layer, Root, Run, Values
from rootread.scene.noise import wiggle
from rootread.scene.soils import draw_root_colour, jitter

STEP_IN = 0.05
GROWTH_PATTERN_DEG = (32.5, 5.0)
"""Descent of unobstructed nodal roots, mean and spread: common practice says most lie in 30-35."""
RUN_LEVEL_DEG, RUN_LENGTH_IN, RUN_DEPTH_IN = 12.0, 1.5, 1.0
"""A sideways run, as the design defines it; tangents are taken over 1 in."""


@dataclass(frozen=True)
class Habit:
    """What all roots of one wall share."""

    base_rgb: Colour
    spread_rgb: float
    banding: float
    dirt: float
    gloss: float
    fuzz: float
    wiggle_deg: float
    exposure: float
    """Mean height of a root's axis over the soil, in its own radii."""
    unevenness: float
    hidden_per_in: float
    lateral_per_in: float
    dead_share: float


def draw_habit(rng: np.random.Generator, difficulty: Difficulty) -> Habit:
    """Colour, dirt and burial that the roots of a wall have in common."""
    hard = {"clean": 0.0, "typical": 0.5, "hard": 1.0}[difficulty]
    return Habit(
        base_rgb=draw_root_colour(rng),
        spread_rgb=float(rng.uniform(0.03, 0.25)),
        banding=float(rng.uniform(0, 0.16)),
        dirt=float(rng.uniform(0, 0.12 + 0.5 * hard) ** 1.5),
        gloss=float(rng.choice([0.0, rng.uniform(0.05, 0.5)])),
        fuzz=float(rng.choice([0.0, 0.0, rng.uniform(0.2, 1)])),
        wiggle_deg=float(rng.uniform(3, 11)),
        exposure=float(rng.normal(1.05 - 0.45 * hard, 0.2)),
        unevenness=float(rng.uniform(0.1, 0.25 + 0.35 * hard)),
        hidden_per_in=float(rng.uniform(0.3, 1.0) * (0.01 + 0.07 * hard)),
        lateral_per_in=float(rng.uniform(0.1, 0.7)),
        dead_share=float(rng.choice([0.0, rng.uniform(0, 0.3)])),
    )


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
    layers: tuple[Layer, ...],
    cracks: tuple[Groove, ...],
) -> tuple[Points, Values]:
    """Path of a main root through the layers, and how far (0 to 1 a point) a crack squeezes it."""
    descent = own_course(rng, descent_deg, length_in, wiggle_deg)
    headings = descent if side > 0 else 180.0 - descent
    bend_in = rng.uniform(0.25, 0.7)
    for layer in layers:
        hit = _meets(walk(start, smooth_heading(headings, bend_in)), layer)
        fate = rng.choice(["turn", "stop", "cross", "crack"], p=[0.68, 0.1, 0.12, 0.1])
        if hit is None or fate == "cross" or hit < 8:
            continue
        headings = headings[: hit - 5]
        if fate == "stop":
            break
        if fate == "turn":
            headings = np.concatenate([headings, _level_run(rng, headings[-1])])
        end = rng.choice(["stop", "down", "crack"], p=[0.35, 0.4, 0.25]) if fate == "turn" else "crack"
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


def _level_run(rng: np.random.Generator, heading_deg: float) -> Values:
    """Headings of a stretch along a layer, mostly on the side the root came from."""
    count = int(rng.uniform(1.8, 7.5) / STEP_IN)
    level = rng.normal(0, 2.0) + 2.5 * wiggle(count, rng, 30)
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


def body(
    rng: np.random.Generator,
    habit: Habit,
    points: Points,
    width_in: float,
    taper: float,
    order: int,
    parent: str | None,
    name: str,
    squeezed: Values | None = None,
) -> Root:
    """Give a path its width, burial, colour and dirt."""
    count = len(points)
    share = np.linspace(0, 1, count)
    width = width_in * (1 - taper * share) * (1 + 0.07 * wiggle(count, rng, rng.uniform(0.3, 1.5) / STEP_IN))
    width *= np.clip((count - np.arange(count)) * STEP_IN / (4 * width_in), 0.35, 1)
    flat = np.ones(count)
    if squeezed is not None and squeezed.any():
        width = width * (1 + squeezed * rng.uniform(0.4, 0.9))
        flat = 1 - squeezed * rng.uniform(0.45, 0.65)
    elif order == 0 and rng.random() < 0.12 and count > 60:
        # A stone or clod pressed on it for a while.
        middle, reach = rng.uniform(0.2, 0.8) * count, rng.uniform(0.5, 1.5) / STEP_IN
        press = np.exp(-(((np.arange(count) - middle) / reach) ** 4))
        width, flat = width * (1 + press * rng.uniform(0.5, 0.9)), 1 - 0.5 * press
    out = habit.exposure + habit.unevenness * wiggle(count, rng, rng.uniform(1, 3) / STEP_IN)
    if order:
        out -= rng.uniform(-0.2, 0.5)
    for _ in range(rng.poisson(habit.hidden_per_in * count * STEP_IN)):
        middle, reach = rng.uniform(0, 1) * count, rng.uniform(0.15, 0.9) / STEP_IN
        out -= 2.6 * np.exp(-(((np.arange(count) - middle) / reach) ** 4))
    if rng.random() < 0.5:
        out -= 2.5 * np.clip((share - rng.uniform(0.85, 1.0)) / 0.1, 0, 1)
    base = jitter(habit.base_rgb, rng, habit.spread_rgb, habit.spread_rgb / 3)
    if rng.random() < habit.dead_share:
        base = jitter((0.07, 0.045, 0.03), rng, 0.3, 0.1)
    tip = jitter(base, rng, 0.2, 0.05)
    return Root(
        id=name, order=order, parent=parent, points=points, width_in=np.maximum(width, 0.008),
        out_in=out * width / 2, flat_ratio=flat, base_rgb=base, tip_rgb=tip,
        banding=habit.banding, dirt=float(np.clip(habit.dirt * rng.uniform(0.3, 1.8), 0, 0.8)),
        gloss=habit.gloss, fuzz=habit.fuzz if width_in > 0.02 else 0.0,
        seed=int(rng.integers(2**31)), runs=runs_of(points),
    )  # fmt: skip


def laterals(
    rng: np.random.Generator,
    habit: Habit,
    mother: Root,
    per_in: float,
    named_from: int,
    longest_in: float,
    floor_z_in: float | None,
) -> list[Root]:
    """Side roots of one root, leaving at 50-90 degrees and then bending down a little."""
    length = len(mother.points) * STEP_IN
    born: list[Root] = []
    for _ in range(rng.poisson(per_in * length)):
        at = int(rng.uniform(0.04, 0.97) * (len(mother.points) - 2))
        way = mother.points[at + 1] - mother.points[at]
        heading = np.degrees(np.arctan2(way[1], way[0]))
        leave = heading + rng.choice([-1, 1]) * rng.uniform(45, 90)
        reach = float(np.clip(rng.exponential(longest_in / 2.5), 0.3, longest_in))
        count = max(int(reach / STEP_IN), 5)
        goal = np.degrees(
            np.arctan2(np.sin(np.radians(leave)) + 0.7 * rng.random(), np.cos(np.radians(leave)))
        )
        goal = leave + (goal - leave + 180) % 360 - 180
        course = leave + (goal - leave) * np.linspace(0, 1, count)
        course += 1.6 * habit.wiggle_deg * wiggle(count, rng, rng.uniform(0.25, 0.8) / STEP_IN)
        points = walk(mother.points[at], course)
        points = points[points[:, 1] > 0.15]
        if floor_z_in is not None and mother.points[at, 1] < floor_z_in and rng.random() < 0.5:
            points = points[: int(np.argmax(points[:, 1] > floor_z_in)) or len(points)]
        if len(points) < 6:
            continue
        width = mother.width_in[at] * rng.uniform(0.2, 0.55)
        width = float(np.clip(width, 0.01, 0.06 if mother.order == 0 else 0.03))
        born.append(body(rng, habit, points, width, rng.uniform(0.2, 0.6), mother.order + 1, mother.id,
                         f"r{named_from + len(born)}"))  # fmt: skip
    return born


def grow_fan(
    rng: np.random.Generator,
    habit: Habit,
    crowns: list[tuple[float, float]],
    kind: Kind,
    layers: tuple[Layer, ...],
    cracks: tuple[Groove, ...],
    depth_in: float,
) -> list[Root]:
    """Nodal roots of each crown with their laterals."""
    roots: list[Root] = []
    size = rng.uniform(0.7, 1.3)
    for crown in crowns:
        for _ in range(int(rng.integers(8, 24))):
            side = int(rng.choice([-1, 1]))
            steep = rng.random() < 0.06
            descent = rng.uniform(55, 80) if steep else rng.normal(*GROWTH_PATTERN_DEG)
            descent = float(np.clip(descent, 18, 85))
            length = float(np.clip(rng.gamma(4, 3.3), 3, 1.5 * depth_in))
            start = np.array(crown) + [side * rng.uniform(0, 0.3), rng.uniform(-0.2, 0.5)]
            points, squeezed = main_course(
                rng, start, side, descent, length, habit.wiggle_deg, layers, cracks
            )
            width = float(size * np.clip(rng.lognormal(np.log(0.11), 0.3), 0.04, 0.24))
            roots.append(
                body(rng, habit, points, width, rng.uniform(0.25, 0.65), 0, None, f"r{len(roots)}", squeezed)
            )
    floor_z = layers[0].z_in if layers else None
    for per_in, longest in ((habit.lateral_per_in, rng.uniform(1.5, 4.5)), (habit.lateral_per_in / 2, 1.2)):
        order = 0 if roots[-1].order == 0 else 1
        for mother in [r for r in roots if r.order == order]:
            roots += laterals(rng, habit, mother, per_in, len(roots), longest, floor_z)
    return roots


def grow_free(rng: np.random.Generator, habit: Habit, width_in: float, depth_in: float) -> list[Root]:
    """Roots of any habit: taproots, mats, lone curves from any side. For training alone."""
    roots: list[Root] = []
    dense = rng.uniform(0.01, 0.08)
    thick = rng.uniform(0.02, 0.16)
    lean = rng.uniform(0, 360)
    along = rng.uniform(10, 180)
    for _ in range(int(dense * width_in * depth_in)):
        start = np.array([rng.uniform(0, width_in), rng.uniform(0.3, depth_in)])
        length = float(np.clip(rng.exponential(6), 0.8, 30))
        count = int(length / STEP_IN) + 4
        course = (
            lean + rng.normal(0, along) + rng.uniform(5, 60) * wiggle(count, rng, rng.uniform(1, 6) / STEP_IN)
        )
        course += rng.uniform(2, 15) * wiggle(count, rng, rng.uniform(0.2, 0.8) / STEP_IN)
        points = walk(start, course)
        points = points[: int(np.argmax(points[:, 1] < 0.2)) or len(points)]
        if len(points) < 8:
            continue
        width = float(np.clip(rng.lognormal(np.log(thick), 0.6), 0.01, 0.5))
        roots.append(body(rng, habit, points, width, rng.uniform(0, 0.7), 0, None, f"r{len(roots)}"))
    for mother in list(roots):
        roots += laterals(rng, habit, mother, habit.lateral_per_in, len(roots), rng.uniform(0.8, 3), None)
    return roots
