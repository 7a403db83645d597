"""How light falls off across a root.

A round root is a lit cylinder: its surface turns away from sky and sun toward
its edges as ``1 - sqrt(1 - u^2)`` grows, u from -1 to 1 across it, so that it
darkens there. A root squeezed flat is a ribbon that faces the camera all over
and keeps its brightness to the edge. Across every point of a trace

    brightness = top (1 + tilt u - falloff (1 - sqrt(1 - u^2)))

is fitted by least squares; the tilt takes up light from one side. A photo
blurs roots into the soil, which looks like falloff too, so falloffs are compared
along one root only, never with a figure of the books.
"""

import cv2
import numpy as np
from numpy.typing import NDArray

from rootread.follow.types import Trace
from rootread.plane.types import WallImage
from rootread.sampled import seen_at

Values = NDArray[np.float64]

DISPLAY_GAMMA = 2.2
"""Photos are stored for a display; light adds up in linear values."""
ACROSS = np.linspace(-0.7, 0.7, 15)
"""Places across the root, in half widths; nearer its edge, blur mixes in the soil."""
DARKEST = 0.01
"""Of white; darker roots tell nothing about light."""
BELIEVED = (-1.0, 2.0)
"""Beyond, a clod or another root lies in the way."""


def linear_grey(image: WallImage) -> NDArray[np.float32]:
    """``(M, N)`` brightness of the flat wall, linear in light, 0 to 1."""
    grey = cv2.cvtColor(image.rgb, cv2.COLOR_RGB2GRAY)
    table = ((np.arange(256) / 255.0) ** DISPLAY_GAMMA).astype(np.float32)
    linear: NDArray[np.float32] = cv2.LUT(grey, table)
    return linear


def light_falloff(grey: NDArray[np.float32], image: WallImage, trace: Trace) -> Values:
    """``(N,)`` share of its brightness that a root loses from its middle to its edge, at each point.

    Parameters
    ----------
    grey : linear brightness of ``image``.
    trace : centreline at even steps, wall inches.
    """
    bend = 1.0 - np.sqrt(1.0 - ACROSS**2)
    basis = np.column_stack([np.ones(len(ACROSS)), ACROSS, bend])
    top, _, bent = np.linalg.pinv(basis) @ _profiles(grey, image, trace).T
    return np.clip(-bent / np.maximum(top, DARKEST), *BELIEVED)


def _profiles(grey: NDArray[np.float32], image: WallImage, trace: Trace) -> Values:
    """``(N, K)`` brightness across the trace at the places of ``ACROSS``."""
    points_px = image.grid.to_px(trace.points)
    way = np.gradient(points_px, axis=0)
    way /= np.maximum(np.hypot(way[:, 0], way[:, 1]), 1e-9)[:, None]
    across = np.column_stack([-way[:, 1], way[:, 0]])
    half_px = trace.width_in * image.grid.px_per_in / 2
    at = points_px[:, None] + ACROSS[None, :, None] * (half_px[:, None] * across)[:, None]
    return seen_at(grey, at.astype(np.float32)).astype(np.float64)
