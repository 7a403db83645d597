"""Draw the soil of a wall at random: its surface line, horizons, structure, and moisture."""

import numpy as np

from rootread.geometry import Points
from rootread.scene.describe import Colour, Difficulty, Ground, Structure
from rootread.scene.noise import wiggle
from rootread.scene.soils import SOILS, Soil, jitter, linear, pick

LINE_STEP_IN = 0.25
PICTURE_COUNT = 3
CHIPS = ((226, 220, 204), (60, 54, 50), (180, 170, 150), (150, 90, 60), (210, 190, 150))
"""Flecks in the soil, sRGB: shell, charcoal, gravel, brick, straw."""


def draw_surface(rng: np.random.Generator, width_in: float) -> Points:
    """The soil surface line, ``(N, 2)``: gentle swells, maybe a slope or ridges; mean depth 0."""
    x = np.arange(-4.0, width_in + 4.0, LINE_STEP_IN)
    z = rng.uniform(0.05, 0.25) * wiggle(len(x), rng, 30) + 0.04 * wiggle(len(x), rng, 5)
    z += rng.normal(0, 0.01) * (x - width_in / 2)
    if rng.random() < 0.15:
        z += rng.uniform(0.2, 0.6) * np.cos(2 * np.pi * (x / rng.uniform(14, 30) + rng.random()))
    inside = (x >= 0) & (x <= width_in)
    return np.column_stack([x, z - z[inside].mean()])


def _boundary(rng: np.random.Generator, width_in: float, depth_in: float) -> Points:
    x = np.arange(-4.0, width_in + 4.0, LINE_STEP_IN)
    z = rng.uniform(6, 0.65 * depth_in) + rng.uniform(0.1, 0.9) * wiggle(len(x), rng, 24)
    z += rng.uniform(0.02, 0.2) * wiggle(len(x), rng, 4) + rng.normal(0, 0.03) * (x - width_in / 2)
    return np.column_stack([x, z])


def _soil(rng: np.random.Generator, soils: tuple[str, ...]) -> tuple[str, Soil]:
    name = str(rng.choice(soils))
    soil = SOILS[name]
    draw = rng.random()
    if draw < 0.15:
        return name, Soil(soil.topsoil, soil.topsoil)
    if draw < 0.3:
        return name, Soil(soil.topsoil, SOILS[str(rng.choice(soils))].subsoil)
    if draw < 0.36:
        return name, Soil(soil.subsoil, soil.topsoil)
    return name, soil


def _mottle(rng: np.random.Generator, soil_rgb: Colour) -> Colour:
    """Rusty, grey or dark patches, mostly not far from the soil's own colour."""
    stain = pick(((170, 96, 50), (120, 118, 112), (70, 52, 40), (190, 150, 100), (200, 196, 186)), rng, 0.3)
    near = rng.uniform(0.1, 0.6) if rng.random() < 0.8 else 1.0
    red, green, blue = (float(s ** (1 - near) * m**near) for s, m in zip(soil_rgb, stain, strict=True))
    return red, green, blue


def draw_ground(
    rng: np.random.Generator, soils: tuple[str, ...], difficulty: Difficulty, width_in: float, depth_in: float
) -> Ground:
    """A soil of one of the named families, with a structure and a moisture of its own."""
    name, soil = _soil(rng, soils)
    wetness = float(rng.choice([0.0, rng.uniform(0, 1)]))
    # Moist soil reflects about half of what dry soil does.
    light = rng.normal(0, 0.25) - 0.6 * wetness
    topsoil, subsoil = (jitter(tuple(v * np.exp(light) for v in linear(c)), rng, 0.1, 0.05) for c in soil)
    structure: Structure = str(  # type: ignore[assignment]
        rng.choice(
            ["crumb", "blocky", "massive", "platy", "sandy", "picture"], p=[0.3, 0.22, 0.13, 0.08, 0.15, 0.12]
        )
    )
    rough = {"clean": 0.8, "typical": 1.0, "hard": 1.25}[difficulty] * float(rng.lognormal(0, 0.35))
    relief = {"crumb": 1.0, "blocky": 1.0, "massive": 0.45, "platy": 0.8, "sandy": 0.35, "picture": 0.7}[
        structure
    ]
    crumb = float(np.clip(rng.lognormal(np.log(0.14), 0.5), 0.04, 0.5))
    clod = float(np.clip(rng.lognormal(np.log(0.8), 0.5), 0.3, 3))
    flecked = rng.random() < 0.18
    return Ground(
        soil=name, topsoil_rgb=topsoil, subsoil_rgb=subsoil, boundary=_boundary(rng, width_in, depth_in),
        blend_in=float(rng.choice([rng.uniform(0.05, 0.5), rng.uniform(0.5, 4)])),
        subsoil_relief=float(rng.choice([1.0, rng.uniform(0.3, 1.3)])),
        mottle_rgb=_mottle(rng, subsoil),
        mottle_share=float(rng.choice([0.0, 0.0, rng.uniform(0.02, 0.3)])),
        mottle_in=float(rng.uniform(0.3, 3)),
        patchiness=float(rng.uniform(0.03, 0.3)), grain=float(rng.uniform(0.03, 0.22)),
        cell_contrast=float(rng.uniform(0, 0.25)), structure=structure, clod_in=clod,
        clod_relief_in=float(0.12 * clod * relief * rough), crumb_in=crumb,
        crumb_relief_in=float(0.28 * crumb * relief * rough),
        undulation_in=float(rng.uniform(0.05, 0.3)),
        scrape=float(rng.choice([0.0, rng.uniform(0.2, 1)])),
        scrape_deg=float(90 + rng.normal(0, 12) if rng.random() < 0.7 else rng.uniform(0, 180)),
        wetness=wetness, pores_per_in2=float(rng.choice([0.0, rng.uniform(0.02, 1.2)])),
        pore_in=float(rng.uniform(0.02, 0.1)), chips_per_in2=float(rng.uniform(0.2, 6) if flecked else 0),
        chip_rgb=pick(CHIPS, rng, 0.2),
        picture=int(rng.integers(PICTURE_COUNT)), seed=int(rng.integers(2**31)),
    )  # fmt: skip
