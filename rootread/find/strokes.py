"""A few strokes teach the finder a field: what they say corrects the network on every photo of it.

The correction is a logistic regression over the network's own features and the
pixel's colour, with the network's log odds as its starting point, so that
without strokes nothing changes. The pixels under the strokes say what they are;
other pixels of the same photo hold the correction near to what the network says.
"""

from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

from rootread.find.session import Answer, FullAnswer
from rootread.find.tiles import STRIDE_PX, VIEW_PX, Run

Floats = NDArray[np.float64]
Image = NDArray[np.float32]
Line = NDArray[np.float64]
FullRun = Callable[[NDArray[np.uint8]], FullAnswer]
Patch = tuple[int, int, NDArray[np.uint8]]
"""Row and column of its corner in the picture, and its pixels."""

COLOURS = 9
FINE, COARSE = 16, 48
WEIGHTS = 1 + COLOURS + FINE + COARSE
"""Constant, colour and its squares, and the features of the network's two finest levels."""
ROOT_CORE = 0.35
"""Of a root stroke this share of the width counts: people draw wider than roots are."""
# Chosen on made fields of seeds 830000 on: with fewer other pixels, or a weaker prior, strokes on hard
# places spoil the easy ones.
STROKE_WORTH = 12.0
"""One stroke counts as so many independent pixels: those beside each other say the same."""
OTHERS_WORTH = 2000.0
"""All other pixels together."""
OTHERS = 6000
RIDGE = 40.0
"""Prior precision of the standardised weights."""


@dataclass(frozen=True, eq=False)
class GridStroke:
    """A stroke in pixels of the picture that the network reads."""

    is_root: bool
    points_px: Line
    """``(N, 2)`` column and row."""
    width_px: float


@dataclass(frozen=True, eq=False)
class Samples:
    """Pixels at half resolution: what the network makes of them and what they are."""

    features: Image
    """``(K, WEIGHTS - 1)``."""
    logit: Image
    """``(K,)`` the network's log odds."""
    root: Image
    """``(K,)`` 0 or 1; the network's own probability for pixels that no stroke speaks of."""
    worth: Image
    """``(K,)`` how many independent pixels each stands for."""


def corrected(run: FullRun, weights: Floats) -> Run:
    """The network ``run`` with a correction of its log odds."""
    constant, colour, fine, coarse = np.split(
        np.asarray(weights, np.float32), [1, 1 + COLOURS, 1 + COLOURS + FINE]
    )

    def corrected_run(rgb: NDArray[np.uint8]) -> Answer:
        answer = run(rgb)
        size = answer.fine.shape[:0:-1]
        step = np.tensordot(fine, answer.fine.astype(np.float32), 1)
        step += np.tensordot(colour, _colours(rgb, size), 1)
        below = np.tensordot(coarse, answer.coarse.astype(np.float32), 1)
        step += cv2.resize(below, size, interpolation=cv2.INTER_LINEAR) + constant
        more = cv2.resize(step, answer.logit.shape[::-1], interpolation=cv2.INTER_LINEAR)
        return Answer(answer.logit + more, answer.shape, answer.deep)

    return corrected_run


def learn(
    rgb: NDArray[np.uint8], strokes: list[GridStroke], run: FullRun, draw: np.random.Generator
) -> Floats:
    """``(WEIGHTS,)`` the correction that strokes on one picture call for.

    Parameters
    ----------
    rgb : ``(M, N, 3)`` the flat wall at the resolution that the network reads.
    strokes : what a person said of it.
    run : the network.
    draw : chooses the other pixels.
    """
    patches = [_around(rgb, stroke.points_px) for stroke in strokes]
    read = [_features(patch, run) for _, _, patch in patches]
    every = [_under(stroke, patch, *seen) for stroke, patch, seen in zip(strokes, patches, read, strict=True)]
    every.append(_beside(read, draw))
    features, logit, root, worth = (
        np.concatenate([getattr(part, name) for part in every]).astype(float)
        for name in ("features", "logit", "root", "worth")
    )
    middle = np.average(features, axis=0, weights=worth)
    spread = np.sqrt(np.average((features - middle) ** 2, axis=0, weights=worth)) + 1e-3
    design = np.column_stack([np.ones(len(features)), (features - middle) / spread])

    def cost(weights: Floats) -> tuple[float, Floats]:
        odds = logit + design @ weights
        loss = np.logaddexp(0.0, odds) - root * odds
        slope = worth * (1 / (1 + np.exp(-odds)) - root)
        return float(worth @ loss + RIDGE / 2 * weights @ weights), design.T @ slope + RIDGE * weights

    found = minimize(cost, np.zeros(design.shape[1]), jac=True, method="L-BFGS-B", options={"maxiter": 200}).x
    weights = found[1:] / spread
    return np.concatenate([[found[0] - weights @ middle], weights])


def _under(stroke: GridStroke, patch: Patch, features: Image, logit: Image) -> Samples:
    """Pixels under one stroke."""
    top, left, _ = patch
    width = stroke.width_px * (ROOT_CORE if stroke.is_root else 1.0) / 2
    covered = np.zeros(logit.shape, np.uint8)
    line = np.round((stroke.points_px - [left, top]) / 2).astype(np.int32)
    cv2.polylines(covered, [line], False, 1, max(round(width), 1))
    on = covered > 0
    count = max(int(on.sum()), 1)
    says = np.full(int(on.sum()), float(stroke.is_root), np.float32)
    return Samples(features[on], logit[on], says, np.full(len(says), STROKE_WORTH / count, np.float32))


def _beside(read: list[tuple[Image, Image]], draw: np.random.Generator) -> Samples:
    """Pixels near the strokes of which nothing is said: they are what the network says they are."""
    kept = []
    for features, logit in read:
        chosen = draw.integers(0, logit.size, OTHERS // len(read))
        kept.append((features.reshape(-1, features.shape[-1])[chosen], logit.ravel()[chosen]))
    features, logit = (np.concatenate(part) for part in zip(*kept, strict=True))
    worth = np.full(len(logit), OTHERS_WORTH / len(logit), np.float32)
    return Samples(features, logit, np.float32(1) / (np.float32(1) + np.exp(-logit)), worth)


def _around(rgb: NDArray[np.uint8], points_px: Line) -> Patch:
    """Row and column of the corner, and the picture about a stroke as far as the network looks."""
    first = np.maximum(points_px.min(axis=0).astype(int) - VIEW_PX, 0) // STRIDE_PX * STRIDE_PX
    last = points_px.max(axis=0).astype(int) + VIEW_PX
    last += -(last - first) % STRIDE_PX
    patch = rgb[first[1] : last[1], first[0] : last[0]]
    bottom, right = -patch.shape[0] % STRIDE_PX, -patch.shape[1] % STRIDE_PX
    return (
        int(first[1]),
        int(first[0]),
        cv2.copyMakeBorder(patch, 0, bottom, 0, right, cv2.BORDER_REPLICATE),
    )


def _features(patch: NDArray[np.uint8], run: FullRun) -> tuple[Image, Image]:
    """``(m, n, WEIGHTS - 1)`` features and ``(m, n)`` log odds of a patch at half its resolution."""
    answer = run(patch)
    size = answer.fine.shape[:0:-1]
    coarse = [cv2.resize(f.astype(np.float32), size, interpolation=cv2.INTER_LINEAR) for f in answer.coarse]
    stack = np.concatenate([_colours(patch, size), answer.fine.astype(np.float32), np.stack(coarse)])
    logit = cv2.resize(answer.logit, size, interpolation=cv2.INTER_AREA)
    return np.moveaxis(stack, 0, -1), logit


def _colours(rgb: NDArray[np.uint8], size: tuple[int, int]) -> Image:
    """``(COLOURS, m, n)`` CIE L*, a*, b* in tens, their squares and products."""
    half = cv2.resize(rgb.astype(np.float32) / np.float32(255), size, interpolation=cv2.INTER_AREA)
    lab = cv2.cvtColor(half, cv2.COLOR_RGB2LAB) / np.float32(10)
    light, red, yellow = lab[..., 0] - np.float32(5), lab[..., 1], lab[..., 2]
    return np.stack(
        [light, red, yellow, light**2, red**2, yellow**2, light * red, light * yellow, red * yellow]
    )
