"""Width of a root from its two edges in the photo, to a fraction of a pixel, and how sure it is.

Across the root, brightness climbs from the soil (or from the seam to a
neighbour) to the root and falls again. A root is round: its flanks turn away
from the light, and the one in shade fades into the soil so gently that the
steepest place lies well inside the root. So each edge is sought at its *foot*:
outside the steepest place, where the slope has fallen to half. On an edge blurred by a Gaussian of standard
deviation sigma the foot lies sigma sqrt(2 ln 2) outside the edge, however wide
the root is; that much is taken off again.

Not all photos are as sharp, nor all of a photo. How far apart the two places
lie where the slope has fallen to half, within and without, says how soft an
edge is: 2 sigma sqrt(2 ln 2) (the full width at half maximum of a Gaussian).
What is softer than usual widens the root in squares.

The network that finds roots is a second witness: it has its own edges, where
the probability of root falls, and it errs for other reasons than light does.
A line operator has none, nor has a stroke that a person painted: there the
photo alone is asked.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import groupby

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter

from rootread.find.types import RootMap
from rootread.follow.company import beside_another
from rootread.follow.types import Trace
from rootread.geometry import Points
from rootread.plane.types import WallImage
from rootread.sampled import seen_at
from rootread.threads import share_out

STEP_PX = 0.5
"""Spacing of the samples across the root."""
BLUR_PX = 0.7
"""Blur of the photo before edges are sought."""
BLUR_REACH_PX, BAND_ROWS = 4, 64
"""No pixel farther off has a part in it; rows blurred at a time."""
PHOTO_BLUR_PX = 0.65
"""What lens, pixels, laying flat and sampling blur by together, in working pixels: usual for good photos."""
SIGMA_PX = float(np.hypot(BLUR_PX, PHOTO_BLUR_PX))
HALF_FALL = float(np.sqrt(2 * np.log(2)))
"""How many sigma from its steepest place the slope of a blurred edge has fallen to half."""
FOOT_PX = SIGMA_PX * HALF_FALL
"""How far outside a blurred edge its slope has fallen to half."""
USUAL_SOFTNESS_PX, SOFTNESS_WIDENS = 0.87, 9.0
"""Softness of the sharper edge of a root in a good photo, as it is measured here; and by how many square
pixels each square pixel of softness beyond that widens a root. Fitted by ``benchmarks/width.py --fit``."""
MOST_SOFTNESS_PX = 3.0
"""No photo whose roots are found is softer: what seems so is shade on a thick root."""
FINDER_EDGE = 0.4
"""Probability at which the finder has its edge; 0.3 to 0.6 are about as good on made walls."""
NEAREST, FARTHEST, SLACK_PX = 0.5, 1.6, 1.5
"""Edges are sought from NEAREST to FARTHEST times the mask's half width, and SLACK_PX beyond."""
MEDIAN_POINTS = 11
"""Window of the running median along the root."""
MOST_POINTS = 10_000
"""Looked at together, which saves time where many roots are short; more would only cost memory."""
LEAST_PX = 1.0
"""No root that is seen at all is given a smaller width."""
SE_PX, SE_SHARE, SE_SCATTER, SE_DISAGREEMENT = 0.4, 0.11, 0.9, 0.8
"""Parts of a width's standard error, added in squares: pixels always; a share of the width, for light and
shade; of the scatter of its neighbours; of the difference from the width of the root pixels."""
SE_SHARE_TOUCHING = 0.22
"""A further share where another root touches: part of this one may lie beneath it."""


def with_measured_widths(traces: Sequence[Trace], image: WallImage, root_map: RootMap) -> tuple[Trace, ...]:
    """The traces with widths from their edges, where they were seen.

    Parameters
    ----------
    traces : roots in wall inches whose widths are those of their root pixels.
    image : the flat wall.
    root_map : what the finder makes of it.
    """
    px_per_in = image.grid.px_per_in
    roots = [(image.grid.to_px(trace.points), trace.width_in * px_per_in) for trace in traces]
    seen_across = edges_of_roots(soft_grey(image), _witness(root_map), roots)
    measured = []
    for trace, touches, edges in zip(traces, beside_another(traces), seen_across, strict=True):
        width_px, se_px = width_between(edges)
        se_px = np.hypot(se_px, SE_SHARE_TOUCHING * touches * width_px)
        seen = ~trace.inferred if not trace.inferred.all() else np.ones_like(trace.inferred)
        measured.append(
            replace(
                trace,
                width_in=np.where(seen, width_px / px_per_in, trace.width_in),
                width_se_in=float(np.median(se_px[seen])) / px_per_in,
            )
        )
    return tuple(measured)


def soft_grey(image: WallImage) -> NDArray[np.float32]:
    """``(M, N)`` brightness, blurred by ``BLUR_PX`` so that noise makes no edges."""
    soft = np.empty(image.rgb.shape[:2], np.float32)

    def work(top: int) -> None:
        first = max(top - BLUR_REACH_PX, 0)
        grey = cv2.cvtColor(image.rgb[first : top + BAND_ROWS + BLUR_REACH_PX], cv2.COLOR_RGB2GRAY)
        blurred = cv2.GaussianBlur(grey.astype(np.float32), (0, 0), BLUR_PX)
        soft[top : top + BAND_ROWS] = blurred[top - first : top - first + BAND_ROWS]

    share_out(work, range(0, len(soft), BAND_ROWS))
    return soft


def _witness(root_map: RootMap) -> NDArray[np.float32]:
    """``(M, N)`` probability of root where it has edges of its own, NaN elsewhere."""
    if root_map.half_width_px is None:  # a finder that knows no widths
        return np.full_like(root_map.probability, np.nan)
    if root_map.painted is None:
        return root_map.probability
    return np.where(root_map.painted, np.float32(np.nan), root_map.probability)


@dataclass(frozen=True, eq=False)
class Edges:
    """What is seen across one root at each point of its centreline, pixels; running medians but the last."""

    apart_px: NDArray[np.float64]
    """``(N,)`` from edge to edge in the photo."""
    scatter_px: NDArray[np.float64]
    """``(N,)`` how far single points lie from that."""
    softness_px: NDArray[np.float64]
    """``(N,)`` sigma of the sharper edge."""
    finder_px: NDArray[np.float64]
    """``(N,)`` from edge to edge of the finder's probability; as in the photo where it has none near by."""
    mask_px: NDArray[np.float64]
    """``(N,)`` width of the root pixels."""


def width_between(
    edges: Edges, usual_px: float = USUAL_SOFTNESS_PX, widens: float = SOFTNESS_WIDENS
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Width ``(N,)`` px at every point and its standard error."""
    # The feet of a line as thin as the blur stand apart by the blur's width as well as its own,
    # which is added about as independent spreads are, in squares.
    in_photo = np.sqrt(np.maximum(edges.apart_px**2 - 2 * PHOTO_BLUR_PX**2, LEAST_PX**2))
    by_both = np.sqrt(in_photo * edges.finder_px)
    softer = np.clip(edges.softness_px, usual_px, MOST_SOFTNESS_PX) ** 2 - usual_px**2
    width = np.sqrt(np.maximum(by_both**2 - widens * softer, LEAST_PX**2))
    parts = (
        SE_PX,
        SE_SHARE * width,
        SE_SCATTER * edges.scatter_px,
        SE_DISAGREEMENT * (width - edges.mask_px),
    )
    return width, np.sqrt(np.sum([np.square(part) * np.ones_like(width) for part in parts], axis=0))


def find_edges(
    grey: NDArray[np.float32],
    probability: NDArray[np.float32],
    points_px: Points,
    mask_width_px: NDArray[np.float64],
) -> Edges:
    """What is seen across one root.

    Parameters
    ----------
    grey : ``(M, N)`` brightness, blurred by ``BLUR_PX``.
    probability : ``(M, N)`` that a pixel shows a root; NaN where that has no edge of its own.
    points_px : ``(N, 2)`` centreline, column and row.
    mask_width_px : ``(N,)`` width of the root pixels there.
    """
    (edges,) = edges_of_roots(grey, probability, [(points_px, mask_width_px)])
    return edges


def edges_of_roots(
    grey: NDArray[np.float32],
    probability: NDArray[np.float32],
    roots: Sequence[tuple[Points, NDArray[np.float64]]],
) -> list[Edges]:
    """What is seen across each root, of which many have few points: those as wide are looked at together.

    Parameters
    ----------
    grey, probability : as of ``find_edges``.
    roots : centreline and width of the root pixels of each.
    """
    found: dict[int, Edges] = {}
    across = [_Across.of(points_px, mask_width_px / 2) for points_px, mask_width_px in roots]
    for those in _as_wide(across):
        seen = _seen_across(grey, probability, _Across.together([across[k] for k in those]))
        parts = np.cumsum([len(across[k].half_px) for k in those])[:-1]
        for k, part in zip(those, np.split(seen, parts), strict=True):
            found[k] = _edges(part, roots[k][1])
    return [found[k] for k in range(len(roots))]


def _as_wide(across: Sequence["_Across"]) -> Iterator[list[int]]:
    """Roots looked at equally far to their sides; no more at a time than ``MOST_POINTS``, or one."""
    reach = [len(one.out_px) for one in across]
    for _, as_wide in groupby(np.argsort(reach, kind="stable").tolist(), key=lambda k: reach[k]):
        those: list[int] = []
        points = 0
        for k in as_wide:
            points += len(across[k].half_px)
            if those and points > MOST_POINTS:
                yield those
                those, points = [], len(across[k].half_px)
            those.append(k)
        yield those


def _seen_across(
    grey: NDArray[np.float32], probability: NDArray[np.float32], across: "_Across"
) -> NDArray[np.float64]:
    """``(N, 5)`` edge in the photo at either side, edge by the finder at either side, softness."""
    photo = [_edge_of(side, across) for side in across.sides(across.root_brighter(across.profile(grey)))]
    place = np.column_stack([place for place, _ in photo])
    sharper = np.minimum(*[softness for _, softness in photo])
    sides = across.sides(across.profile(probability))
    finder = np.column_stack([_falls_below(side, FINDER_EDGE, across) for side in sides])
    by_finder = np.where(np.isfinite(finder), finder, place)
    return np.column_stack([place, by_finder, sharper])


def _edges(seen: NDArray[np.float64], mask_width_px: NDArray[np.float64]) -> Edges:
    """Of one root, from what is seen across it."""
    calm = _along(seen)
    apart = calm[:, :2].sum(axis=1)
    return Edges(
        apart_px=apart,
        scatter_px=_along(np.abs(seen[:, :2].sum(axis=1) - apart)[:, None])[:, 0],
        softness_px=calm[:, 4],
        finder_px=np.maximum(calm[:, 2:4].sum(axis=1), LEAST_PX),
        mask_px=mask_width_px,
    )


@dataclass(frozen=True, eq=False)
class _Across:
    """Places across a root, from one side to the other, at each point of its centreline."""

    half_px: NDArray[np.float64]
    """``(N, 1)`` half the width of the root pixels."""
    out_px: NDArray[np.float64]
    """``(K,)`` distance of the samples of one side from the centre."""
    place_px: NDArray[np.float32]
    """``(N, 2K - 1, 2)``, the side against the normals first."""

    @classmethod
    def of(cls, points_px: Points, half_px: NDArray[np.float64]) -> "_Across":
        tangent = np.gradient(points_px, axis=0)
        tangent /= np.maximum(np.hypot(tangent[:, 0], tangent[:, 1]), 1e-9)[:, None]
        normal = np.column_stack([-tangent[:, 1], tangent[:, 0]])
        reach = FARTHEST * float(half_px.max(initial=0.0)) + SLACK_PX + 2 * FOOT_PX
        out_px = np.arange(int(np.ceil(reach / STEP_PX)) + 1) * STEP_PX
        offset = np.concatenate([-out_px[:0:-1], out_px])
        place = points_px[:, None] + offset[None, :, None] * normal[:, None]
        return cls(half_px[:, None], np.asarray(out_px, np.float64), place.astype(np.float32))

    @classmethod
    def together(cls, several: Sequence["_Across"]) -> "_Across":
        """Places across several roots, all from as far."""
        return cls(
            np.concatenate([one.half_px for one in several]),
            several[0].out_px,
            np.concatenate([one.place_px for one in several]),
        )

    @cached_property
    def inside(self) -> NDArray[np.bool_]:
        """``(N, K)`` surely on the root."""
        return self.out_px <= NEAREST * self.half_px + STEP_PX

    @cached_property
    def in_reach(self) -> NDArray[np.bool_]:
        """``(N, K)`` where an edge may lie, or the root."""
        return self.out_px <= FARTHEST * self.half_px + SLACK_PX

    def profile(self, picture: NDArray[np.float32]) -> NDArray[np.float32]:
        """``(N, 2K - 1)`` what a picture shows at the places."""
        return seen_at(picture, self.place_px)

    def sides(self, profile: NDArray[np.float32]) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
        """Both sides of a profile, ``(N, K)`` from the centre out."""
        middle = len(self.out_px) - 1
        return profile[:, middle::-1], profile[:, middle:]

    def root_brighter(self, profile: NDArray[np.float32]) -> NDArray[np.float32]:
        """The profile, or its negative where the root is darker than what lies beside it."""
        inside = np.hstack([self.inside[:, :0:-1], self.inside])
        beside = np.hstack([self.in_reach[:, :0:-1], self.in_reach]) & ~inside
        level_in = (profile * inside).sum(axis=1) / inside.sum(axis=1)
        level_out = (profile * beside).sum(axis=1) / np.maximum(beside.sum(axis=1), 1)
        return np.asarray(profile * np.where(level_in >= level_out, 1.0, -1.0)[:, None], np.float32)


def _along(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Running median along the root of each column of ``(N, C)``."""
    window = min(MEDIAN_POINTS, len(values) // 2 * 2 + 1)
    # One long row, each column with its ends repeated as far as the window reaches: several times as fast.
    reach = window // 2
    padded = values[np.arange(-reach, len(values) + reach).clip(0, len(values) - 1)]
    calm = median_filter(padded.T.ravel(), size=window, mode="nearest")
    return calm.reshape(values.shape[1], -1)[:, reach : reach + len(values)].T


def _edge_of(side: NDArray[np.float32], across: _Across) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Distance ``(N,)`` from the centre to the edge, and the sigma of a Gaussian as wide as its slope.

    Where nothing falls there is no edge to be soft: 0.
    """
    fall: NDArray[np.float64] = -np.asarray(np.gradient(side, STEP_PX, axis=1))
    row, column = np.arange(len(fall)), np.arange(fall.shape[1])
    allowed = across.in_reach & ~across.inside
    steepest = np.where(allowed, fall, -np.inf).argmax(axis=1).clip(1, fall.shape[1] - 2)
    gentle = fall < 0.5 * fall[row, steepest][:, None]
    foot = (gentle & (column > steepest[:, None])).argmax(axis=1)
    foot = np.where(foot > 0, foot, steepest + 1)
    # The last gentle place on the way in; the centre where the slope begins there.
    head = (column * (gentle & (column < steepest[:, None]))).max(axis=1)

    def half_fallen(gentle_at: NDArray[np.int64], toward: int) -> NDArray[np.float64]:
        half = 0.5 * fall[row, steepest]
        steep, less = fall[row, gentle_at + toward], fall[row, gentle_at]
        return (gentle_at + toward * ((half - less) / np.maximum(steep - less, 1e-9)).clip(0, 1)) * STEP_PX

    outside, within = half_fallen(foot, -1), half_fallen(head, 1)
    softness = np.where(fall[row, steepest] > 0, (outside - within) / (2 * HALF_FALL), 0.0)
    return outside - FOOT_PX, softness


def _falls_below(side: NDArray[np.float32], level: float, across: _Across) -> NDArray[np.float64]:
    """Distance ``(N,)`` from the centre to where a side falls below a level; NaN where it does not."""
    below = (side < level) & across.in_reach
    first = below.argmax(axis=1)
    row, before = np.arange(len(side)), np.maximum(first - 1, 0)
    above, under = side[row, before], side[row, first]
    part = ((above - level) / np.maximum(above - under, 1e-9)).clip(0, 1)
    return np.where(first > 0, (before + part) * STEP_PX, np.nan)
