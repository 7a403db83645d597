"""What a made wall consists of: a description in wall inches and plain numbers, no pixels.

Wall coordinates: x to the right from the wall's left end, z straight down from
the mean level of the soil surface, y out of the wall toward the camera.
Colours are linear reflectances, red, green, blue, 0 to 1. A ``seed`` in a part
settles its fine detail, so that a scene always looks the same.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from rootread.geometry import Points

Colour = tuple[float, float, float]
Values = NDArray[np.float64]
Kind = Literal["open", "blocked", "mixed", "free"]
KINDS: tuple[Kind, ...] = ("open", "blocked", "mixed")
"""Kinds of wall that tests and benchmarks use; ``free`` ones, with roots of any habit, are for training."""
Difficulty = Literal["clean", "typical", "hard"]
Structure = Literal["crumb", "blocky", "massive", "platy", "sandy", "picture"]
ObjectKind = Literal["card", "staff", "tape", "none"]
LitterKind = Literal["straw", "stalk", "leaf", "twig", "cord"]


@dataclass(frozen=True)
class Run:
    """A sideways run of a root."""

    z_in: float
    x0_in: float
    x1_in: float
    length_in: float


@dataclass(frozen=True, eq=False)
class Root:
    """One root, base first; ``(N,)`` arrays go with the ``(N, 2)`` points, 0.05 in apart."""

    id: str
    order: int
    parent: str | None
    points: Points
    width_in: Values
    out_in: Values
    """Height of the root's axis over the smoothed soil around it; negative is buried."""
    flat_ratio: Values
    """Thickness out of the wall over width in it; 1 is round."""
    base_rgb: Colour
    tip_rgb: Colour
    banding: float
    dirt: float
    """Share of the root's face that soil sticks to."""
    gloss: float
    fuzz: float
    """Density of root hairs, 0 to 1."""
    seed: int
    runs: tuple[Run, ...] = ()
    wrinkle: float = 0.0
    """Depth of the wrinkles that run along its skin: about what they add to or take from its brightness."""


@dataclass(frozen=True)
class Layer:
    """A layer that turns roots."""

    z_in: float
    x0_in: float
    x1_in: float
    thickness_in: float
    cause: str


@dataclass(frozen=True, eq=False)
class Groove:
    """A crack (ragged, deep) or a worm channel (round, smooth) in the face."""

    points: Points
    width_in: Values
    depth_in: float
    lining: float
    """How much darker the inside is than the soil, 0 to 1."""
    ragged: bool


@dataclass(frozen=True)
class Stone:
    """A stone that stands out of the face."""

    x_in: float
    z_in: float
    long_in: float
    short_in: float
    angle_deg: float
    out_in: float
    rgb: Colour
    seed: int


@dataclass(frozen=True, eq=False)
class Litter:
    """Straw, stalk, leaf, twig or cord: like a root to look at, but none."""

    kind: LitterKind
    points: Points
    width_in: float
    thickness_in: float
    out_in: float
    rgb: Colour
    banding: float
    dirt: float
    seed: int


@dataclass(frozen=True, eq=False)
class ToolMark:
    """A straight mark of a shovel or knife: a furrow with a raised lip."""

    points: Points
    width_in: float
    depth_in: float


@dataclass(frozen=True)
class Thing:
    """A hand, glove or tool in front of the wall: a chain of thick strokes of one colour."""

    strokes: tuple[tuple[tuple[float, float], tuple[float, float], float], ...]
    """Each ``(x, z)`` to ``(x, z)`` with a radius, inches."""
    rgb: Colour
    out_in: float
    gloss: float


@dataclass(frozen=True, eq=False)
class Ground:
    """The soil of the face."""

    soil: str
    topsoil_rgb: Colour
    subsoil_rgb: Colour
    boundary: Points
    blend_in: float
    subsoil_relief: float
    """Relief under the boundary as a share of that over it."""
    mottle_rgb: Colour
    mottle_share: float
    mottle_in: float
    patchiness: float
    grain: float
    cell_contrast: float
    structure: Structure
    clod_in: float
    clod_relief_in: float
    crumb_in: float
    crumb_relief_in: float
    undulation_in: float
    scrape: float
    scrape_deg: float
    wetness: float
    pores_per_in2: float
    pore_in: float
    chips_per_in2: float
    """Small pale or dark flecks: fine gravel, charcoal, root crumbs."""
    chip_rgb: Colour
    picture: int
    """Which natural picture lends its texture (structure ``picture``)."""
    seed: int


@dataclass(frozen=True)
class Crown:
    """A plant at the surface, and its stalk's lean and look."""

    x_in: float
    z_in: float
    stalk_in: float
    lean_deg: float
    rgb: Colour


@dataclass(frozen=True, eq=False)
class Shadow:
    """The shade of something out of frame: an outline, and how soft its edge is."""

    outline: Points
    softness_in: float
    density: float


@dataclass(frozen=True)
class Light:
    """Sun and sky. ``to_sun`` is a unit vector (x, z, y)."""

    name: str
    to_sun: tuple[float, float, float]
    sun_rgb: Colour
    sky_rgb: Colour
    haze: float
    """Width of the sun's shadow edge, as a share of the height that casts it."""
    shadows: tuple[Shadow, ...]


@dataclass(frozen=True)
class ScaleObject:
    """The thing of known size, hung in front of the face."""

    kind: ObjectKind
    x_in: float
    z_in: float
    rotation_deg: float
    out_in: float
    width_in: float
    height_in: float
    thickness_in: float
    unit_in: float
    """Marker side, band length or smallest tick."""
    light_rgb: Colour
    dark_rgb: Colour
    dirt: float
    gloss: float
    dark_first: bool
    numbered: bool
    seed: int


@dataclass(frozen=True)
class Backdrop:
    """What is seen over the surface and under the face."""

    kind: Literal["sky", "rows", "grass", "picture", "soil"]
    rgb: Colour
    horizon_in: float
    sky_rgb: Colour
    floor_z_in: float
    floor_rgb: Colour
    seed: int


@dataclass(frozen=True)
class Camera:
    """Where the photo is taken from; OpenCV's model with one radial term."""

    x_in: float
    z_in: float
    distance_in: float
    yaw_deg: float
    pitch_deg: float
    roll_deg: float
    focal_share: float
    """Focal length as a share of the photo's width."""
    k1: float


@dataclass(frozen=True)
class Faults:
    """What camera and file do to the picture; lengths in pixels of a 3000-pixel-wide photo."""

    exposure: float
    balance: Colour
    contrast: float
    saturation: float
    vignette: float
    defocus_px: float
    motion_px: float
    motion_deg: float
    noise: float
    noise_grain_px: float
    sharpen: float
    jpeg_quality: int
    chroma_halved: bool
    tilt_blur: float
    """How much more blurred the photo's corners are."""
    seed: int


@dataclass(frozen=True, eq=False)
class Scene:
    """One wall, its plants, its light and its camera."""

    name: str
    seed: int
    kind: Kind
    difficulty: Difficulty
    width_in: float
    depth_in: float
    surface: Points
    ground: Ground
    crowns: tuple[Crown, ...]
    roots: tuple[Root, ...]
    layers: tuple[Layer, ...]
    slots: tuple[tuple[float, float], ...]
    """Centre x and half width of each loosened slot."""
    cracks: tuple[Groove, ...]
    channels: tuple[Groove, ...]
    stones: tuple[Stone, ...]
    litter: tuple[Litter, ...]
    tool_marks: tuple[ToolMark, ...]
    things: tuple[Thing, ...]
    scale: ScaleObject
    light: Light
    backdrop: Backdrop
    camera: Camera
    faults: Faults
