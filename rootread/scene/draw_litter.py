"""Draw at random what lies in and on the wall besides roots: stones, litter, marks, hands and tools."""

import numpy as np

from rootread.geometry import Points
from rootread.scene.describe import Difficulty, Litter, LitterKind, Stone, Thing, ToolMark
from rootread.scene.noise import wiggle
from rootread.scene.soils import LITTER, STONES, jitter, linear, pick

LITTER_SIZES: dict[LitterKind, tuple[float, float, float, float]] = {
    "straw": (0.05, 0.2, 0.5, 5.0),
    "stalk": (0.2, 0.8, 1.0, 6.0),
    "leaf": (0.15, 0.7, 1.0, 6.0),
    "twig": (0.04, 0.2, 0.5, 4.0),
    "cord": (0.03, 0.1, 6.0, 30.0),
}
"""Width from, to; length from, to; inches."""
HANDS = ((232, 190, 160), (198, 146, 110), (140, 94, 66), (92, 60, 44), (60, 80, 160), (220, 200, 60))
"""Skins and gloves, sRGB."""
BEND_DEG: dict[LitterKind, float] = {"straw": 2.0, "stalk": 1.5, "leaf": 14.0, "twig": 10.0, "cord": 1.0}


def draw_stones(
    rng: np.random.Generator, width_in: float, depth_in: float, difficulty: Difficulty
) -> tuple[Stone, ...]:
    """A few stones, or a stony wall."""
    count = {"clean": 1.5, "typical": 4.0, "hard": 8.0}[difficulty]
    if rng.random() < 0.15:
        count *= 12
    shade = pick(STONES, rng, 0.2)
    found = []
    for _ in range(rng.poisson(count)):
        long = float(np.clip(rng.lognormal(np.log(0.3), 0.5), 0.08, 1.6))
        short = long * float(rng.uniform(0.5, 0.95))
        rgb = jitter(shade, rng, 0.2, 0.05) if rng.random() < 0.6 else pick(STONES, rng, 0.2)
        found.append(
            Stone(float(rng.uniform(0, width_in)), float(rng.uniform(0.5, depth_in)), long, short,
                  float(rng.uniform(0, 180)), short * float(rng.uniform(0.15, 0.5)), rgb,
                  int(rng.integers(2**31)))
        )  # fmt: skip
    return tuple(found)


def _strip(
    rng: np.random.Generator, kind: LitterKind, start: Points, heading_deg: float, length_in: float
) -> Points:
    count = max(int(length_in / 0.1), 4)
    bend = rng.normal(0, 2 * BEND_DEG[kind]) * np.linspace(-1, 1, count) + BEND_DEG[kind] * wiggle(
        count, rng, 10
    )
    if kind == "straw" and rng.random() < 0.2:
        bend[int(rng.integers(1, count)) :] += rng.normal(0, 40)
    turn = np.radians(heading_deg + bend)
    steps = np.column_stack([np.cos(turn), np.sin(turn)]) * length_in / count
    return start + np.vstack([np.zeros(2), np.cumsum(steps, axis=0)])


def draw_litter(
    rng: np.random.Generator, surface: Points, width_in: float, depth_in: float, difficulty: Difficulty
) -> tuple[Litter, ...]:
    """Straw and stalk pieces along the surface, some stuck on the face; now and then a cord."""
    much = {"clean": 0.4, "typical": 1.0, "hard": 1.8}[difficulty] * rng.lognormal(0, 0.5)
    places: list[tuple[LitterKind, bool]] = []
    places += [("straw", True)] * rng.poisson(25 * much * (rng.random() < 0.8))
    places += [("stalk", True)] * rng.poisson(2 * much)
    places += [("leaf", True)] * rng.poisson(3 * much)
    places += [("straw", False)] * rng.poisson(10 * much)
    places += [("stalk", False)] * rng.poisson(1 * much)
    places += [("leaf", False)] * rng.poisson(1.5 * much)
    places += [("twig", False)] * rng.poisson(1 * much)
    places += [("cord", False)] * int(rng.random() < 0.06)
    found = []
    for kind, on_top in places:
        low, high, short, long = LITTER_SIZES[kind]
        length = float(rng.uniform(short, long) * (1 if on_top else rng.uniform(0.3, 1)))
        width = float(low * (high / low) ** rng.random())
        z = 0.0 if on_top else float(rng.exponential(depth_in / 4) + 0.3)
        heading = float(rng.normal(0, 18) if on_top else rng.uniform(0, 180))
        start = np.array([rng.uniform(-1, width_in + 1), min(z, depth_in)])
        points = _strip(rng, kind, start, heading, length)
        if on_top:  # its lowest point touches the soil
            x_low, z_low = points[np.argmax(points[:, 1])]
            points[:, 1] += np.interp(x_low, surface[:, 0], surface[:, 1]) - z_low + rng.exponential(0.12)
        found.append(
            Litter(kind, points, width,
                   width * float(rng.uniform(0.15, 0.6)),
                   float(rng.uniform(0.0, 0.08)), pick(LITTER[kind], rng, 0.2), float(rng.uniform(0, 0.3)),
                   float(rng.uniform(0, 0.5) ** 2), int(rng.integers(2**31)))
        )  # fmt: skip
    return tuple(found)


def draw_tool_marks(
    rng: np.random.Generator, width_in: float, depth_in: float, difficulty: Difficulty
) -> tuple[ToolMark, ...]:
    """Straight marks: spade edges, often parallel, and knife lines."""
    found = []
    for _ in range(rng.poisson({"clean": 0.3, "typical": 1.0, "hard": 2.0}[difficulty])):
        heading = rng.choice([90.0, 0.0, rng.uniform(0, 180)]) + rng.normal(0, 8)
        width = float(rng.choice([rng.uniform(0.02, 0.06), rng.uniform(0.06, 0.25)]))
        x, z = rng.uniform(0, width_in), rng.uniform(1, depth_in)
        length, gap = rng.uniform(1.5, 9), rng.uniform(0.2, 1.5)
        for k in range(int(rng.integers(1, 6))):
            turn = np.radians(heading + rng.normal(0, 2))
            way = np.array([np.cos(turn), np.sin(turn)])
            start = np.array([x, z]) + k * gap * np.array([-way[1], way[0]])
            points = start + np.linspace(0, length * rng.uniform(0.5, 1), 12)[:, None] * way
            found.append(ToolMark(points, width, width * float(rng.uniform(0.2, 0.8))))
    return tuple(found)


def draw_things(
    rng: np.random.Generator, width_in: float, depth_in: float, difficulty: Difficulty
) -> tuple[Thing, ...]:
    """Now and then a hand, a trowel, a knife or a label at the wall."""
    found = []
    chance = {"clean": 0.01, "typical": 0.04, "hard": 0.1}[difficulty]
    if rng.random() < chance:
        found.append(_hand(rng, width_in, depth_in))
    if rng.random() < chance:
        found.append(_tool(rng, width_in, depth_in))
    return tuple(found)


def _hand(rng: np.random.Generator, width_in: float, depth_in: float) -> Thing:
    skin = pick(HANDS, rng)
    x, z = rng.uniform(0.1, 0.9) * width_in, rng.uniform(0.2, 0.9) * depth_in
    aim = rng.uniform(0, 360)

    def at(reach: float, off_deg: float) -> tuple[float, float]:
        turn = np.radians(aim + off_deg)
        return float(x + reach * np.cos(turn)), float(z + reach * np.sin(turn))

    strokes = [(at(0.0, 0), at(1.2, 0), 1.5), (at(-60.0, 0), at(-1.0, 0), 1.3)]
    strokes += [(at(2.0, off), at(rng.uniform(3.6, 4.6), 0.85 * off), 0.36) for off in (-22, -7, 8, 24)]
    strokes.append((at(1.3, -70), at(3.0, -48), 0.42))
    return Thing(tuple(strokes), skin, 0.5, 0.05)


def _tool(rng: np.random.Generator, width_in: float, depth_in: float) -> Thing:
    steel = rng.random() < 0.6
    rgb = linear((150, 152, 156)) if steel else pick(LITTER["cord"], rng)
    turn = np.radians(rng.uniform(0, 360))
    way = np.array([np.cos(turn), np.sin(turn)])
    start = np.array([rng.uniform(0, width_in), rng.uniform(1, depth_in)])
    widths = [rng.uniform(0.06, 0.25)] if rng.random() < 0.6 else list(np.linspace(0.1, 1.2, 24))
    ends = start + np.linspace(0, rng.uniform(3, 10), len(widths) + 1)[:, None] * way
    strokes = tuple(
        ((float(a[0]), float(a[1])), (float(b[0]), float(b[1])), float(w))
        for a, b, w in zip(ends[:-1], ends[1:], widths, strict=True)
    )
    return Thing(strokes, jitter(rgb, rng), 0.3, 0.4)
