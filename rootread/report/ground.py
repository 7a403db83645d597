"""Cone readings and the floor of the loosened soil, drawn over the wall and said in words."""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from rootread.fieldsheet import CaliperPair
from rootread.geometry import Points
from rootread.judge import Judgement
from rootread.judge.cone import ConeAgreement, ConeProfile
from rootread.judge.floor import LoosenedFloor
from rootread.judge.spacing import ShankSpacing
from rootread.report.colours import DARK, RGB, WHITE
from rootread.report.strokes import Sheet, dashed, stroke, veil
from rootread.report.view import View
from rootread.report.words import count, layer_short_words, listing
from rootread.shares import percent
from rootread.units import length_range, length_words, side, unit_shown

if TYPE_CHECKING:
    from rootread.wall import Wall

CONE: RGB = (255, 214, 120)
CONE_FULL_PX = 110.0
"""How far right a reading at twice the limit is drawn from the line of its place."""
TO_LIMIT = np.array([CONE_FULL_PX / 2, 0.0])
FLOOR: RGB = (255, 190, 150)
BAR_PX, TOP_PX = 12.0, 30.0
"""Kept clear round the bar at the limit, and to either side of a berm's top; half of it above and below."""
_CORNERS = np.array([[-1.0, -0.5], [1.0, 0.5]])
MOST_PAIRS = 4
"""Of more pairs of the calipers only how deep they were taken is told."""


def draw_ground(sheet: Sheet, view: View, judgement: Judgement) -> None:
    """Draw the marked floor and each cone profile onto the sheet, in place."""
    floor = judgement.floor
    if floor is not None:
        line = view.px(floor.line_in)
        veil(sheet, [line], DARK, 11, 0.5)
        stroke(sheet, dashed(line, 26, 12), FLOOR, 5)
    for profile in _shown(view, judgement):
        _draw_profile(sheet, view, profile)


def ground_lines(view: View, judgement: Judgement) -> list[Points]:
    """The lines that are drawn here, so that words rather keep off them."""
    floor = [view.px(judgement.floor.line_in)] if judgement.floor is not None else []
    return floor + [line for profile in _shown(view, judgement) for line in _profile_lines(view, profile)]


def told_places(view: View, judgement: Judgement) -> list[Points]:
    """Boxes that no word may cover: where the limit is met, and the tops of berms."""
    floor = judgement.floor
    tops = (
        [(berm.x_in, float(np.interp(berm.x_in, *floor.line_in.T))) for berm in floor.berms] if floor else []
    )
    bars = [_limit_bar(view, profile) for profile in _shown(view, judgement)]
    return [view.px([top]) + TOP_PX * _CORNERS for top in tops] + [
        bar + BAR_PX * _CORNERS for bar in bars if bar is not None
    ]


def _shown(view: View, judgement: Judgement) -> list[ConeProfile]:
    return [profile for profile in judgement.cone if view.shows_across(profile.x_in)]


def _profile_lines(view: View, profile: ConeProfile) -> tuple[Points, Points]:
    """The upright line of a place, and the pressure to the right of it.

    The pressure begins at the first reading: of the soil above nothing is known.
    """
    z = profile.surface_in + np.array([0.0, profile.depths_in[0], *profile.depths_in])
    upright = view.px(np.column_stack([np.full(len(z), profile.x_in), z]))
    reach = CONE_FULL_PX * np.array([0.0, *profile.psi]) / (2.0 * profile.limit_psi)
    return upright, upright[1:] + np.column_stack([reach, np.zeros(len(reach))])


def _limit_bar(view: View, profile: ConeProfile) -> Points | None:
    if profile.limit_z_in is None:
        return None
    at = view.px([[profile.x_in, profile.limit_z_in]])[0]
    return np.array([at - np.array([18.0, 0.0]), at + TO_LIMIT])


def _draw_profile(sheet: Sheet, view: View, profile: ConeProfile) -> None:
    """The pressure, the limit as a notch, the first depth of it as a bar."""
    upright, curve = _profile_lines(view, profile)
    for line, width in ((upright, 3), (curve, 5)):
        veil(sheet, [line], DARK, width + 6, 0.5)
        stroke(sheet, [line], CONE, width)
    stroke(sheet, dashed((upright + TO_LIMIT)[[0, -1]], 6, 10), CONE, 2)
    bar = _limit_bar(view, profile)
    if bar is not None:
        stroke(sheet, [bar], DARK, 12)
        stroke(sheet, [bar], WHITE, 5)


def ground_marks(judgement: Judgement, view: View) -> list[tuple[str, str]]:
    """The kinds of mark drawn here that this wall's picture has, each with its meaning."""
    kinds = []
    if _shown(view, judgement):
        limit_psi = judgement.cone[0].limit_psi
        kinds.append(("cone", f"cone readings; white bar: first {limit_psi:.0f} psi"))
    if judgement.floor is not None:
        kinds.append(("floor", "floor of the loosened soil, as marked"))
    return kinds


def cone_table(wall: "Wall") -> dict[str, Any] | None:
    """A row a place: how deep the limit was met, and how hard it got."""
    profiles = wall.judgement.cone
    if not profiles:
        return None
    rows = [
        [
            f"{side(profile.x_in)} of the {wall.plane.scale.kind}",
            _limit_words(profile),
            f"{max(profile.psi):.0f}",
            length_words(profile.depths_in[-1]),
        ]
        for profile in profiles
    ]
    head = ["place", f"first {profiles[0].limit_psi:.0f} psi", "most, psi", "probed to"]
    words = [
        agreement_words(one, layer_short_words(layer), profiles[0].limit_psi)
        for one, layer in zip(wall.judgement.cone_agrees, wall.layers, strict=True)
    ]
    return {"head": head, "rows": rows, "words": words}


def _limit_words(profile: ConeProfile) -> str:
    if profile.limit_depth_in is None:
        return "not reached"
    at = length_words(profile.limit_depth_in)
    return f"{at} or above" if profile.hard_from_first else at


def agreement_words(one: ConeAgreement, depth: str, limit_psi: float) -> str:
    """Whether cone and roots tell of the same layer, whose ``depth`` is given in words."""
    layer = f"the layer at {depth}"
    if not one.tested:
        return f"The cone does not tell of {layer}: no place along it was probed through it."
    where = {
        "reached near it": one.agree,
        "reached well above it": one.shallower,
        "not reached there": one.softer,
    }
    all_of_them = {1: "the one place that tests it", 2: "both"}.get(one.tested, f"all {one.tested}")
    met = [
        f"{reached} at {all_of_them if number == one.tested else number}"
        for reached, number in where.items()
        if number
    ]
    agree = "agrees with" if 2 * one.agree > one.tested else "does not bear out"
    of = f"of {one.tested} places that test it, " if one.tested > 1 else ""
    return f"The cone {agree} {layer}: {of}{limit_psi:.0f} psi are {listing(met)}."


def floor_figures(floor: LoosenedFloor | None) -> list[tuple[str, str]]:
    """What the marked floor says, as names and values."""
    if floor is None:
        return []
    known = "where the tool ran" if floor.from_sheet else "the deepest place of its floor"
    depth = f"{length_words(floor.tool_depth_in)}, {known}"
    figures = [
        ("soil loosened", f"{percent(floor.loosened_share)} of it down to {depth}"),
        (
            "floor of the loosened soil",
            f"{length_words(floor.mean_depth_in)} deep on average, hills and valleys "
            f"± {length_words(floor.roughness_in)}",
        ),
    ]
    if floor.berms:
        heights, widths = ([getattr(b, name) for b in floor.berms] for name in ("height_in", "width_in"))
        figures.append(
            (
                count(len(floor.berms), "berm left standing", "berms left standing"),
                f"{_range(heights)} high, {_range(widths)} wide at half height",
            )
        )
    return figures


def spacing_figures(spacing: ShankSpacing | None) -> list[tuple[str, str]]:
    """Whether shanks ran close enough for their depth, as names and values."""
    if spacing is None:
        return []
    enough = (
        f"enough for {spacing.loosens_with}"
        if spacing.loosens_with
        else "wider than any points loosen all the soil"
    )
    known = "by the sheet" if spacing.from_sheet else "from valley to valley"
    apart = f"{length_words(spacing.apart_in)} {known}: {spacing.working_depths:.1f} working depths"
    return [("shank spacing", f"{apart}, {enough} (Spoor and Godwin 1978)")]


def _range(lengths_in: list[float]) -> str:
    low, high = min(lengths_in), max(lengths_in)
    return length_words(low) if high - low < 0.1 else f"{length_range(low, high)} {unit_shown()}"


def caliper_figures(wall: "Wall") -> list[tuple[str, str]]:
    """What calipers say of flattening, beside what the photo shows."""
    pairs = wall.row.calipers
    if not pairs:
        return []
    by = [pair.flattening for pair in pairs]
    spread = f" ({100 * min(by):.0f} to {100 * max(by):.0f})" if len(by) > 1 else ""
    return [
        (
            "flattening by calipers",
            f"{percent(float(np.mean(by)))}{spread}, {count(len(pairs), 'root')}{_depths_words(pairs)}; "
            "1 − narrow / wide, where the photo shows one side only",
        )
    ]


def _depths_words(pairs: Sequence[CaliperPair]) -> str:
    """What each pair says at its depth, for those whose depth was noted; of many, how deep they are."""
    noted = sorted((pair.depth_in, pair.flattening) for pair in pairs if pair.depth_in is not None)
    if not noted:
        return ""
    if len(pairs) == 1:
        return f", {length_words(noted[0][0])} deep"
    if len(noted) > MOST_PAIRS:
        return f", {length_range(noted[0][0], noted[-1][0])} {unit_shown()} deep"
    return ": " + listing([f"{percent(flattening)} at {length_words(depth)}" for depth, flattening in noted])
