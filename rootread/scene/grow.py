"""How the made roots grow: fans from the crowns with laterals, or any habit; and their bodies.

Paths come from ``course``; here they get width, burial, colour and dirt.
"""

from dataclasses import dataclass

import numpy as np
from scipy.signal import find_peaks

from rootread.geometry import Points
from rootread.scene.course import STEP_IN, fates, main_course, runs_of, walk, within
from rootread.scene.describe import Colour, Difficulty, Groove, Layer, Root, Values
from rootread.scene.noise import wiggle
from rootread.scene.soils import draw_root_colour, jitter

GROWTH_PATTERN_DEG = (31.0, 4.5)
"""Descent of unobstructed nodal roots, mean and spread: common practice says most lie in 30-35. Shallow
roots leave the wall sooner, so that what is left in it descends a little more."""
STEEP_SHARE = 0.04
"""Main roots that go down steeply from the start."""
LEVEL_WIGGLE_DEG = 2.5
"""Spread of the heading of a usual root that runs along a layer."""
MIN_POINTS = 8
"""Shorter roots are left out."""
SHARP_TURN_DEG, SHARP_TURN_IN = 45.0, 0.4
"""A root turns sharply where its heading changes by so much from this far before to this far after."""


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
    level_wiggle_deg: float
    """``wiggle_deg`` where a root runs along a layer."""
    exposure: float
    """Mean height of a root's axis over the soil, in its own radii."""
    unevenness: float
    hidden_per_in: float
    lateral_per_in: float
    dead_share: float
    turns_buried: float
    """Chance that a sharp turn lies under soil."""
    hindrance: float
    """How much a layer hinders (0 to 1)."""


def draw_habit(
    rng: np.random.Generator,
    difficulty: Difficulty,
    waviness: float = 1.0,
    turns_buried: float = 0.0,
    hindrance: float = 0.0,
) -> Habit:
    """Colour, dirt, burial, wiggle, and what layers do to them, that the roots of a wall have in common."""
    hard = {"clean": 0.0, "typical": 0.5, "hard": 1.0}[difficulty]
    return Habit(
        base_rgb=draw_root_colour(rng),
        spread_rgb=float(rng.uniform(0.03, 0.25)),
        banding=float(rng.uniform(0, 0.16)),
        dirt=float(rng.uniform(0, 0.12 + 0.5 * hard) ** 1.5),
        gloss=float(rng.choice([0.0, rng.uniform(0.05, 0.5)])),
        fuzz=float(rng.choice([0.0, 0.0, rng.uniform(0.2, 1)])),
        wiggle_deg=float(waviness * rng.uniform(3, 11)),
        level_wiggle_deg=LEVEL_WIGGLE_DEG * waviness,
        exposure=float(rng.normal(1.2 - 0.4 * hard, 0.2)),
        unevenness=float(rng.uniform(0.1, 0.25 + 0.35 * hard)),
        hidden_per_in=float(rng.uniform(0.3, 1.0) * (0.01 + 0.07 * hard)),
        lateral_per_in=float(rng.uniform(0.1, 0.7)),
        dead_share=float(rng.choice([0.0, rng.uniform(0, 0.3)])),
        turns_buried=turns_buried,
        hindrance=hindrance,
    )


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
        press = _bump(count, middle, reach)
        width, flat = width * (1 + press * rng.uniform(0.5, 0.9)), 1 - 0.5 * press
    out = habit.exposure + habit.unevenness * wiggle(count, rng, rng.uniform(1, 3) / STEP_IN)
    if order:
        out -= rng.uniform(-0.2, 0.5)
    for _ in range(rng.poisson(habit.hidden_per_in * count * STEP_IN)):
        middle, reach = rng.uniform(0, 1) * count, rng.uniform(0.15, 0.9) / STEP_IN
        out -= 2.6 * _bump(count, middle, reach)
    if habit.turns_buried:
        for turn in sharp_turns(points):
            if rng.random() < habit.turns_buried:
                middle, reach = turn + rng.normal(0, 0.3) / STEP_IN, rng.uniform(0.1, 0.7) / STEP_IN
                out -= 2.6 * _bump(count, middle, reach)
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


def _bump(count: int, middle: float, reach: float) -> Values:
    """1 at one of ``count`` points, and near 0 farther than ``reach`` from it."""
    bump: Values = np.exp(-(((np.arange(count) - middle) / reach) ** 4))
    return bump


def sharp_turns(points: Points) -> list[int]:
    """Number of the point in the middle of each sharp turn of a path."""
    step = np.diff(points, axis=0)
    heading = np.unwrap(np.arctan2(step[:, 1], step[:, 0]))
    reach = int(SHARP_TURN_IN / STEP_IN)
    change_deg = np.degrees(np.abs(heading[2 * reach :] - heading[: -2 * reach]))
    turns, _ = find_peaks(change_deg, height=SHARP_TURN_DEG, distance=2 * reach)
    return (turns + reach).tolist()


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
        points = within(points, np.inf, np.inf)
        if floor_z_in is not None and mother.points[at, 1] < floor_z_in and rng.random() < 0.5:
            points = points[: int(np.argmax(points[:, 1] > floor_z_in)) or len(points)]
        if len(points) < MIN_POINTS:
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
    layers: tuple[Layer, ...],
    cracks: tuple[Groove, ...],
    width_in: float,
    depth_in: float,
) -> list[Root]:
    """Nodal roots of each crown with their laterals."""
    roots: list[Root] = []
    size = rng.uniform(0.7, 1.3)
    for crown in crowns:
        for _ in range(int(rng.integers(8, 24))):
            side = int(rng.choice([-1, 1]))
            steep = rng.random() < STEEP_SHARE
            descent = rng.uniform(55, 80) if steep else rng.normal(*GROWTH_PATTERN_DEG)
            descent = float(np.clip(descent, 18, 85))
            length = float(np.clip(rng.gamma(4, 3.3), 3, 1.5 * depth_in))
            start = np.array([crown[0] + side * rng.uniform(0, 0.3), crown[1] + rng.uniform(-0.2, 0.5)])
            points, squeezed = main_course(
                rng, start, side, descent, length, habit.wiggle_deg, habit.level_wiggle_deg, layers, cracks,
                fates(habit.hindrance),
            )  # fmt: skip
            points = within(points, width_in, depth_in)
            if len(points) < MIN_POINTS:
                continue
            squeezed = squeezed[: len(points)]
            width = float(size * np.clip(rng.lognormal(np.log(0.11), 0.3), 0.04, 0.24))
            roots.append(
                body(rng, habit, points, width, rng.uniform(0.25, 0.65), 0, None, f"r{len(roots)}", squeezed)
            )
    floor_z = layers[0].z_in if layers else None
    for per_in, longest in ((habit.lateral_per_in, rng.uniform(1.5, 4.5)), (habit.lateral_per_in / 2, 1.2)):
        order = max((root.order for root in roots), default=0)
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
        points = within(points, width_in, depth_in)
        if len(points) < MIN_POINTS:
            continue
        width = float(np.clip(rng.lognormal(np.log(thick), 0.6), 0.01, min(0.5, len(points) * STEP_IN / 20)))
        roots.append(body(rng, habit, points, width, rng.uniform(0, 0.7), 0, None, f"r{len(roots)}"))
    for mother in list(roots):
        roots += laterals(rng, habit, mother, habit.lateral_per_in, len(roots), rng.uniform(0.8, 3), None)
    return roots
