"""Lay bodies onto a face: grooves into it, stones, litter and roots out of it.

A root is a tube whose axis lies a little over or under the smoothed soil; at
each pixel the higher of tube and soil is seen, so soil covers roots unevenly
and later roots cross over earlier ones.
"""

import numpy as np
from numpy.typing import NDArray

from rootread.scene.describe import Groove, Litter, Root, Stone, ToolMark, Values
from rootread.scene.noise import Field, band, wiggle
from rootread.scene.ribbon import STEP_PX, Ribbon, cover
from rootread.scene.soil import Face
from rootread.scene.window import Window

HAIR_IN = 0.04
"""Length of root hairs, about a millimetre."""
CLEAN_SHARE = 0.02
"""Less dirt than this is not drawn."""
CRUMB_IN = 0.02
"""Thickness of soil stuck on a root."""
STEEPEST = 2.2
"""Steepest slope given to a tube's side: beyond it a pixel shows mostly the edge's shadow."""
WRINKLES = 4
"""Waves that the wrinkles along a root's skin are made of."""
WRINKLES_AROUND = (2.0, 12.0)
"""As many of each would go once around the root."""
WRINKLE_DRIFT_IN = 0.7
"""Wrinkles wander around the root over about this length."""
WRINKLE_SLOPE = 2.0
"""A wrinkle is this many times as steep as it is dark."""


def _along(ribbon: Ribbon, values: Values) -> Values:
    """Values given per point of the line, at each covered pixel."""
    return np.interp(ribbon.along, np.arange(len(values)), values)[ribbon.sample]


def cut_groove(face: Face, window: Window, groove: Groove, rng: np.random.Generator) -> None:
    """A crack or channel: lower the soil, darken its inside."""
    points = window.to_px(groove.points)
    half = groove.width_in * window.px_per_in / 2
    ribbon = cover(points, np.maximum(half, 0.4), window.shape, face.scratch)
    if ribbon is None:
        return
    half_px = ribbon.half
    if groove.ragged:
        ragged = 1 + 0.3 * wiggle(len(ribbon.centre), rng, 5)[ribbon.sample]
        half_px = np.maximum(half_px * ragged, 0.35)
    edge = np.clip(half_px - np.abs(ribbon.across) + 0.5, 0, 1)
    across = np.clip(np.abs(ribbon.across) / half_px, 0, 1)
    profile = 1 - across**3 if groove.ragged else np.sqrt(1 - across**2)
    drop = (edge * profile * groove.depth_in).astype(np.float32)
    face.height_in.ravel()[ribbon.pixel] -= drop
    dark = (1 - groove.lining * edge * (0.4 + 0.6 * profile)).astype(np.float32)
    for channel in range(3):
        face.rgb[channel].ravel()[ribbon.pixel] *= dark


def cut_mark(face: Face, window: Window, mark: ToolMark) -> None:
    """A blade's furrow with a lip pushed up beside it."""
    half = np.full(len(mark.points), 2.2 * mark.width_in * window.px_per_in / 2)
    ribbon = cover(window.to_px(mark.points), half, window.shape, face.scratch)
    if ribbon is None:
        return
    across = ribbon.across / (ribbon.half / 2.2)
    lip = np.exp(-((across - 1.4) ** 2) * 5) * 0.5
    furrow = np.clip(1 - np.abs(across), 0, 1)
    face.height_in.ravel()[ribbon.pixel] += (mark.depth_in * (lip - furrow)).astype(np.float32)


def set_stone(face: Face, window: Window, stone: Stone) -> None:
    """A rounded stone half out of the soil."""
    if not window.sees(stone.x_in, stone.z_in, stone.long_in):
        return
    rng = np.random.default_rng(stone.seed)
    col, row = window.to_px([stone.x_in, stone.z_in])[0]
    reach = stone.long_in * window.px_per_in * 0.75 + 2
    r0, r1 = max(int(row - reach), 0), min(int(row + reach) + 1, window.rows)
    c0, c1 = max(int(col - reach), 0), min(int(col + reach) + 1, window.cols)
    if r1 <= r0 or c1 <= c0:
        return
    rr, cc = np.mgrid[r0:r1, c0:c1].astype(np.float32)
    turn = np.radians(stone.angle_deg)
    u = ((cc - col) * np.cos(turn) + (rr - row) * np.sin(turn)) / (stone.long_in * window.px_per_in / 2)
    v = ((rr - row) * np.cos(turn) - (cc - col) * np.sin(turn)) / (stone.short_in * window.px_per_in / 2)
    lump = band(rr.shape, 0.5 * stone.long_in * window.px_per_in + 3, rng)
    power = rng.uniform(2, 3.2)
    radius = (np.abs(u) ** power + np.abs(v) ** power) ** (1 / power) * (1 + 0.09 * lump)
    cover_px = np.clip((1 - radius) * stone.short_in * window.px_per_in / 2 + 0.5, 0, 1)
    top = stone.out_in * (1.4 * np.sqrt(np.clip(1 - radius**2, 0, 1)) - 0.4) + 0.01 * lump
    soil = face.height_in[r0:r1, c0:c1]
    base = float(np.median(soil))
    share = cover_px * np.clip((base + top - soil) * window.px_per_in + 0.5, 0, 1)
    soil += share * (base + top - soil)
    speck = np.exp(0.12 * lump + 0.1 * band(rr.shape, 3.0, rng))
    dirt = np.clip(0.9 * band(rr.shape, 0.3 * stone.long_in * window.px_per_in + 3, rng) - 0.6, 0, 0.8)
    for channel in range(3):
        under = face.rgb[channel, r0:r1, c0:c1]
        under += share * (1 - dirt) * (stone.rgb[channel] * speck - under)


def lay_litter(face: Face, window: Window, litter: Litter, ground_in: Field, dirt: Field) -> None:
    """A flat, cut strip: straw, stalk, leaf, twig or cord, lying on the face."""
    half = np.full(len(litter.points), litter.width_in * window.px_per_in / 2)
    share = np.linspace(0, 1, len(half))
    if litter.kind == "leaf":
        half = half * np.clip(np.minimum(share, 1 - share) * 5, 0.1, 1)
    elif litter.kind == "twig":
        half = half * (1 - 0.5 * share)
    ribbon = cover(window.to_px(litter.points), np.maximum(half, 0.4), window.shape, face.scratch)
    if ribbon is None:
        return
    rng = np.random.default_rng(litter.seed)
    across = np.clip(ribbon.across / ribbon.half, -1, 1)
    edge = np.clip(ribbon.half - np.abs(ribbon.across) + 0.5, 0, 1)
    round_ = litter.kind in ("twig", "cord", "stalk")
    arch = np.sqrt(1 - across**2) if round_ else 1 - 0.4 * across**2
    axis = _axis(ribbon, window, ground_in, 1.2)
    top = axis[ribbon.sample] + litter.out_in + litter.thickness_in * arch
    slope = (
        -(across / np.sqrt(1.02 - across**2) if round_ else 0.8 * across)
        * litter.thickness_in
        / litter.width_in
        * 2
    )
    vein = np.cos(across * rng.uniform(4, 14) + rng.uniform(0, 6)) * rng.uniform(0, 0.12)
    streak = 0.1 * wiggle(len(ribbon.centre), rng, 40)[ribbon.sample]
    if litter.kind == "stalk":
        joint = np.abs(
            (ribbon.along[ribbon.sample] / len(half) * rng.integers(1, 4) + rng.random()) % 1 - 0.5
        )
        streak = streak - 0.5 * np.exp(-((joint / 0.03) ** 2))
    if litter.kind == "cord":
        strands = ribbon.along[ribbon.sample] * 0.1 * window.px_per_in / ribbon.half + across * 1.5
        streak = streak + 0.25 * np.cos(strands * 3)
    tone = np.exp(vein + streak + litter.banding * wiggle(len(ribbon.centre), rng, 25)[ribbon.sample])
    _lay(face, window, ribbon, edge, top, slope, [c * tone for c in litter.rgb], litter.dirt, dirt, 0.05)


def lay_root(
    face: Face, window: Window, root: Root, number: int, ground_in: tuple[Field, Field], dirt: Field
) -> None:
    """One root, as a part-buried tube."""
    ppi = window.px_per_in
    half = root.width_in * ppi / 2
    ribbon = cover(window.to_px(root.points), np.maximum(half, 0.3), window.shape, face.scratch)
    if ribbon is None:
        return
    rng = np.random.default_rng(root.seed)
    across = np.clip(ribbon.across / np.maximum(ribbon.half, 0.5), -1, 1)
    # A hair thinner than a pixel covers only part of it.
    edge = np.minimum(np.clip(ribbon.half - np.abs(ribbon.across) + 0.5, 0, 1), 2 * ribbon.half)
    flat = _along(ribbon, root.flat_ratio)
    radius_in = ribbon.half / ppi
    thick = float(np.median(root.width_in))
    ground = ground_in[0] if thick > 0.05 else ground_in[1]
    axis = _axis(ribbon, window, ground, max(thick, 0.05))[ribbon.sample] + _along(ribbon, root.out_in)
    arch = np.sqrt(1 - across**2)
    bump = (
        0.06 * band((8, 8), 4, rng)[0, 0]
        + 0.1 * wiggle(len(ribbon.centre), rng, 0.06 * ppi + 2)[ribbon.sample]
    )
    top = axis + flat * radius_in * (arch + bump)
    slope = -flat * across / np.sqrt(1.04 - across**2)
    share = ribbon.along[ribbon.sample] / max(len(root.points) - 1, 1)
    tone = np.exp(
        root.banding
        * (
            wiggle(len(ribbon.centre), rng, 0.7 * ppi) + 0.6 * wiggle(len(ribbon.centre), rng, 0.12 * ppi + 2)
        )[ribbon.sample]
        + 0.08 * rng.standard_normal(len(across)) * min(root.banding * 4, 1)
    )
    colour = [(root.base_rgb[c] * (1 - share) + root.tip_rgb[c] * share) * tone for c in range(3)]
    if root.fuzz > 0:
        _hairs(face, window, root, rng)
    if root.wrinkle > 0:
        shade, rise = _wrinkles(ribbon, across, ppi, np.random.default_rng([root.seed, WRINKLES]))
        colour = [c * np.exp(root.wrinkle * shade) for c in colour]
        slope = slope + WRINKLE_SLOPE * root.wrinkle * rise
    seen = _lay(face, window, ribbon, edge, top, slope, colour, root.dirt, dirt, root.gloss)
    cover_now = face.root.ravel()
    cover_now[ribbon.pixel] += seen.astype(np.float32)
    main = seen > 0.25
    index, sample = ribbon.pixel[main], ribbon.sample[main]
    face.root_id.ravel()[index] = number
    face.half_px.ravel()[index] = ribbon.half[main]
    cos, sin = ribbon.tangent[sample, 0], ribbon.tangent[sample, 1]
    face.heading[0].ravel()[index] = cos * cos - sin * sin
    face.heading[1].ravel()[index] = 2 * cos * sin


def _wrinkles(
    ribbon: Ribbon, across: Values, px_per_in: float, rng: np.random.Generator
) -> tuple[Values, Values]:
    """Wrinkles along a root's skin, at each covered pixel: how pale they are, and how they rise across.

    They are evenly spaced around the root and so crowd toward its edges: at a share ``across`` of the half
    width one looks at the skin ``arcsin(across)`` around. Both have a spread of about 1, fine ones less.
    """
    around = np.arcsin(across)
    shade, rise = np.zeros(len(across)), np.zeros(len(across))
    for _ in range(WRINKLES):
        count, phase = rng.uniform(*WRINKLES_AROUND), rng.uniform(0, 2 * np.pi)
        drift = 0.5 * wiggle(len(ribbon.centre), rng, WRINKLE_DRIFT_IN * px_per_in / STEP_PX)[ribbon.sample]
        at = count * (around + drift) + phase
        shown = np.minimum(1.0, 2 * ribbon.half / count)  # wrinkles finer than pixels are not seen
        shade += shown * np.cos(at)
        rise -= shown * np.sin(at)
    return shade * np.sqrt(2 / WRINKLES), rise * np.sqrt(2 / WRINKLES)


def _hairs(face: Face, window: Window, root: Root, rng: np.random.Generator) -> None:
    """Root hairs: a pale, patchy fringe too fine to draw hair by hair; not counted as root."""
    half = root.width_in * window.px_per_in / 2 + HAIR_IN * window.px_per_in
    ribbon = cover(window.to_px(root.points), half, window.shape, face.scratch)
    if ribbon is None:
        return
    out = np.clip((np.abs(ribbon.across) / ribbon.half - 0.3) / 0.7, 0, 1)
    patch = np.clip(0.5 + 0.5 * wiggle(len(ribbon.centre), rng, 0.4 * window.px_per_in), 0, 1)[ribbon.sample]
    share = root.fuzz * 0.6 * (1 - out) ** 2 * patch * rng.random(len(out))
    for channel in range(3):
        under = face.rgb[channel].ravel()
        under[ribbon.pixel] += (share * (root.tip_rgb[channel] - under[ribbon.pixel])).astype(np.float32)


def _axis(ribbon: Ribbon, window: Window, ground_in: Field, stiff_in: float) -> Values:
    """Height of the ground under each sample of a line, smoothed as the body is stiff."""
    col = np.clip(np.rint(ribbon.centre[:, 0]), 0, window.cols - 1).astype(int)
    row = np.clip(np.rint(ribbon.centre[:, 1]), 0, window.rows - 1).astype(int)
    under = ground_in[row, col].astype(float)
    reach = int(min(stiff_in * 1.5 * window.px_per_in, len(under) / 3))
    if reach < 1:
        return under
    total = np.cumsum(np.concatenate([[0.0], np.pad(under, reach, mode="edge")]))
    return (total[2 * reach + 1 :] - total[: -2 * reach - 1]) / (2 * reach + 1)


def _lay(
    face: Face,
    window: Window,
    ribbon: Ribbon,
    edge: Values,
    top: Values,
    slope: Values,
    colour: list[Values],
    dirt_share: float,
    dirt: Field,
    gloss: float,
) -> NDArray[np.float64]:
    """Put a body's pixels onto the face where it stands over the soil; returns its visible cover."""
    index = ribbon.pixel
    height = face.height_in.ravel()
    over = top - height[index]
    seen = edge * np.clip(over * window.px_per_in * 0.8 + 0.5, 0, 1)
    # Soil sticks in blotches; where it is thickest its crumbs hide the body.
    blotch = dirt.ravel()[index]
    if dirt_share > CLEAN_SHARE:
        stuck = np.clip((blotch - 1.5 + 2.6 * dirt_share) * 2.0, 0, 1)
    else:
        stuck = np.zeros(len(index))
    crumb = np.clip(stuck * 5 - 4, 0, 1)
    height[index] += (seen * (over + crumb * CRUMB_IN * (0.4 + 0.4 * np.abs(blotch - 2)))).astype(np.float32)
    for channel in range(3):
        under = face.rgb[channel].ravel()
        own = colour[channel] + (0.7 * stuck + 0.25 * crumb) * (under[index] * 1.1 - colour[channel])
        under[index] += (seen * (own - under[index])).astype(np.float32)
    face.body.ravel()[index] = np.maximum(face.body.ravel()[index] * (1 - seen), seen)
    steep = np.clip(slope, -STEEPEST, STEEPEST)
    normal = np.column_stack([-ribbon.tangent[ribbon.sample, 1], ribbon.tangent[ribbon.sample, 0]])
    for store, part in ((face.slope_x, normal[:, 0]), (face.slope_z, normal[:, 1])):
        flat_store = store.ravel()
        flat_store[index] += seen * (steep * part - flat_store[index])
    shiny = face.gloss.ravel()
    shiny[index] += seen * (gloss * (1 - stuck) - shiny[index])
    shown = seen * (1 - 0.9 * crumb)
    face.root.ravel()[index] *= (1 - seen).astype(np.float32)
    face.root_id.ravel()[index[seen > 0.5]] = -1
    return shown
