"""Root by depth drawn, treatment by treatment."""

from collections.abc import Sequence

import numpy as np
from markupsafe import Markup

from rootread.compare.depths import SLICE_IN, DepthProfile
from rootread.compare.plots import LEFT, LETTERS_PX, TOP, WIDTH, colour
from rootread.compare.scale import Scale
from rootread.report.faces import Face
from rootread.report.lettering import shorten
from rootread.report.svg import line, path, svg, text
from rootread.units import length_words, shown, unit_shown

DASHES = ("none", "7 4", "2 3", "10 3 2 3")
"""With the colours, so that grey prints can be read too."""
BOTTOM = 340.0
RIGHT = WIDTH - 16.0
KEY_TOP, KEY_ROW = 384.0, 20
MOST_LINES = 60
"""With more walls than this the profile of each is not drawn, only the mean and its band."""


def profile_plot(
    profiles: Sequence[DepthProfile], treatments: Sequence[str], many: bool = False
) -> Markup | None:
    """Share of root length by depth: thin lines are walls, thick ones treatments with their bands.

    Of ``many`` treatments only the thick lines are drawn; None without profiles.
    """
    if not profiles:
        return None
    edges = profiles[0].edges_in
    middles = (edges[1:] + edges[:-1]) / 2
    drawn = [values for profile in profiles for values in _drawn(profile, many)]
    scale = Scale.over([0.0, *(float(value) for values in drawn for value in np.ravel(values))], 100.0, 1.0)

    def across(shares: Sequence[float]) -> list[tuple[float, float]]:
        xs = [scale.between(LEFT, RIGHT, 100 * float(share)) for share in shares]
        return list(zip(xs, [TOP + (BOTTOM - TOP) * depth / edges[-1] for depth in middles], strict=True))

    bands, thin, thick, keys = [], [], [], []
    for k, profile in enumerate(profiles):
        tint = colour(treatments, profile.treatment)
        if not many and np.isfinite(profile.low).all():
            area = path(
                across(profile.low.tolist()) + across(profile.high.tolist())[::-1], "depth-band", closed=True
            )
            bands.append(_group("fill:{}", area, tint))
        if not many and len(profile.walls) <= MOST_LINES:
            lines = Markup("").join(path(across(wall.tolist()), "wall-line") for wall in profile.walls)
            thin.append(_group("stroke:{}", lines, tint))
        pen = "stroke:{};stroke-dasharray:" + DASHES[k % len(DASHES)]
        thick.append(_group(pen, path(across(profile.mean.tolist()), "mean-line"), tint))
        row = KEY_TOP + KEY_ROW * k
        keys.append(_group(pen, line(LEFT, row, LEFT + 30, row, "mean-line"), tint))
        name = shorten(profile.treatment, Face(LETTERS_PX), RIGHT - LEFT - 38)
        keys.append(text(LEFT + 38, row + 4, name, "start"))
    marks = [*_axes(scale, float(edges[-1])), *bands, *thin, *thick, *keys]
    label = "Share of root length by depth for " + ", ".join(profile.treatment for profile in profiles)
    return svg((WIDTH, round(KEY_TOP + KEY_ROW * len(profiles))), label, marks)


def _drawn(profile: DepthProfile, many: bool) -> list[np.ndarray]:
    return [profile.mean] if many else [profile.walls, profile.high[np.isfinite(profile.high)], profile.mean]


def _group(style: str, inside: Markup, tint: str) -> Markup:
    return Markup('<g style="{}">').format(style.format(tint)) + inside + Markup("</g>")


def _axes(scale: Scale, deepest_in: float) -> list[Markup]:
    """Depth down the left side, share of root length along the foot."""
    slice_words = length_words(SLICE_IN, 0 if unit_shown() == "in" else 1)
    marks = [line(LEFT, TOP, LEFT, BOTTOM, "axis"), text(4, 16, f"depth, {unit_shown()}", "start")]
    marks.append(text(RIGHT, 16, f"percent of the root length, in each {slice_words}", "end"))
    for tick in scale.ticks:
        x = scale.between(LEFT, RIGHT, tick)
        marks += [line(x, TOP, x, BOTTOM, "edge"), text(x, BOTTOM + 16, f"{tick:.0f}", "middle", "tick")]
    deepest = shown(deepest_in)
    for mark in np.arange(0, deepest + 0.1, 4 if deepest <= 32 else 10):
        at = TOP + (BOTTOM - TOP) * float(mark) / deepest
        marks.append(line(LEFT - 4, at, LEFT, at, "axis"))
        marks.append(text(LEFT - 8, at + 4, f"{mark:.0f}", "end", "tick"))
    return marks
