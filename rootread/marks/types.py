"""What a person draws on a photo, typed."""

from dataclasses import dataclass, replace
from typing import Literal

Place = tuple[float, float]
Line = tuple[Place, ...]
LONGEST_TEXT = 200
"""Letters of a name or a remark."""


@dataclass(frozen=True)
class ScaleMark:
    """A place in the photo whose position on the wall is known."""

    px: Place
    at_in: Place | None = None
    """x to the right and z down in inches, from any origin on the wall. Only with four points."""


@dataclass(frozen=True)
class RootMark:
    """A root drawn by hand, base first."""

    points_px: Line
    width_px: float | None = None
    """Visible width; None leaves it to be measured in the photo."""


@dataclass(frozen=True)
class Stroke:
    """A brush stroke that says what the pixels under it are."""

    says: Literal["root", "soil"]
    points_px: Line
    width_px: float


@dataclass(frozen=True)
class LayerMark:
    """A layer as a person sees it, left to right; its depth is the mean of the line's."""

    line_px: Line
    name: str = ""


@dataclass(frozen=True)
class Marks:
    """Everything drawn on one photo; all of it optional.

    The scale is one of:

    - two points without ``at_in``, and ``distance_in`` between them. They give
      one length in one direction, no more: not the tilt, not the plumb line.
    - four points that each have ``at_in``, no three on a line, as the corners
      of a known rectangle (0, 0), (w, 0), (w, h), (0, h). They give the whole
      plane, with x and z as stated; whether that z is plumb they do not say.
    """

    photo_size_px: tuple[int, int] | None = None
    """Columns and rows of the upright photo the marks were drawn on."""
    scale_points: tuple[ScaleMark, ...] = ()
    distance_in: float | None = None
    plumb_px: Line = ()
    """Two places on something known to hang plumb, the upper one first."""
    surface_px: Line = ()
    """The soil surface, left to right."""
    outline_px: Line = ()
    """The wall's outline, a closed polygon whose last side is not repeated."""
    roots_added: tuple[RootMark, ...] = ()
    roots_struck_px: tuple[Line, ...] = ()
    """A line along each stretch that is no root; a single place strikes out the root under it."""
    splits_px: Line = ()
    """Places where one trace is two roots."""
    joins_px: tuple[Line, ...] = ()
    """Two places each: the ends of two traces that are one root, in the order in which they follow."""
    flattened_px: tuple[Line, ...] = ()
    """A line along each stretch of root that is squeezed flat."""
    not_flattened_px: tuple[Line, ...] = ()
    """A line along each stretch of root that looks squeezed flat and is not."""
    layers: tuple[LayerMark, ...] = ()
    layers_struck_px: tuple[Line, ...] = ()
    """A line along each found layer that is none; a single place strikes out the layer at it."""
    strokes: tuple[Stroke, ...] = ()
    loosened_floor_px: Line = ()
    """The floor of the loosened soil, left to right."""
    checked: str = ""
    """What a person looked at and found right, told by its main figures, so that it is known whether the wall
    still reads so; empty where nobody did."""

    @property
    def drawn(self) -> bool:
        """Whether anything was drawn, other than that the reading was looked at."""
        return replace(self, photo_size_px=None, checked="") != Marks()
