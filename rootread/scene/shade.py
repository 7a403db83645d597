"""Light on the relief: sun with cast shadows, sky with its darkening in hollows.

Lambert's law: what a matt surface sends back is its reflectance times the
cosine between its normal and the light. A point is in shadow when the relief
rises over its ray to the sun.
"""

import cv2
import numpy as np
from numpy.typing import NDArray

from rootread.scene.describe import Light
from rootread.scene.noise import Field
from rootread.scene.soil import Face, blur
from rootread.scene.window import Window

MARCH_STEPS = 7
"""The shadow march doubles its reach each time: 2 ** 7 pixels."""
STRIP_ROWS = 96
BOUNCE = 0.12
"""Light that the pit floor throws back up."""


def sun_reach(height_in: Field, light: Light, px_per_in: float) -> Field:
    """``(M, N)`` 0 to 1: how much of the sun each point of the relief sees.

    The highest of all heights along the ray, each lowered by the ray's rise,
    is built by doubling: M2k(p) = max(Mk(p), Mk(p + k step) - k rise).
    """
    lx, lz, ly = light.to_sun
    side = np.hypot(lx, lz)
    if side < 1e-3:
        return np.ones_like(height_in)
    rise_in = ly / side / px_per_in
    highest = height_in.copy()
    rows, cols = height_in.shape
    for k in range(MARCH_STEPS):
        reach = float(2**k)
        if reach * rise_in > 2.5:  # no relief is higher than that
            break
        shift = np.array([[1, 0, reach * lx / side], [0, 1, reach * lz / side]])
        flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
        further = cv2.warpAffine(highest, shift, (cols, rows), flags=flags, borderMode=cv2.BORDER_REPLICATE)
        further -= np.float32(reach * rise_in)
        cv2.max(highest, further, highest)
    blocked_in = highest - height_in
    edge_in = 0.008 + 0.06 * light.haze
    return 1 - np.clip(blocked_in * np.float32(1 / edge_in), 0, 1)


def large_shadows(light: Light, window: Window) -> Field:
    """``(M, N)`` 0 to 1: sun left by what stands out of frame; drawn small, as its edges are soft."""
    shrink = max(int(window.px_per_in / 24), 1)
    rows, cols = window.rows // shrink + 2, window.cols // shrink + 2
    left = np.ones((rows, cols), np.float32)
    for shadow in light.shadows:
        outline = np.rint(window.to_px(shadow.outline) / shrink * 16).astype(np.int32)
        shade = np.zeros((rows, cols), np.float32)
        cv2.fillPoly(shade, [outline], 1.0, cv2.LINE_AA, 4)
        left *= 1 - np.float32(shadow.density) * blur(shade, shadow.softness_in * window.px_per_in / shrink)
    large = cv2.resize(left, (cols * shrink, rows * shrink), interpolation=cv2.INTER_LINEAR)
    return large[: window.rows, : window.cols]


def shade(
    face: Face, light: Light, window: Window, sun_left: Field | None = None, sky_left: Field | None = None
) -> NDArray[np.float32]:
    """``(M, N, 3)`` linear radiance of the lit face, where things in front leave it sun and sky."""
    ppi = window.px_per_in
    height = face.height_in
    sun = sun_reach(height, light, ppi)
    sun *= large_shadows(light, window)
    if sun_left is not None:
        sun *= sun_left
    near, far = blur(height, 0.06 * ppi), blur(height, 0.3 * ppi)
    slope_x = cv2.Sobel(height, cv2.CV_32F, 1, 0, ksize=3, scale=0.125 * ppi)
    slope_z = cv2.Sobel(height, cv2.CV_32F, 0, 1, ksize=3, scale=0.125 * ppi)
    out = np.empty((*window.shape, 3), np.float32)
    for first in range(0, window.rows, STRIP_ROWS):  # strips stay in the processor's cache
        rows = np.s_[first : first + STRIP_ROWS]
        sky = _sky(height[rows], near[rows], far[rows])
        if sky_left is not None:
            sky *= sky_left[rows]
        _light_strip(out[rows], face, light, rows, (slope_x[rows], slope_z[rows]), sun[rows], sky)
    return out


def _sky(height: Field, near: Field, far: Field) -> Field:
    """Sky that a point sees: less in a hollow, by how far it lies under its surroundings, near and far."""
    hollow = np.maximum(near - height, 0) * np.float32(9.0)
    hollow += np.maximum(far - height, 0) * np.float32(3.0)
    return cv2.exp(-hollow)


def _light_strip(
    out: NDArray[np.float32],
    face: Face,
    light: Light,
    rows: slice,
    slopes: tuple[Field, Field],
    sun: Field,
    sky: Field,
) -> None:
    body = face.body[rows]
    slope_x = slopes[0] + body * (face.slope_x[rows] - slopes[0])
    slope_z = slopes[1] + body * (face.slope_z[rows] - slopes[1])
    lx, lz, ly = (np.float32(v) for v in light.to_sun)
    upright = 1 / cv2.sqrt(1 + slope_x * slope_x + slope_z * slope_z)
    sun = sun * np.maximum((ly - lx * slope_x - lz * slope_z) * upright, 0)
    # The sky lies above, the pit floor below: a surface that looks up gets more.
    sky = sky * (np.float32(0.6) + np.float32(0.35) * (np.float32(0.6) + slope_z) * upright)
    for channel in range(3):
        lit = sun * np.float32(light.sun_rgb[channel]) + sky * np.float32(light.sky_rgb[channel])
        lit += np.float32(BOUNCE * (1.1, 1.0, 0.85)[channel])
        out[..., channel] = face.rgb[channel, rows] * lit
    gloss = face.gloss[rows]
    if float(gloss.max()) > 0.02:
        # Blinn's highlight: how near the normal is to half way between sun and camera.
        half = np.array([lx, lz, ly + 1]) / np.sqrt(lx**2 + lz**2 + (ly + 1) ** 2)
        hx, hz, hy = (np.float32(v) for v in half)
        near = np.maximum((hy - hx * slope_x - hz * slope_z) * upright, 0)
        shine = (
            gloss * cv2.pow(near, 24) * (np.float32(0.25 * light.sun_rgb[1]) * sun + np.float32(0.08) * sky)
        )
        out += shine[..., None]
