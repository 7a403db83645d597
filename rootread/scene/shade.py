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
    face: Face, light: Light, window: Window, sun_left: Field | float = 1.0, sky_left: Field | float = 1.0
) -> NDArray[np.float32]:
    """``(M, N, 3)`` linear radiance of the lit face, where things in front leave it sun and sky."""
    ppi = window.px_per_in
    height_px = face.height_in * np.float32(ppi)
    slope_x = cv2.Sobel(height_px, cv2.CV_32F, 1, 0, ksize=3, scale=0.125)
    slope_z = cv2.Sobel(height_px, cv2.CV_32F, 0, 1, ksize=3, scale=0.125)
    slope_x += face.body * (face.slope_x - slope_x)
    slope_z += face.body * (face.slope_z - slope_z)
    lx, lz, ly = (np.float32(v) for v in light.to_sun)
    upright = 1 / cv2.sqrt(1 + slope_x * slope_x + slope_z * slope_z)
    facing = np.maximum((ly - lx * slope_x - lz * slope_z) * upright, 0)
    sun = facing * sun_reach(face.height_in, light, ppi) * large_shadows(light, window) * sun_left
    # A hollow sees less of the sky: how far it lies under its surroundings, near and far.
    hollow = np.maximum(blur(face.height_in, 0.06 * ppi) - face.height_in, 0) * np.float32(7.0)
    hollow += np.maximum(blur(face.height_in, 0.3 * ppi) - face.height_in, 0) * np.float32(2.5)
    # The sky lies above, the pit floor below: a surface that looks up gets more.
    sky = cv2.exp(-hollow) * (0.72 + 0.28 * (0.5 + 0.8 * slope_z) * upright) * sky_left
    out = np.empty((*window.shape, 3), np.float32)
    for channel in range(3):
        lit = sun * np.float32(light.sun_rgb[channel]) + sky * np.float32(light.sky_rgb[channel])
        lit += np.float32(BOUNCE * (1.1, 1.0, 0.85)[channel])
        out[..., channel] = face.rgb[channel] * lit
    if float(face.gloss.max()) > 0.02:
        # Blinn's highlight: how near the normal is to half way between sun and camera.
        half = np.array([lx, lz, ly + 1]) / np.sqrt(lx**2 + lz**2 + (ly + 1) ** 2)
        near = np.maximum((half[2] - half[0] * slope_x - half[1] * slope_z) * upright, 0)
        shine = face.gloss * near**24 * (0.25 * sun * light.sun_rgb[1] + 0.08 * sky)
        out += shine[..., None]
    return out
