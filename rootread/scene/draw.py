"""Draw a whole wall at random: what is in it, how it is lit and how it is photographed."""

from dataclasses import replace

import numpy as np

from rootread.scene.describe import (
    Crown,
    Difficulty,
    Groove,
    Kind,
    Layer,
    ObjectKind,
    Scene,
)
from rootread.scene.draw_ground import draw_ground, draw_surface
from rootread.scene.draw_litter import draw_litter, draw_stones, draw_things, draw_tool_marks
from rootread.scene.draw_view import draw_backdrop, draw_camera, draw_faults, draw_light, draw_scale
from rootread.scene.grow import draw_habit, grow_fan, grow_free
from rootread.scene.noise import wiggle
from rootread.scene.soils import SOILS, jitter, linear

LAYER_DEPTH_IN = (3.2, 10.5)
"""Of the upper layer, anywhere between."""
HINDERED_DEPTH_IN = 6.5
"""Where ``hindrance`` is 1 the upper layer lies no deeper than this, so that most main roots come to it."""
LAYER_CAUSES = ("tool floor", "disk floor", "plough pan", "change of soil", "traffic")


def _layers(
    rng: np.random.Generator, kind: Kind, width_in: float, hindrance: float
) -> tuple[tuple[Layer, ...], tuple[tuple[float, float], ...]]:
    """Layers that turn roots, and the slots that shanks opened through them."""
    if kind not in ("blocked", "mixed"):
        return (), ()
    least, most = LAYER_DEPTH_IN
    depth = float(rng.uniform(least, most - hindrance * (most - HINDERED_DEPTH_IN)))
    cause = str(rng.choice(LAYER_CAUSES))
    thick = float(rng.uniform(0.8, 2.5))
    if kind == "blocked":
        found = [Layer(depth, 0.0, width_in, thick, cause)]
        if depth < 6 and rng.random() < 0.3:
            found.append(
                Layer(
                    float(rng.uniform(depth + 4.5, depth + 8)),
                    0.0,
                    width_in,
                    thick,
                    str(rng.choice(LAYER_CAUSES)),
                )
            )
        return tuple(found), ()
    if rng.random() < 0.5:
        edge = float(rng.uniform(0.4, 0.6)) * width_in
        x0, x1 = (0.0, edge) if rng.random() < 0.5 else (edge, width_in)
        return (Layer(depth, x0, x1, thick, cause),), (((x0 + x1 + width_in) % (1.5 * width_in), 4.0),)
    # A berm between two slots.
    left = float(rng.uniform(0.1, 0.25)) * width_in
    right = float(rng.uniform(0.7, 0.9)) * width_in
    half = float(rng.uniform(1.2, 2.5))
    return (Layer(depth, left + half, right - half, thick, cause),), ((left, half), (right, half))


def _groove(
    rng: np.random.Generator,
    x_in: float,
    z_in: float,
    length_in: float,
    width_in: float,
    lean_deg: float,
    ragged: bool,
) -> Groove:
    count = max(int(length_in / 0.1), 6)
    sway = rng.uniform(4, 14) * wiggle(count, rng, 12) + (
        rng.uniform(8, 30) * wiggle(count, rng, 2.5) if ragged else 8 * wiggle(count, rng, 30)
    )
    heading = np.radians(lean_deg + sway)
    steps = np.column_stack([np.cos(heading), np.sin(heading)]) * 0.1
    points = np.array([x_in, z_in]) + np.cumsum(steps, axis=0)
    share = np.linspace(0, 1, count)
    width = width_in * (1 + 0.35 * wiggle(count, rng, 6) if ragged else np.ones(count))
    width = np.maximum(width * np.clip(np.minimum(share, 1 - share) * 6, 0.15, 1), 0.01)
    depth = float(rng.uniform(0.1, 0.5)) if ragged else float(width_in * rng.uniform(0.3, 0.6))
    return Groove(
        points,
        width,
        depth,
        float(rng.uniform(0.2, 0.9)) if ragged else float(rng.uniform(-0.2, 0.5)),
        ragged,
    )


def _cracks(
    rng: np.random.Generator, width_in: float, depth_in: float, difficulty: Difficulty
) -> tuple[Groove, ...]:
    """Shrinkage cracks: mostly upright, some slanting, some a network of fine ones."""
    count = {"clean": 3, "typical": 6, "hard": 10}[difficulty]
    found = [
        _groove(rng, rng.uniform(0.03, 0.97) * width_in, rng.uniform(1, 0.6 * depth_in), rng.uniform(2, 11),
                float(np.clip(rng.lognormal(np.log(0.08), 0.5), 0.02, 0.3)), 90 + rng.normal(0, 6), True)
        for _ in range(rng.poisson(count))
    ]  # fmt: skip
    if rng.random() < {"clean": 0.1, "typical": 0.25, "hard": 0.5}[difficulty]:
        found += [
            _groove(rng, rng.uniform(0, width_in), rng.uniform(0.5, depth_in), rng.uniform(0.6, 5),
                    float(np.clip(rng.lognormal(np.log(0.025), 0.5), 0.01, 0.1)), rng.uniform(0, 180), True)
            for _ in range(rng.poisson(25))
        ]  # fmt: skip
    return tuple(found)


def _channels(
    rng: np.random.Generator, width_in: float, depth_in: float, difficulty: Difficulty
) -> tuple[Groove, ...]:
    """Worm channels: round, smooth grooves that wander."""
    count = {"clean": 0.5, "typical": 2.0, "hard": 4.0}[difficulty]
    return tuple(
        _groove(rng, rng.uniform(0, width_in), rng.uniform(1, depth_in), rng.uniform(0.8, 6),
                rng.uniform(0.08, 0.3), rng.uniform(0, 180), False)
        for _ in range(rng.poisson(count))
    )  # fmt: skip


def _crowns(rng: np.random.Generator, width_in: float) -> tuple[Crown, ...]:
    alive = rng.random() < 0.6
    rgb = linear((104, 124, 72)) if alive else linear((196, 178, 118))
    count = int(rng.integers(1, 4))
    at = (np.arange(count) + 0.5) / count + rng.uniform(-0.2, 0.2, count) / count
    return tuple(
        Crown(float(x * width_in), float(rng.uniform(0.3, 1.4)), float(rng.uniform(0.55, 1.2)),
              float(rng.normal(0, 4)), jitter(rgb, rng, 0.2, 0.05))
        for x in at
    )  # fmt: skip


def draw_scene(
    rng: np.random.Generator,
    kind: Kind | None = None,
    difficulty: Difficulty | None = None,
    scale: ObjectKind | None = None,
    soils: tuple[str, ...] | None = None,
    name: str = "scene",
    waviness: float = 1.0,
    turns_buried: float = 0.0,
    hindrance: float = 0.0,
) -> Scene:
    """One wall at random.

    Parameters
    ----------
    rng : settles everything.
    kind : ``open``, ``blocked`` or ``mixed`` (drawn if None); ``free``, roots of any habit, is for training.
    difficulty : how dirty, buried, blurred and cluttered; drawn if None.
    scale : the scale object; drawn if None.
    soils : names of soil families to draw from (keys of ``soils.SOILS``); all if None.
    waviness : times as much as usual that the roots wiggle.
    turns_buried : chance that a sharp turn of a root lies under soil, besides what soil covers anywhere.
    hindrance : 0 as usual, up to 1 where layers lie so shallow that most main roots come to one and turn.
    """
    seed = int(rng.integers(2**31))
    kind = kind or str(rng.choice(["open", "blocked", "mixed"]))  # type: ignore[assignment]
    difficulty = difficulty or str(rng.choice(["clean", "typical", "hard"], p=[0.25, 0.45, 0.3]))  # type: ignore[assignment]
    assert kind is not None and difficulty is not None
    width = float(rng.uniform(30, 44))
    depth = float(width * rng.uniform(0.6, 0.7))
    surface = draw_surface(rng, width)
    layers, slots = _layers(rng, kind, width, hindrance)
    cracks = _cracks(rng, width, depth, difficulty)
    crowns = _crowns(rng, width)
    habit = draw_habit(rng, difficulty, waviness, turns_buried, hindrance)
    if kind == "free":
        roots = grow_free(rng, habit, width, depth)
    else:
        seats = [(c.x_in, c.z_in) for c in crowns]
        roots = grow_fan(rng, habit, seats, layers, cracks, width, depth)
    # What lies deepest in the wall is drawn first.
    roots.sort(key=lambda root: float(np.median(root.out_in)))
    ground = draw_ground(rng, soils or tuple(SOILS), difficulty, width, depth)
    light = draw_light(rng, width, depth)
    camera = draw_camera(rng, width, depth)
    held = draw_scale(rng, scale, width, depth)
    return Scene(
        name=name, seed=seed, kind=kind, difficulty=difficulty, width_in=width, depth_in=depth,
        surface=surface, ground=ground, crowns=crowns, roots=tuple(roots), layers=layers, slots=slots,
        cracks=cracks,
        channels=_channels(rng, width, depth, difficulty), stones=draw_stones(rng, width, depth, difficulty),
        litter=draw_litter(rng, surface, width, depth, difficulty),
        tool_marks=draw_tool_marks(rng, width, depth, difficulty),
        things=draw_things(rng, width, depth, difficulty), scale=held, light=light,
        backdrop=draw_backdrop(rng, width, depth, ground), camera=camera, faults=draw_faults(rng, difficulty),
    )  # fmt: skip


def vary(scene: Scene, rng: np.random.Generator, soils: tuple[str, ...] | None = None) -> Scene:
    """The same roots in another soil, under another light, through another camera: a cheap new scene."""
    difficulty = str(rng.choice(["clean", "typical", "hard"], p=[0.25, 0.45, 0.3]))
    habit = draw_habit(rng, difficulty)  # type: ignore[arg-type]
    width, depth = scene.width_in, scene.depth_in
    lift = rng.normal(0, 0.3)
    roots = tuple(
        replace(root, base_rgb=(base := jitter(habit.base_rgb, rng, habit.spread_rgb, 0.05)),
                tip_rgb=jitter(base, rng, 0.2, 0.05),
                dirt=float(np.clip(habit.dirt * rng.uniform(0.3, 1.8), 0, 0.8)),
                gloss=habit.gloss, banding=habit.banding, fuzz=habit.fuzz,
                out_in=root.out_in + lift * root.width_in / 2, seed=int(rng.integers(2**31)))
        for root in scene.roots
    )  # fmt: skip
    ground = draw_ground(rng, soils or tuple(SOILS), difficulty, width, depth)  # type: ignore[arg-type]
    return replace(
        scene, seed=int(rng.integers(2**31)), roots=roots, ground=ground,
        light=draw_light(rng, width, depth), backdrop=draw_backdrop(rng, width, depth, ground),
        stones=draw_stones(rng, width, depth, difficulty),  # type: ignore[arg-type]
        litter=draw_litter(rng, scene.surface, width, depth, difficulty),  # type: ignore[arg-type]
        tool_marks=draw_tool_marks(rng, width, depth, difficulty),  # type: ignore[arg-type]
        things=draw_things(rng, width, depth, difficulty),  # type: ignore[arg-type]
        scale=draw_scale(rng, None, width, depth), faults=draw_faults(rng, difficulty),  # type: ignore[arg-type]
    )  # fmt: skip
