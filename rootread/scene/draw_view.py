"""Draw at random how a wall is lit, what surrounds it, and how it is photographed."""

import numpy as np

from rootread.scene.describe import (
    Backdrop,
    Camera,
    Colour,
    Difficulty,
    Faults,
    Ground,
    Light,
    ObjectKind,
    ScaleObject,
    Shadow,
)
from rootread.scene.noise import wiggle
from rootread.scene.soils import jitter, linear, pick

CARD_IN, STAFF_IN, TAPE_IN = (8.5, 11.0), (1.5, 24.0), (1.0, 23.0)


def _shadow(rng: np.random.Generator, width_in: float, depth_in: float) -> Shadow:
    """The shade of the pit rim, a person, stalks or leaves."""
    what = rng.choice(["rim", "person", "stalks", "leaves"])
    soft = float(rng.choice([rng.uniform(0.02, 0.15), rng.uniform(0.15, 1.5)]))
    dense = float(rng.uniform(0.75, 1.0))
    far = 60.0
    if what == "rim":
        x = np.linspace(-10, width_in + 10, 60)
        z = (
            rng.uniform(0.1, 0.9) * depth_in
            + rng.normal(0, 0.4) * (x - width_in / 2)
            + 0.3 * wiggle(60, rng, 6)
        )
        below = far if rng.random() < 0.6 else -far
        return Shadow(
            np.vstack([np.column_stack([x, z]), [[width_in + 10, below], [-10, below]]]), soft, dense
        )
    if what == "person":
        at = np.array([rng.uniform(0, width_in), rng.uniform(0, 0.7) * depth_in])
        turn = np.linspace(0, 2 * np.pi, 40)
        radius = rng.uniform(4, 9) * (1 + 0.2 * wiggle(40, rng, 10))
        blob = at + np.column_stack([radius * np.cos(turn), 1.3 * radius * np.sin(turn)])
        blob[10:30, 1] += np.where(np.sin(turn[10:30]) > 0, far, 0)
        return Shadow(blob, soft, dense)
    foot = rng.uniform(0, width_in)
    lean = rng.uniform(-0.8, 0.8)
    half_in = rng.uniform(0.2, 0.8) if what == "stalks" else rng.uniform(0.4, 1.6)
    z = np.linspace(-8, rng.uniform(4, depth_in), 24)
    swell = half_in * (np.ones(24) if what == "stalks" else np.sin(np.linspace(0.15, np.pi, 24)))
    middle = foot + lean * z + (0 if what == "stalks" else 1.5) * wiggle(24, rng, 9)
    edge = np.vstack([np.column_stack([middle - swell, z]), np.column_stack([middle + swell, z])[::-1]])
    return Shadow(edge, soft, dense)


def draw_light(rng: np.random.Generator, width_in: float, depth_in: float) -> Light:
    """Overcast, hazy, sun, or low sun, warm or cold; shadows of things out of frame under a sun."""
    name = str(rng.choice(["overcast", "hazy", "sun", "lowsun"], p=[0.35, 0.2, 0.25, 0.2]))
    height = np.radians(rng.uniform(12, 30) if name == "lowsun" else rng.uniform(30, 70))
    # Angle between the sun's bearing and the face: small is raking light.
    bearing = np.radians(rng.uniform(15, 165))
    to_sun = np.array([np.cos(height) * np.cos(bearing), -np.sin(height), np.cos(height) * np.sin(bearing)])
    strength = {"overcast": rng.uniform(0.0, 0.15), "hazy": rng.uniform(0.3, 0.9),
                "sun": rng.uniform(1.2, 3.0),
                "lowsun": rng.uniform(1.2, 3.5)}[name]  # fmt: skip
    warm = rng.uniform(0.1, 0.35) if name == "lowsun" else rng.uniform(-0.02, 0.1)
    sun: Colour = (strength * (1 + warm), strength, strength * (1 - warm))
    blue = rng.uniform(0, 0.25) if name in ("sun", "lowsun") else rng.uniform(-0.05, 0.08)
    fill = 0.6 if name in ("sun", "lowsun") else 1.0
    sky: Colour = (fill * (1 - blue), fill, fill * (1 + blue))
    count = int(rng.poisson(1.1)) if name in ("sun", "lowsun", "hazy") else 0
    return Light(
        name=name, to_sun=(float(to_sun[0]), float(to_sun[1]), float(to_sun[2])), sun_rgb=sun, sky_rgb=sky,
        haze=float({"overcast": 1.5, "hazy": 0.7}.get(name, rng.uniform(0.05, 0.25))),
        shadows=tuple(_shadow(rng, width_in, depth_in) for _ in range(count)),
    )  # fmt: skip


def draw_scale(
    rng: np.random.Generator, kind: ObjectKind | None, width_in: float, depth_in: float
) -> ScaleObject:
    """A card, staff or tape at one side of the wall."""
    kind = kind or str(rng.choice(["card", "staff", "tape"], p=[0.5, 0.25, 0.25]))  # type: ignore[assignment]
    assert kind is not None
    wide, high = {"card": CARD_IN, "staff": STAFF_IN, "tape": TAPE_IN, "none": (0.0, 0.0)}[kind]
    high = min(high, float(int(depth_in - 1.5))) if kind in ("staff", "tape") else high
    margin = wide / 2 + rng.uniform(0.8, 4)
    x = margin if rng.random() < 0.5 else width_in - margin
    low = high / 2 + (rng.uniform(0.3, 6) if kind == "card" else 0.4)
    z = rng.uniform(low, max(depth_in - high / 2 - 0.5, low + 0.1))
    tape_rgb = pick(((246, 214, 50), (240, 238, 230), (250, 190, 60), (230, 226, 90)), rng, 0.1)
    return ScaleObject(
        kind=kind, x_in=float(x), z_in=float(z),
        rotation_deg=float(rng.normal(0, 0.7) if kind == "card" else rng.normal(0, 3)),
        out_in=float(rng.uniform(0.08, 0.5)), width_in=wide, height_in=high,
        thickness_in={"card": 0.06, "staff": 0.3, "tape": 0.04, "none": 0.0}[kind],
        unit_in={"card": 2.0, "staff": 1.0, "tape": 0.125, "none": 1.0}[kind],
        light_rgb=tape_rgb if kind == "tape" else jitter(linear((236, 236, 232)), rng, 0.08, 0.02),
        dark_rgb=jitter(linear((34, 34, 36)), rng, 0.25, 0.03),
        dirt=float(rng.choice([0.0, rng.uniform(0, 0.35)])),
        gloss=float(rng.choice([0.0, rng.uniform(0, 0.3)])), dark_first=bool(rng.random() < 0.5),
        numbered=bool(rng.random() < 0.7), seed=int(rng.integers(2**31)),
    )  # fmt: skip


def draw_backdrop(rng: np.random.Generator, width_in: float, depth_in: float, ground: Ground) -> Backdrop:
    """Sky, crop rows, grass or something else over the surface; a floor under the face."""
    kind = str(rng.choice(["sky", "rows", "grass", "picture", "soil"], p=[0.25, 0.3, 0.2, 0.15, 0.1]))
    green = pick(((80, 116, 44), (60, 90, 40), (120, 130, 60), (170, 150, 90), (96, 84, 60)), rng, 0.2)
    sky = pick(((190, 210, 235), (236, 238, 240), (120, 170, 230), (250, 246, 236)), rng, 0.1)
    return Backdrop(
        kind=kind, rgb=green, horizon_in=float(rng.uniform(0.5, 5)), sky_rgb=sky,  # type: ignore[arg-type]
        floor_z_in=float(depth_in * rng.choice([rng.uniform(0.88, 1.0), 2.0])),
        floor_rgb=jitter(ground.subsoil_rgb, rng, 0.2, 0.05), seed=int(rng.integers(2**31)),
    )  # fmt: skip


def draw_camera(rng: np.random.Generator, width_in: float, depth_in: float) -> Camera:
    """A phone or camera held roughly square to the wall, aimed so that a 4:3 photo shows the whole wall."""
    focal = float(rng.uniform(0.68, 1.15))
    view_in = width_in * rng.uniform(1.0, 1.1)
    distance = focal * view_in
    yaw, pitch, roll = rng.normal(0, 3.5), rng.normal(0, 3), rng.normal(0, 1.2)
    aim_x = width_in / 2 + rng.normal(0, 0.02 * width_in)
    aim_z = 0.375 * view_in - rng.uniform(1.5, 5.5)
    return Camera(
        x_in=float(aim_x - distance * np.tan(np.radians(yaw))),
        z_in=float(aim_z - distance * np.tan(np.radians(pitch))),
        distance_in=float(distance), yaw_deg=float(yaw), pitch_deg=float(pitch), roll_deg=float(roll),
        focal_share=focal, k1=float(rng.choice([0.0, rng.uniform(-0.06, 0.05)])),
    )  # fmt: skip


def draw_faults(rng: np.random.Generator, difficulty: Difficulty) -> Faults:
    """What the camera does to the picture; worse when hard."""
    bad = {"clean": 0.25, "typical": 0.6, "hard": 1.0}[difficulty]
    warm = rng.normal(0, 0.09)
    return Faults(
        exposure=float(np.exp(rng.normal(0, 0.28))),
        balance=(float(np.exp(warm)), float(np.exp(rng.normal(0, 0.02))), float(np.exp(-warm))),
        contrast=float(rng.uniform(0.0, 0.6)), saturation=float(rng.uniform(0.6, 1.2)),
        vignette=float(rng.uniform(0, 0.35)), defocus_px=float(abs(rng.normal(0, 1.3 * bad))),
        motion_px=float(rng.choice([0.0, rng.uniform(0, 5 * bad)], p=[0.7, 0.3])),
        motion_deg=float(rng.uniform(0, 180)), noise=float(0.03 * bad * rng.random()),
        noise_grain_px=float(rng.uniform(0.5, 1.4)), sharpen=float(rng.choice([0.0, rng.uniform(0, 1.2)])),
        jpeg_quality=int(rng.integers(int(92 - 35 * bad), 97)), chroma_halved=bool(rng.random() < 0.6),
        tilt_blur=float(rng.choice([0.0, 1.5 * bad * rng.random()])), seed=int(rng.integers(2**31)),
    )  # fmt: skip
