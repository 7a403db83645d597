"""What is seen around the face: sky, crop, stalks, and the pit floor."""

import cv2
import numpy as np
from numpy.typing import NDArray

from rootread.scene.describe import Backdrop, Crown, Scene
from rootread.scene.noise import Field, band, cells, fractal, wiggle
from rootread.scene.ribbon import cover
from rootread.scene.soil import picture_texture
from rootread.scene.window import Window


def above(backdrop: Backdrop, window: Window, rows: int, rng: np.random.Generator) -> NDArray[np.float32]:
    """``(rows, N, 3)`` radiance of the out-of-focus view over the surface, for the window's top rows."""
    ppi = window.px_per_in
    shrink = max(int(ppi / 12), 1)
    small = (rows // shrink + 3, window.cols // shrink + 3)
    z = window.z0_in + np.arange(small[0])[:, None] * shrink / ppi
    per_in = ppi / shrink
    sky = (
        np.array(backdrop.sky_rgb)
        * (1 - 0.01 * np.clip(z + 10, 0, 10))[..., None]
        * np.ones((1, small[1], 1))
    )
    green = np.array(backdrop.rgb)
    if backdrop.kind == "rows":
        texture = 0.5 * fractal(small, 5 * per_in, 0.5 * per_in, rng, 0.7, 3.5, 90)
    elif backdrop.kind == "picture":
        texture = 0.6 * picture_texture(small, int(rng.integers(3)), float(rng.uniform(0.5, 2)), rng)
    else:
        texture = 0.35 * fractal(small, 2 * per_in, 2, rng, 0.7)
    hue = 0.12 * np.stack([band(small, 2 * per_in + 2, rng) for _ in range(3)], -1)
    field = green * np.exp(texture[..., None] + hue)
    line = -backdrop.horizon_in + 0.4 * wiggle(small[1], rng, 6)[None, :]
    far = {"sky": 1.0, "rows": 6.0, "grass": 0.5, "picture": 30.0, "soil": 0.2}[backdrop.kind]
    share = np.clip((z - line + far) / 0.4, 0, 1)[..., None]
    view = (sky * (1 - share) + field * share).astype(np.float32)
    view = cv2.GaussianBlur(view, (0, 0), float(rng.uniform(0.6, 3.5)))
    large = cv2.resize(view, (small[1] * shrink, small[0] * shrink), interpolation=cv2.INTER_LINEAR)
    return large[:rows, : window.cols]


def surface_cover(scene: Scene, window: Window, rng: np.random.Generator) -> Field:
    """``(M, N)`` 0 over the crumbled edge of the surface, 1 under it."""
    line = window.line_rows(scene.surface)
    crumb_px = max(scene.ground.crumb_in * window.px_per_in, 2)
    ragged = 0.5 * crumb_px * wiggle(window.cols, rng, crumb_px) + 0.3 * crumb_px * wiggle(
        window.cols, rng, crumb_px / 3
    )
    rows = np.arange(window.rows, dtype=np.float32)[:, None]
    return np.clip(rows - (line + ragged.astype(np.float32))[None, :] + 0.5, 0, 1)


def add_floor(
    rgb: NDArray[np.float32], clear: Field, scene: Scene, window: Window, rng: np.random.Generator
) -> None:
    """Loose soil on the pit floor, in place of the wall's lit face; ``clear`` loses what it hides."""
    backdrop = scene.backdrop
    rows = np.arange(window.rows, dtype=np.float32)[:, None]
    top = (backdrop.floor_z_in - window.z0_in) * window.px_per_in
    edge = top + 0.25 * window.px_per_in * wiggle(window.cols, rng, 1.5 * window.px_per_in)[None, :]
    if top > window.rows + window.px_per_in:
        return
    first = max(int(edge.min()) - 1, 0)
    if first >= window.rows:
        return
    share = np.clip((rows - edge) / 3 + 0.5, 0, 1)[first:].astype(np.float32)
    # The floor runs toward the camera: what lies on it is seen flattened, and nearer is larger.
    shape = (window.rows - first, window.cols)
    ppi = window.px_per_in
    relief = fractal(shape, 1.5 * ppi, 0.1 * ppi, rng, 0.65, 2.5, 0)
    lumps = cells(shape, float(rng.uniform(0.15, 0.5)) * ppi, rng)[0]
    relief = 0.25 * relief + 0.5 * lumps + 0.12 * fractal(shape, 0.15 * ppi, 2, rng, 0.8)
    lit = 0.75 - 0.25 * ppi / 20 * cv2.Sobel(relief, cv2.CV_32F, 0, 1, ksize=3, scale=0.25) + 0.25 * relief
    depth = np.clip((rows[first:] - top) / (2.5 * ppi), 0, 1)
    lit = np.clip(lit, 0.2, 1.6) * (0.4 + 0.6 * depth)
    clear[first:] *= 1 - share
    for channel in range(3):
        light = scene.light.sky_rgb[channel] + 0.4 * scene.light.sun_rgb[channel]
        own = lit * np.float32(backdrop.floor_rgb[channel] * light)
        rgb[first:, :, channel] += share * (own - rgb[first:, :, channel])


def add_stalk(rgb: NDArray[np.float32], solid: Field, crown: Crown, scene: Scene, window: Window) -> None:
    """A plant's stalk standing over its crown, in front of everything; ``solid`` marks where."""
    z = np.linspace(crown.z_in + 0.4, -14.0, 60)
    x = crown.x_in + np.tan(np.radians(crown.lean_deg)) * (crown.z_in - z)
    swell = 1 + 0.08 * np.cos(2 * np.pi * z / 3.1) ** 8 + 0.35 * np.clip((z - crown.z_in + 1.0), 0, 1)
    half = crown.stalk_in * swell * window.px_per_in / 2
    half *= np.clip((crown.z_in + 0.4 - z) / 0.5 + 0.3, 0.3, 1)
    scratch = np.zeros(window.rows * window.cols, np.int32)
    ribbon = cover(window.to_px(np.column_stack([x, z])), half, window.shape, scratch)
    if ribbon is None:
        return
    across = np.clip(ribbon.across / ribbon.half, -1, 1)
    edge = np.clip(ribbon.half - np.abs(ribbon.across) + 0.5, 0, 1)
    lx, _, ly = scene.light.to_sun
    normal = np.sqrt(1 - across**2)
    along_z = z[np.clip(np.rint(ribbon.along[ribbon.sample]).astype(int), 0, 59)]
    node = 1 - 0.35 * np.exp(-(((along_z % 3.1) / 0.12) ** 2))
    veins = 1 + 0.06 * np.cos(across * 23 + 1)
    facing = np.maximum(ly * normal + lx * across * np.sign(-ribbon.tangent[ribbon.sample, 1]), 0)
    for channel in range(3):
        lit = scene.light.sun_rgb[channel] * facing + scene.light.sky_rgb[channel] * (0.45 + 0.5 * normal)
        own = crown.rgb[channel] * node * veins * lit
        row, col = np.divmod(ribbon.pixel, window.cols)
        rgb[row, col, channel] += edge * (own - rgb[row, col, channel])
    solid.ravel()[ribbon.pixel] = np.maximum(solid.ravel()[ribbon.pixel], edge)
