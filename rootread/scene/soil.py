"""The bare soil of a face: its relief in inches and its colour, before anything lies on it."""

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from rootread.scene.describe import Colour, Ground
from rootread.scene.noise import Field, band, cells, fractal
from rootread.scene.window import Window


@dataclass(eq=False)
class Face:
    """The face as it is built up: relief, colour, and what each pixel shows."""

    height_in: Field
    """``(M, N)`` out of the wall."""
    rgb: NDArray[np.float32]
    """``(3, M, N)`` linear reflectance."""
    slope_x: Field
    """``(M, N)`` where a smooth body lies, its own slope along columns."""
    slope_z: Field
    body: Field
    """``(M, N)`` 0 to 1: how much of the pixel such a body covers."""
    gloss: Field
    root: Field
    """``(M, N)`` 0 to 1: visible cover by roots."""
    root_id: NDArray[np.int32]
    """``(M, N)`` index of the uppermost root, or -1."""
    half_px: Field
    heading: NDArray[np.float32]
    """``(2, M, N)`` cosine and sine of the root's doubled heading."""
    scratch: NDArray[np.int32]

    def soften(self, sigma_px: float) -> Field:
        """The relief without what is finer than ``sigma_px``."""
        return blur(self.height_in, sigma_px)


def blur(field: Field, sigma_px: float) -> Field:
    """Gaussian blur; a wide one is done small and enlarged, since no detail is left to lose."""
    if sigma_px < 0.3:
        return field
    shrink = int(max(sigma_px / 2.5, 1))
    if shrink == 1:
        return cv2.GaussianBlur(field, (0, 0), sigma_px)
    rows, cols = field.shape
    small = cv2.resize(field, (max(cols // shrink, 1), max(rows // shrink, 1)), interpolation=cv2.INTER_AREA)
    small = cv2.GaussianBlur(small, (0, 0), sigma_px / shrink)
    return cv2.resize(small, (cols, rows), interpolation=cv2.INTER_LINEAR)


@lru_cache(maxsize=8)
def _picture(index: int) -> Field:
    """Real relief as a texture: without its coarse shapes, spread about 1."""
    # These imports cost half a second, and only walls of this structure need them.
    if index % 3 == 0:
        from skimage import data

        relief = np.asarray(data.moon(), np.float32)
    else:
        from matplotlib import cbook

        name, key = (("jacksboro_fault_dem.npz", "elevation"), ("topobathy.npz", "topo"))[index % 3 - 1]
        with np.load(cbook.get_sample_data(name, asfileobj=False)) as stored:
            relief = stored[key].astype(np.float32)
    fine = relief - cv2.GaussianBlur(relief, (0, 0), 12)
    local = np.sqrt(cv2.GaussianBlur(fine * fine, (0, 0), 24)) + 0.05 * fine.std()
    return np.clip(fine / local, -2.5, 2.5)


def picture_texture(shape: tuple[int, int], index: int, zoom: float, rng: np.random.Generator) -> Field:
    """Pieces of real relief, turned, enlarged ``zoom`` times, warped and blended into each other."""
    tile = _picture(index)
    wave = min(400.0 * zoom, max(shape) / 2)
    col, row = np.meshgrid(np.arange(shape[1], dtype=np.float32), np.arange(shape[0], dtype=np.float32))
    col += 0.06 * wave * band(shape, wave / 3, rng)
    row += 0.06 * wave * band(shape, wave / 3, rng)
    pieces = []
    for _ in range(2):
        turn, (at_row, at_col) = rng.uniform(0, 2 * np.pi), rng.uniform(0, 400, 2)
        cos, sin = np.float32(np.cos(turn) / zoom), np.float32(np.sin(turn) / zoom)
        map_x, map_y = cos * col + sin * row + np.float32(at_col), cos * row - sin * col + np.float32(at_row)
        pieces.append(cv2.remap(tile, map_x, map_y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT))
    share = np.clip(0.5 + 1.2 * band(shape, wave / 2, rng), 0, 1)
    return pieces[0] + share * (pieces[1] - pieces[0])


def _structure(ground: Ground, window: Window, rng: np.random.Generator) -> tuple[Field, Field]:
    """Relief of clods and crumbs in inches, and a tone for each aggregate (spread about 1)."""
    shape, ppi = window.shape, window.px_per_in
    clod_px, crumb_px = ground.clod_in * ppi, ground.crumb_in * ppi
    height = ground.clod_relief_in * 0.6 * fractal(shape, 2 * clod_px, 0.5 * clod_px, rng, 0.6)
    tone = np.zeros(shape, np.float32)
    kind = ground.structure
    if kind in ("crumb", "blocky"):
        dome, value, facet = cells(shape, clod_px, rng)
        shape_of = dome if kind == "crumb" else 0.35 * dome + 0.3 * facet
        height += ground.clod_relief_in * 1.2 * shape_of + ground.clod_relief_in * 0.25 * value
        tone += 0.6 * value
        small, value, facet = cells(shape, crumb_px, rng)
        height += ground.crumb_relief_in * (small if kind == "crumb" else 0.5 * small + 0.4 * facet)
        tone += 0.5 * value
        if crumb_px > 9:
            height += ground.crumb_relief_in * 0.4 * cells(shape, crumb_px * 0.42, rng)[0]
    elif kind == "platy":
        height += ground.clod_relief_in * fractal(shape, 0.6 * clod_px, 0.1 * clod_px, rng, 0.7, 4, 0)
        height += ground.crumb_relief_in * fractal(shape, crumb_px, 2, rng, 0.6, 2.5, 0)
    elif kind == "picture":
        texture = picture_texture(shape, ground.picture, float(rng.uniform(0.5, 3)), rng)
        height += ground.crumb_relief_in * texture
        tone += 0.6 * texture
    else:
        wave = min(crumb_px, 0.08 * ppi) if kind == "sandy" else crumb_px
        height += ground.crumb_relief_in * fractal(shape, wave, 2, rng, 0.75)
    height += 0.12 * ground.crumb_relief_in * fractal(shape, min(crumb_px, 0.1 * ppi), 2, rng, 0.8)
    return height, tone


def _scraped(ground: Ground, window: Window, rng: np.random.Generator, height: Field) -> Field:
    """Where a blade was drawn over the face the relief is smeared flat, with fine striae."""
    if ground.scrape <= 0:
        return height
    shape, ppi = window.shape, window.px_per_in
    where = ground.scrape * np.clip(0.5 + 0.9 * band(shape, 5 * ppi, rng, 2.0, ground.scrape_deg), 0, 1)
    striae = 0.007 * fractal(shape, 0.4 * ppi, 2, rng, 0.6, 40.0, ground.scrape_deg)
    return height * (1 - 0.75 * where) + striae * where


def _pits(ground: Ground, window: Window, rng: np.random.Generator, height: Field, tone: Field) -> None:
    """Pores: small round dark holes."""
    area = window.rows * window.cols / window.px_per_in**2
    for _ in range(min(rng.poisson(ground.pores_per_in2 * area), 4000)):
        row, col = int(rng.integers(window.rows)), int(rng.integers(window.cols))
        radius = ground.pore_in * window.px_per_in * rng.lognormal(0, 0.4) / 2
        reach = int(radius + 2)
        r0, r1, c0, c1 = max(row - reach, 0), row + reach + 1, max(col - reach, 0), col + reach + 1
        part = height[r0:r1, c0:c1]
        rr, cc = np.ogrid[r0 - row : r0 - row + part.shape[0], c0 - col : c0 - col + part.shape[1]]
        hole = np.clip(radius - np.hypot(rr, cc * rng.uniform(0.7, 1)) + 0.5, 0, 1).astype(np.float32)
        part -= hole * ground.pore_in * 1.2
        tone[r0:r1, c0:c1] -= 1.2 * hole


def _mix(into: NDArray[np.float32], rgb: Colour, share: Field) -> None:
    for channel in range(3):
        into[channel] += share * (np.float32(rgb[channel]) - into[channel])


def _subsoil(ground: Ground, window: Window, rng: np.random.Generator) -> Field:
    """Share of subsoil in each pixel: the boundary between the horizons, with its tongues."""
    shape, ppi = window.shape, window.px_per_in
    rows = np.arange(window.rows, dtype=np.float32)[:, None]
    depth_in = (rows - window.line_rows(ground.boundary)[None, :]) / np.float32(ppi)
    depth_in = depth_in + ground.blend_in * 0.5 * fractal(shape, 3 * ppi, 0.3 * ppi, rng, 0.55)
    return np.clip(depth_in / ground.blend_in + 0.5, 0, 1)


def _colour(
    ground: Ground, window: Window, rng: np.random.Generator, height: Field, tone: Field, share: Field
) -> NDArray[np.float32]:
    shape, ppi = window.shape, window.px_per_in
    rgb = np.empty((3, *shape), np.float32)
    for channel in range(3):
        top, sub = ground.topsoil_rgb[channel], ground.subsoil_rgb[channel]
        rgb[channel] = share * np.float32(sub - top) + np.float32(top)
    if ground.mottle_share > 0:
        patches = fractal(shape, ground.mottle_in * ppi, max(0.06 * ground.mottle_in * ppi, 2), rng, 0.75)
        level = 1.6 - 4 * ground.mottle_share
        _mix(rgb, ground.mottle_rgb, np.clip((patches - level) * rng.uniform(0.4, 1.2), 0, 0.8))
    if ground.chips_per_in2 > 0:
        size = max(rng.uniform(0.015, 0.05) * ppi, 1.5)
        flecks = band(shape, 2.2 * size, rng)
        level = 3.0 - 0.28 * np.sqrt(ground.chips_per_in2)
        _mix(rgb, ground.chip_rgb, np.clip((flecks - level) * 4, 0, 0.9))
    tone = ground.cell_contrast * tone
    tone += ground.patchiness * fractal(shape, 9 * ppi, 0.8 * ppi, rng, 0.6)
    tone += ground.grain * fractal(shape, 0.15 * ppi, 2, rng, 0.9)
    cavity = height - blur(height, 0.12 * ppi)
    tone += np.clip(cavity * np.float32(0.2 / max(ground.crumb_relief_in, 0.01)), -0.5, 0.35)
    if ground.wetness > 0:
        tone -= 0.5 * np.clip(ground.wetness - 0.5 + 0.5 * band(shape, 7 * ppi, rng), 0, 1)
    factor = cv2.exp(np.clip(tone, -2.5, 1.2))
    for channel in range(3):
        rgb[channel] *= factor
    return rgb


def bare_face(ground: Ground, window: Window, seed: int) -> Face:
    """The soil in a window."""
    rng = np.random.default_rng([ground.seed, seed])
    shape, ppi = window.shape, window.px_per_in
    height, tone = _structure(ground, window, rng)
    rough = np.clip(0.85 + 0.35 * band(shape, 4 * ppi, rng), 0.25, 1.6)
    share = _subsoil(ground, window, rng)
    rough *= 1 - np.float32(1 - ground.subsoil_relief) * share
    height = _scraped(ground, window, rng, height * rough)
    height += ground.undulation_in * fractal(shape, 9 * ppi, 1.2 * ppi, rng, 0.5)
    _pits(ground, window, rng, height, tone)
    rgb = _colour(ground, window, rng, height, tone, share)
    zeros = np.zeros((6, *shape), np.float32)
    gloss = zeros[3]
    if ground.wetness > 0.3:
        gloss += np.float32(0.25 * ground.wetness)
    return Face(
        height_in=height, rgb=rgb, slope_x=zeros[0], slope_z=zeros[1], body=zeros[2], gloss=gloss,
        root=zeros[4],
        root_id=np.full(shape, -1, np.int32), half_px=zeros[5], heading=np.zeros((2, *shape), np.float32),
        scratch=np.zeros(shape[0] * shape[1], np.int32),
    )  # fmt: skip
