"""Slot by berm: how much root each strip holds, how it descends and what gets through."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rootread.fieldsheet import SheetRow
from rootread.judge.scores import counted, root_weights
from rootread.judge.slots import guessed_slots
from rootread.judge.survival import passing_share_within, wall_risk
from rootread.judge.types import Layer
from rootread.judge.zones import zones_of
from rootread.measure.types import Readings

LEAST_WIDTH_IN = 0.1
"""A strip narrower than that is no wider than a root in it."""


@dataclass(frozen=True)
class Strip:
    """The roots of the slots, of the berms, or of a third of the wall."""

    name: str
    guessed: bool
    """The sheet gives no shanks that tell here: slots and berms are a guess, or thirds stand in."""
    reaches_in: tuple[tuple[float, float], ...]
    """Left and right end of each such strip within the rooted wall, left to right."""
    width_in: float
    """Of all such strips within the rooted wall."""
    root_length_in: float
    density: float
    """Inches of root per square inch of wall, down to the deepest root; NaN where that is no area."""
    descent_deg: float
    """Mean over the roots, thin ones for less; NaN if there are none thick enough to count."""
    passage: float
    """Share of roots that get down without being turned or stopped (see ``passing_share_within``)."""


def strips(readings: Readings, layers: Sequence[Layer], row: SheetRow | None) -> tuple[Strip, ...]:
    """Compare the strips of a wall; none for a wall without roots."""
    roots = readings.roots
    if not roots:
        return ()
    zones = zones_of(roots, row, guessed_slots(readings, layers))
    table = wall_risk(readings, layers)
    x = np.concatenate([root.trace.points[:, 0] for root in roots])
    deepest_in = max(float(root.trace.points[:, 1].max()) for root in roots)
    edges = np.concatenate([[x.min()], np.clip(zones.edges_in, x.min(), x.max()), [x.max()]])
    counts, weights = counted(readings), root_weights(readings)
    zone_at_depth = zones.at(table.x_in)
    points = zones.points_in_zone
    step_in = np.array([root.length_in / len(root.trace.points) for root in roots])
    found = []
    for index, name in enumerate(zones.names):
        reaches = [
            (float(left), float(right))
            for left, right, zone in zip(edges, edges[1:], zones.zone_of_strip, strict=False)
            if zone == index and right > left
        ]
        width_in = sum(right - left for left, right in reaches)
        area_in2, told = width_in * deepest_in, width_in >= LEAST_WIDTH_IN and deepest_in > 0
        length_in = float(points[index] @ step_in)
        inside = [zone == index for zone in zones.zone_at]
        descents = np.array(
            [root.descent_down_deg[at].sum() for root, at in zip(roots, inside, strict=True)], dtype=float
        )
        number = counts @ np.array([at.sum() for at in inside], dtype=float)
        found.append(
            Strip(
                name=name,
                guessed=zones.guessed,
                reaches_in=tuple(reaches),
                width_in=width_in,
                root_length_in=length_in,
                density=length_in / area_in2 if told else float("nan"),
                descent_deg=float(counts @ descents / number) if number else float("nan"),
                passage=float(passing_share_within(table, zone_at_depth == index, weights[None])[0, -1]),
            )
        )
    return tuple(found)
