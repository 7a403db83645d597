"""Find the scale, the level and the soil surface; lay the wall flat."""

from rootread.plane.flat import lay_flat
from rootread.plane.locate import find_plane, locate_scale
from rootread.plane.outline import shown_across_in, shown_down_to_in, within_outline
from rootread.plane.types import Grid, Lens, Level, ScaleFinding, Surface, WallImage, WallPlane

__all__ = [
    "Grid",
    "Lens",
    "Level",
    "ScaleFinding",
    "Surface",
    "WallImage",
    "WallPlane",
    "find_plane",
    "lay_flat",
    "locate_scale",
    "shown_across_in",
    "shown_down_to_in",
    "within_outline",
]
