"""Colours of soils, roots and litter, as ranges to draw from.

Soil colours follow the field's usual families (dry to moist, from soil-colour
practice, from memory); numbers are sRGB 0-255 and leave this module as linear
reflectance.
"""

from typing import NamedTuple

import numpy as np

from rootread.scene.describe import Colour

SRGB_GAMMA = 2.2
"""Plain power law: close enough to sRGB's curve for drawing colours at random."""


def linear(srgb: tuple[float, float, float]) -> Colour:
    """Linear reflectance of an sRGB colour given 0-255."""
    red, green, blue = (max(v, 0.0) / 255.0 for v in srgb)
    return (red**SRGB_GAMMA, green**SRGB_GAMMA, blue**SRGB_GAMMA)


def jitter(colour: Colour, rng: np.random.Generator, light: float = 0.15, hue: float = 0.05) -> Colour:
    """The colour, lightened or darkened and tinted at random (spreads in log units)."""
    factor = np.exp(rng.normal(0, light) + rng.normal(0, hue, 3))
    red, green, blue = np.clip(np.array(colour) * factor, 0.004, 0.92)
    return (float(red), float(green), float(blue))


class Soil(NamedTuple):
    """A family of soils: colours of topsoil and subsoil, sRGB 0-255."""

    topsoil: tuple[int, int, int]
    subsoil: tuple[int, int, int]


SOILS: dict[str, Soil] = {
    "black_earth": Soil((58, 50, 44), (112, 94, 72)),
    "muck": Soil((38, 34, 32), (64, 56, 50)),
    "brown_silt": Soil((98, 78, 58), (160, 128, 88)),
    "umber_loam": Soil((104, 76, 58), (176, 140, 104)),
    "grey_brown": Soil((120, 108, 92), (150, 134, 110)),
    "yellow_loess": Soil((142, 116, 80), (196, 164, 112)),
    "red_clay": Soil((122, 66, 46), (158, 78, 50)),
    "orange_oxide": Soil((146, 92, 56), (190, 116, 66)),
    "purple_shale": Soil((96, 78, 76), (124, 100, 96)),
    "grey_clay": Soil((118, 114, 108), (146, 142, 132)),
    "blue_gley": Soil((94, 98, 96), (126, 134, 130)),
    "olive_till": Soil((106, 98, 70), (146, 136, 98)),
    "pale_sand": Soil((150, 132, 104), (206, 188, 152)),
    "ash_white": Soil((142, 136, 128), (200, 196, 188)),
    "chalk": Soil((132, 118, 100), (222, 216, 202)),
    "salt_crust": Soil((170, 160, 144), (188, 174, 150)),
}

ROOTS: dict[str, tuple[int, int, int]] = {
    "white": (226, 220, 204),
    "cream": (214, 196, 160),
    "straw": (196, 168, 118),
    "tan": (176, 142, 98),
    "ochre": (168, 122, 72),
    "pink": (190, 140, 124),
    "brown": (122, 88, 60),
    "rust": (134, 78, 48),
    "dark": (74, 54, 40),
    "black": (44, 36, 30),
    "grey": (150, 144, 134),
}
ROOT_ODDS: dict[str, float] = {
    "white": 0.12, "cream": 0.2, "straw": 0.15, "tan": 0.13, "ochre": 0.08, "pink": 0.04,
    "brown": 0.1, "rust": 0.05, "dark": 0.06, "black": 0.03, "grey": 0.04,
}  # fmt: skip

LITTER: dict[str, tuple[tuple[int, int, int], ...]] = {
    "straw": ((206, 184, 130), (186, 164, 112), (164, 142, 104), (140, 120, 92), (220, 206, 164)),
    "stalk": ((176, 156, 104), (150, 136, 90), (196, 180, 132), (118, 100, 76)),
    "leaf": ((170, 150, 104), (110, 120, 60), (88, 112, 50), (140, 112, 80), (196, 180, 140)),
    "twig": ((92, 72, 56), (118, 96, 76), (70, 56, 46)),
    "cord": ((220, 60, 50), (240, 240, 236), (250, 140, 40), (60, 110, 200), (240, 220, 60), (200, 180, 140)),
}

STONES: tuple[tuple[int, int, int], ...] = (
    (150, 148, 144), (120, 116, 112), (186, 180, 170), (130, 108, 88), (96, 90, 88), (206, 200, 190),
    (150, 104, 80),
)  # fmt: skip


def draw_root_colour(rng: np.random.Generator) -> Colour:
    """A root colour, pale more often than dark."""
    names = list(ROOT_ODDS)
    odds = np.array([ROOT_ODDS[name] for name in names])
    return jitter(linear(ROOTS[names[int(rng.choice(len(names), p=odds / odds.sum()))]]), rng, 0.12, 0.05)


def pick(colours: tuple[tuple[int, int, int], ...], rng: np.random.Generator, light: float = 0.15) -> Colour:
    """One of the sRGB colours, varied, in linear reflectance."""
    return jitter(linear(colours[int(rng.integers(len(colours)))]), rng, light, 0.05)
