"""Which way the roots of a wall went, as half a rose."""

import math
from collections.abc import Sequence

import numpy as np
from markupsafe import Markup
from numpy.typing import NDArray

from rootread.geometry import arc_length
from rootread.measure.types import Readings, RootReading
from rootread.report.colours import descent_colours, hex_of
from rootread.report.svg import svg, text
from rootread.report.waydown import way_down
from rootread.shares import percent

WEDGE_DEG = 10
ROSE_RADIUS = 130.0
ROSE_CENTRE = (160.0, 44.0)


def half_rose(readings: Readings) -> Markup:
    """Root length by the way it went, left and right of straight down.

    A wedge's area, not its radius, stands for its share of the root length, so
    that a wedge that looks twice as big is twice as much root. Rising
    stretches, which are few, count with the level ones.
    """
    lengths = rose_lengths(readings.roots)
    radii = ROSE_RADIUS * np.sqrt(lengths / lengths.max()) if lengths.any() else np.zeros_like(lengths)
    share = lengths / lengths.sum() if lengths.any() else lengths
    parts = [_arc(ROSE_RADIUS, "edge")]
    for number, radius in enumerate(radii):
        start = number * WEDGE_DEG
        middle = start + WEDGE_DEG / 2
        colour = hex_of(descent_colours([min(middle, 180 - middle)])[0])
        rim = f"A{radius:.1f} {radius:.1f} 0 0 1 {_xy(radius, start + WEDGE_DEG)}"
        shape = f"M{_xy(0, start)}L{_xy(radius, start)}{rim}Z"
        says = f"{100 * share[number]:.0f} % of root length"
        parts.append(
            Markup('<path d="{}" fill="{}" class="wedge"><title>{}</title></path>').format(
                shape, colour, says
            )
        )
    for edge in (readings.pattern.low_deg, readings.pattern.high_deg):
        for angle in (edge, 180 - edge):
            parts.append(
                Markup('<path d="M{}L{}" class="pattern"/>').format(
                    _xy(20, angle), _xy(ROSE_RADIUS + 8, angle)
                )
            )
    x, y = ROSE_CENTRE
    parts += [
        text(x - ROSE_RADIUS, y - 10, "level", "start"),
        text(x + ROSE_RADIUS, y - 10, "level", "end"),
        text(x, y + ROSE_RADIUS + 20, "straight down", "middle"),
    ]
    return svg((320, 204), "Root length by direction. " + rose_words(readings.roots), parts)


def rose_words(roots: Sequence[RootReading]) -> str:
    """How the root length divides between level, slanting and straight down."""
    lengths = rose_lengths(roots)
    if not lengths.any():
        return "No roots."
    both_sides = (lengths + lengths[::-1])[: len(lengths) // 2] / lengths.sum()
    level, slanting, down = both_sides.reshape(3, -1).sum(axis=1)
    return (
        f"{percent(level)} of the length of all roots, thin ones too, lies within 30° of level, "
        f"{percent(slanting)} slants, "
        f"{percent(down)} lies within 30° of straight down."
    )


def rose_lengths(roots: Sequence[RootReading]) -> NDArray[np.float64]:
    """Inches of root in each wedge, ``(18,)``, from level right over straight down to level left."""
    lengths = np.zeros(180 // WEDGE_DEG)
    for root in roots:
        way = way_down(root)
        descent = np.clip(way.descent_deg, 0.0, 90.0)
        angle = np.where(way.rightward, descent, 180.0 - descent)
        wedge = np.clip(angle // WEDGE_DEG, 0, len(lengths) - 1).astype(int)
        # Each point stands for half of the way to either neighbour.
        half_steps = np.diff(arc_length(root.trace.points)) / 2
        np.add.at(lengths, wedge[:-1], half_steps)
        np.add.at(lengths, wedge[1:], half_steps)
    return lengths


def _xy(radius: float, angle_deg: float) -> str:
    """A point of the rose; angles run clockwise from level right, through straight down."""
    angle = math.radians(angle_deg)
    return f"{ROSE_CENTRE[0] + radius * math.cos(angle):.1f} {ROSE_CENTRE[1] + radius * math.sin(angle):.1f}"


def _arc(radius: float, kind: str) -> Markup:
    shape = f"M{_xy(radius, 0)}A{radius:.1f} {radius:.1f} 0 0 1 {_xy(radius, 180)}Z"
    return Markup('<path d="{}" class="{}"/>').format(shape, kind)
