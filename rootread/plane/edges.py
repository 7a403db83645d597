"""Edges of printed things, to a fraction of a pixel.

An edge between two flat tones, blurred by any symmetric lens, crosses the mean
of the two tones exactly where it is, if the picture is in linear light; so
that crossing is what is looked for, in profiles averaged along the edge.

Dimensions: ``E`` edges, ``P`` places along each, ``M`` steps across each.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rootread.plane.sightings import Floats
from rootread.sampled import seen_at

# Profiles are read this finely; bilinear reading adds nothing below half a pixel.
STEP_PX = 0.5
MAX_STEPS = 60
# Rows averaged along the edge for each profile; more than pixels there are add nothing.
MAX_ROWS = 8
# Tones this close, in linear light of a white of 1, have no edge between them to speak of.
MIN_CONTRAST = 0.01
# A place whose contrast is below this share of its edge's own is hidden or dusty.
MIN_CONTRAST_SHARE = 0.5
# An edge's places further than this many robust standard deviations from its line are dust,
# where that deviation is never taken to be below a twentieth of a pixel.
LINE_OUTLIERS = 3.0
LEAST_SPREAD_PX = 0.05
# At least this share of an edge's places must agree.
MIN_USED_SHARE = 0.5
ROUNDS = 4
# A line through its places is handed on as two of them, near where least squares knows it best.
LINE_ENDS = np.array([-0.6, 0.6])
# Every printed edge is off by about this, for paper, print, pixel grid and JPEG.
PRINT_SE_PX = 0.07
# An edge wider than this share of the reach has not settled at the profile's ends; of what is wider,
# this share may be error.
SETTLED_SHARE = 0.7
UNSETTLED_SE_SHARE = 0.1


@dataclass(frozen=True, eq=False)
class Profiles:
    """Brightness across edges."""

    tones: NDArray[np.float32]
    """``(E, P, M)`` linear light; NaN outside the photo."""
    offsets_px: Floats
    """``(E, M)`` along the normals."""


@dataclass(frozen=True, eq=False)
class EdgeLines:
    """Edges as straight lines: ``offset = middle + slope * along``, along from -1 to 1."""

    middle_px: Floats
    """``(E,)``."""
    slope_px: Floats
    """``(E,)``."""
    se_px: Floats
    """``(E,)`` standard error of the middle."""
    found: NDArray[np.bool_]
    """``(E,)``; the others are NaN."""
    share: Floats
    """``(E,)`` share of the places that were used."""


def read_profiles(
    light: NDArray[np.float32], places_px: Floats, normals: Floats, reach_px: Floats
) -> Profiles:
    """Brightness across each edge at each of its places.

    Parameters
    ----------
    light : ``(H, W)`` linear light.
    places_px : ``(E, P, 2)`` evenly spaced along each edge.
    normals : ``(E, 2)`` unit vectors across each edge.
    reach_px : ``(E,)`` how far to read to both sides.
    """
    edges, places = places_px.shape[:2]
    steps = int(np.clip(np.ceil(reach_px.max() / STEP_PX), 3, MAX_STEPS))
    offsets = np.linspace(-1.0, 1.0, 2 * steps + 1)[None, :] * reach_px[:, None]
    gap_px = np.hypot(*(places_px[:, -1] - places_px[:, 0]).T) / max(places - 1, 1)
    rows = int(np.clip(np.round(gap_px.max()), 1, MAX_ROWS))
    along = (np.arange(rows) - (rows - 1) / 2.0)[None, :] * (gap_px / rows)[:, None]
    tangents = np.column_stack([-normals[:, 1], normals[:, 0]])
    at = (
        places_px[:, :, None, None, :]
        + tangents[:, None, None, None, :] * along[:, None, :, None, None]
        + normals[:, None, None, None, :] * offsets[:, None, None, :, None]
    )
    flat = at.reshape(edges * places, rows * offsets.shape[1], 2).astype(np.float32)
    seen = seen_at(light, flat, beyond=float("nan"))
    tones = seen.reshape(edges, places, rows, offsets.shape[1]).mean(axis=2)
    return Profiles(tones, offsets)


def crossings(profiles: Profiles, rising: NDArray[np.bool_]) -> tuple[Floats, Floats]:
    """Where each profile crosses the mean of its two end tones, nearest to the middle.

    ``rising`` ``(E,)`` says whether brightness rises along the normal. Returns
    ``(E, P)`` offsets in pixels, NaN where there is no such edge, and ``(E, P)``
    contrasts, light minus dark.
    """
    offsets = profiles.offsets_px[:, None, :]
    end = max(offsets.shape[-1] // 4, 2)
    signed = np.where(rising[:, None, None], profiles.tones, -profiles.tones).astype(np.float64)
    low, high = np.median(signed[..., :end], axis=-1), np.median(signed[..., -end:], axis=-1)
    contrast = high - low
    above = signed - (0.5 * (low + high))[..., None]
    crosses = (above[..., :-1] < 0) & (above[..., 1:] >= 0)
    rise = np.where(crosses, above[..., 1:] - above[..., :-1], 1.0)
    at = offsets[..., :-1] - np.diff(offsets, axis=-1) * above[..., :-1] / rise
    far = np.where(crosses, np.abs(at), np.inf)
    best = np.argmin(far, axis=-1)[..., None]
    found = np.isfinite(np.take_along_axis(far, best, -1)[..., 0]) & (contrast > MIN_CONTRAST)
    where = np.take_along_axis(at, best, -1)[..., 0]
    return np.where(found, where, np.nan), np.where(np.isfinite(contrast), contrast, 0.0)


def unsettled_px(profiles: Profiles) -> Floats:
    """``(E,)`` how much wider each edge is blurred than its profiles can show.

    The mean of two tones is known only where the profile reaches both. An edge
    is as wide as its contrast over its steepest slope.
    """
    slope = np.abs(np.diff(profiles.tones, axis=-1)) / np.diff(profiles.offsets_px, axis=-1)[:, None, :]
    contrast = np.ptp(profiles.tones, axis=-1)
    steepest = np.nan_to_num(slope.max(axis=-1))
    width_px = np.where(steepest > 0, np.nan_to_num(contrast) / np.where(steepest > 0, steepest, 1.0), 0.0)
    return np.maximum(np.median(width_px, axis=1) - SETTLED_SHARE * profiles.offsets_px[:, -1], 0.0)


def dips(profiles: Profiles) -> tuple[Floats, Floats]:
    """The middle of one of many even dark lines, in profiles that reach half their spacing to both sides.

    It is where the wave that is as long as the spacing is darkest. Even lines are that wave and its
    overtones, however far blur spreads one into the next; and a single line that ends within the profile
    moves the wave nearly as far as it moves itself. The centre of mass of what is dark would not do: a
    profile cuts blurred lines off, and the more of them on the side to which they lie, so that they seem
    nearer to where they are looked for.
    Returns as ``crossings`` does.
    """
    tones = profiles.tones.astype(np.float64)
    where = profiles.offsets_px[:, -1:] * _darkest_share(tones)
    end = max(tones.shape[-1] // 5, 2)
    ground = np.median(np.concatenate([tones[..., :end], tones[..., -end:]], axis=-1), axis=-1)
    contrast = ground - tones.min(axis=-1)
    found = np.isfinite(where) & (contrast > MIN_CONTRAST)
    return np.where(found, where, np.nan), np.where(np.isfinite(contrast), contrast, 0.0)


def _darkest_share(tones: Floats) -> Floats:
    """``(E, P)`` where the wave as long as its profile is darkest, from -1 at the one end to 1 at the other.

    The sums of -cos(pi (along - at)) with cos(pi along) and sin(pi along) are as -cos(pi at) to -sin(pi at).
    """
    along = np.linspace(-1.0, 1.0, tones.shape[-1])
    # Even lines look alike a spacing on: what differs between the ends is light that grows along the tape.
    level = tones - 0.5 * (tones[..., -1:] - tones[..., :1]) * along
    # The two ends are one place of the wave, so each counts half.
    weight = np.where(np.abs(along) < 1.0, 1.0, 0.5)
    cosine, sine = level @ (weight * np.cos(np.pi * along)), level @ (weight * np.sin(np.pi * along))
    return np.asarray(np.arctan2(-sine, -cosine) / np.pi)


def straight_lines(offsets_px: Floats, contrast: Floats) -> EdgeLines:
    """A straight line through the places found on each edge, dust left out.

    Parameters
    ----------
    offsets_px : ``(E, P)`` where each edge was found, NaN where it was not.
    contrast : ``(E, P)`` of the edge there.
    """
    places = offsets_px.shape[1]
    along = np.linspace(-1.0, 1.0, places)[None, :]
    clear = contrast > MIN_CONTRAST_SHARE * np.median(contrast, axis=1, keepdims=True)
    usable = np.isfinite(offsets_px) & clear
    values = np.where(usable, offsets_px, 0.0)
    middle, slope = _masked_median(values, usable), np.zeros(len(values))
    used = usable
    for _ in range(ROUNDS):
        off = np.abs(values - middle[:, None] - slope[:, None] * along)
        spread = np.maximum(1.4826 * _masked_median(off, used), LEAST_SPREAD_PX)
        used = usable & (off <= LINE_OUTLIERS * spread[:, None])
        middle, slope = _masked_line(along, values, used)
    count = used.sum(axis=1)
    squares = np.sum(np.where(used, (values - middle[:, None] - slope[:, None] * along) ** 2, 0.0), axis=1)
    se = np.sqrt(squares / np.maximum(count - 2, 1) / np.maximum(count, 1))
    found = (count >= 4) & (count >= MIN_USED_SHARE * places)
    middle, slope, se = (np.where(found, value, np.nan) for value in (middle, slope, se))
    return EdgeLines(middle, slope, se, found, count / places)


def _masked_median(values: Floats, mask: NDArray[np.bool_]) -> Floats:
    """``(E,)`` median over the masked places of each row; 0 where there are none."""
    ordered = np.sort(np.where(mask, values, np.inf), axis=1)
    count = mask.sum(axis=1)
    rows = np.arange(len(values))
    low = ordered[rows, np.maximum(count - 1, 0) // 2]
    # With an even count the two middle values lie side by side; count // 2 never exceeds the last place.
    high = ordered[rows, np.minimum(count // 2, mask.shape[1] - 1)]
    return np.where(count > 0, 0.5 * (low + high), 0.0)


def _masked_line(along: Floats, values: Floats, mask: NDArray[np.bool_]) -> tuple[Floats, Floats]:
    """``(E,)`` intercepts and slopes of least squares lines through the masked places."""
    count = np.maximum(mask.sum(axis=1), 1)
    x_mean = np.sum(along * mask, axis=1) / count
    y_mean = np.sum(values * mask, axis=1) / count
    x = (along - x_mean[:, None]) * mask
    spread = np.sum(x**2, axis=1)
    slope = np.sum(x * values, axis=1) / np.where(spread > 0, spread, 1.0)
    return y_mean - slope * x_mean, slope
