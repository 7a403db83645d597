"""Read root architecture from photographs of excavated soil-pit walls.

>>> import rootread
>>> wall = rootread.read_wall("sample_images/pit1-shallow.jpg")
>>> wall.plane.scale.kind, len(wall.traces) == len(wall.readings.roots)
('card', True)
>>> any(6.5 < layer.depth_in < 8.0 for layer in wall.layers)  # where the shallow pass ran
True
>>> wall.grade.score.low <= wall.grade.score.value <= wall.grade.score.high
True
"""

from typing import TYPE_CHECKING, Any

from rootread.errors import RootreadError, WallRefused

if TYPE_CHECKING:
    from rootread.settings import Settings, read_settings
    from rootread.wall import RefusedWall, Wall, read_wall

__all__ = ["RefusedWall", "RootreadError", "Settings", "Wall", "WallRefused", "read_settings", "read_wall"]


def __getattr__(name: str) -> Any:
    # The image libraries take a second to load; a command's --help must not wait for them.
    if name in ("RefusedWall", "Wall", "read_wall"):
        from rootread import wall

        return getattr(wall, name)
    if name in ("Settings", "read_settings"):
        from rootread import settings

        return getattr(settings, name)
    raise AttributeError(f"module 'rootread' has no attribute {name!r}")
