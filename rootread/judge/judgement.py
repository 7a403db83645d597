"""All that is judged of a wall beyond its layers and grade, for the report."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from rootread.fieldsheet import SheetRow, without_doubtful_tool
from rootread.judge.advice import Advice, advise
from rootread.judge.cone import ConeAgreement, ConeProfile, cone_agreement, cone_profiles
from rootread.judge.curve import passage_curve
from rootread.judge.floor import LoosenedFloor, loosened_floor
from rootread.judge.strips import Strip, strips
from rootread.judge.types import Grade, Layer, PassageCurve
from rootread.marks import Marks
from rootread.measure.abundance import Abundance, abundance
from rootread.measure.density import profile_wall_grid
from rootread.measure.depthfit import DepthFit, depth_fit
from rootread.measure.places import DescentSlice, descent_slices
from rootread.measure.projection import true_descent
from rootread.measure.slices import DepthSlice, depth_slices
from rootread.measure.types import Readings
from rootread.measure.waviness import Waviness, wall_waviness
from rootread.plane.types import WallPlane
from rootread.settings import JudgeSettings

LEVEL_SURFACE = np.array([[-1e3, 0.0], [1e3, 0.0]])
AT_LAYER_IN = 1.0
"""Roots run on a layer and up to about an inch above it."""


@dataclass(frozen=True)
class ProfileRow:
    """A row of the profile-wall grid, 5 cm high: units of 5 mm of root in its cells."""

    from_in: float
    to_in: float
    mean_units: float
    most_units: float


@dataclass(frozen=True, eq=False)
class Judgement:
    """What a report shows beside layers and grade."""

    passage: PassageCurve
    strips: tuple[Strip, ...]
    around_layers: tuple[DepthSlice, ...]
    """Above the first layer, in it, below it, and so on; the whole wall when there is no layer."""
    waviness: Waviness
    abundance: tuple[Abundance, ...]
    depth_fit: DepthFit | None
    least_descent_deg: float
    """The mean descent if all roots left the wall plane as far as they can and still be seen."""
    advice: tuple[Advice, ...]
    by_depth: tuple[DescentSlice, ...] = ()
    by_place: tuple[DescentSlice, ...] = ()
    """Descent by depth, and by position along the wall."""
    profile_wall: tuple[ProfileRow, ...] = ()
    cone: tuple[ConeProfile, ...] = ()
    cone_agrees: tuple[ConeAgreement, ...] = ()
    """One a layer."""
    floor: LoosenedFloor | None = None
    """Of the loosened soil, where a person marked it."""


def judge_wall(
    readings: Readings,
    layers: Sequence[Layer],
    grade: Grade,
    row: SheetRow | None,
    settings: JudgeSettings,
    plane: WallPlane | None = None,
    marks: Marks | None = None,
    deepest_in: float | None = None,
) -> Judgement:
    """Judge a wall that has been graded.

    Parameters
    ----------
    plane : for the cone's readings and the marked floor, which lie under the soil surface.
    marks : with the floor of the loosened soil, if a person drew it.
    deepest_in : how far down the photo shows the wall; nothing rests on a tool that ran deeper.
    """
    if row is not None:
        row = without_doubtful_tool(row, deepest_in, plane.surface.se_in if plane is not None else 0.0)
    roots = readings.roots
    surface = plane.surface.line_in if plane is not None else LEVEL_SURFACE
    cone = cone_profiles(row.cone, surface, settings.cone_limit_psi) if row is not None else ()
    beside_roots: dict[str, Any] = {
        "cone": cone,
        "cone_agrees": cone_agreement(cone, layers),
        "floor": _floor(plane, marks, row),
    }
    if not roots:
        return Judgement(
            passage=passage_curve(readings, layers),
            strips=(),
            around_layers=(),
            waviness=wall_waviness(()),
            abundance=(),
            depth_fit=None,
            least_descent_deg=float("nan"),
            advice=advise(readings, layers, grade, row),
            **beside_roots,
        )
    x = np.concatenate([root.trace.points[:, 0] for root in roots])
    return Judgement(
        passage=passage_curve(readings, layers),
        strips=strips(readings, layers, row),
        around_layers=depth_slices(roots, _edges_around(layers, readings)),
        waviness=wall_waviness(roots),
        abundance=abundance(roots, float(x.max() - x.min()), _horizons(row)),
        depth_fit=depth_fit(roots, np.random.default_rng(settings.seed)),
        least_descent_deg=float(true_descent(readings.descent.value)),
        advice=advise(readings, layers, grade, row),
        by_depth=descent_slices(readings, "depth"),
        by_place=descent_slices(readings, "x"),
        profile_wall=_profile_wall(readings),
        **beside_roots,
    )


def _horizons(row: SheetRow | None) -> list[float]:
    """Boundaries of horizons on the sheet, which people write as A/B."""
    return [layer.depth_in for layer in row.layers if "/" in layer.name] if row is not None else []


def _profile_wall(readings: Readings) -> tuple[ProfileRow, ...]:
    units, _, z_edges = profile_wall_grid([root.trace.points for root in readings.roots])
    return tuple(
        ProfileRow(float(z_edges[k]), float(z_edges[k + 1]), float(cells.mean()), float(cells.max()))
        for k, cells in enumerate(units)
    )


def _floor(plane: WallPlane | None, marks: Marks | None, row: SheetRow | None) -> LoosenedFloor | None:
    if plane is None or marks is None or not marks.loosened_floor_px:
        return None
    floor_in = plane.to_wall_in(np.array(marks.loosened_floor_px, dtype=float))
    return loosened_floor(floor_in, plane.surface.line_in, row)


def _edges_around(layers: Sequence[Layer], readings: Readings) -> list[float]:
    """Depths that part a wall into above, in and below its layers."""
    deepest = max(float(root.trace.points[:, 1].max()) for root in readings.roots)
    edges = [0.0]
    for layer in layers:
        highest, lowest = layer.depth_range_in
        for edge in (highest - AT_LAYER_IN, lowest + AT_LAYER_IN / 2):
            if edges[-1] < edge < deepest:
                edges.append(edge)
    return [*edges, deepest + 1e-6]
