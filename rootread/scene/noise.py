"""Procedural noise, the raw material of soil: smooth bands, fractal sums, and cells.

Every function takes a shape ``(rows, columns)``, lengths in pixels, and a
generator; fields come out as ``float32`` with mean near 0 and spread near 1
unless said otherwise.
"""

from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

Field = NDArray[np.float32]

TILE_PX = 1024
TILE_WAVE_PX = 4.0
"""The stored tile holds 256 waves across: coarse enough to store, fine enough to interpolate linearly."""
LINE_WAVE = 8.0
"""Samples to a swing in the stored line."""
COARSE_WAVE_PX = 16.0
"""Longer waves than this are drawn small and enlarged: they hold no finer detail."""


@lru_cache(maxsize=4)
def _tile(index: int) -> Field:
    """A periodic tile of noise in one octave around ``TILE_WAVE_PX``, equal in all directions."""
    rng = np.random.default_rng(90210 + index)
    frequency = np.hypot(np.fft.fftfreq(TILE_PX)[:, None], np.fft.rfftfreq(TILE_PX)[None, :])
    octaves = np.log2(np.maximum(frequency, 1e-9) * TILE_WAVE_PX)
    spectrum = np.fft.rfft2(rng.standard_normal((TILE_PX, TILE_PX))) * np.exp(-0.5 * (octaves / 0.45) ** 2)
    tile = np.fft.irfft2(spectrum, s=(TILE_PX, TILE_PX))
    return (1.28 * tile / tile.std()).astype(np.float32)  # interpolation will take 1.28 away again


def band(
    shape: tuple[int, int],
    wave_px: float,
    rng: np.random.Generator,
    stretch: float = 1.0,
    angle_deg: float | None = None,
) -> Field:
    """Noise of one wavelength; ``stretch`` > 1 draws it out along ``angle_deg`` (from +x toward +row)."""
    shrink = max(wave_px / COARSE_WAVE_PX, 1.0)
    rows, cols = (int(np.ceil(n / shrink)) + 2 for n in shape)
    turn = np.radians(rng.uniform(0, 360) if angle_deg is None else angle_deg)
    per_px = TILE_WAVE_PX * shrink / wave_px
    cos, sin = np.cos(turn) * per_px, np.sin(turn) * per_px
    shift = rng.uniform(0, TILE_PX, 2)
    to_tile = np.array([[cos / stretch, sin / stretch, shift[0]], [-sin, cos, shift[1]]])
    tile = _tile(int(rng.integers(4)))
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    field = cv2.warpAffine(tile, to_tile, (cols, rows), flags=flags, borderMode=cv2.BORDER_WRAP)
    if shrink > 1:
        size = (int(cols * shrink), int(rows * shrink))
        field = cv2.resize(field, size, interpolation=cv2.INTER_CUBIC)
    return field[: shape[0], : shape[1]]


def fractal(
    shape: tuple[int, int],
    coarse_px: float,
    fine_px: float,
    rng: np.random.Generator,
    roughness: float = 0.5,
    stretch: float = 1.0,
    angle_deg: float | None = None,
) -> Field:
    """Bands from ``coarse_px`` down by halves to ``fine_px``, each ``roughness`` times the one before."""
    field = np.zeros(shape, np.float32)
    weight, power, wave = 1.0, 0.0, coarse_px
    while True:
        cv2.scaleAdd(band(shape, max(wave, 2.0), rng, stretch, angle_deg), weight, field, field)
        power += weight**2
        wave, weight = wave / 2, weight * roughness
        if wave < max(fine_px, 2.0) or weight < 0.02:
            break
    field *= np.float32(1 / np.sqrt(power))
    return field


@lru_cache(maxsize=1)
def _line() -> NDArray[np.float64]:
    """A long periodic line of noise, one swing every ``LINE_WAVE`` samples."""
    count = 2**16
    frequency = np.fft.rfftfreq(count) * LINE_WAVE
    # Low-pass at the swing's own frequency, as smooth as a curve through random knots.
    spectrum = np.fft.rfft(np.random.default_rng(90209).standard_normal(count)) * np.exp(
        -((frequency / 0.6) ** 4)
    )
    line = np.fft.irfft(spectrum, count)
    return np.asarray(line / line.std())


def wiggle(count: int, rng: np.random.Generator, wave: float) -> NDArray[np.float64]:
    """Smooth noise along a line of ``count`` samples, ``wave`` samples to a swing; mean 0, spread 1."""
    line = _line()
    reach = int(count * LINE_WAVE / wave) + 2
    start = int(rng.integers(max(len(line) - reach, 1)))
    piece = line[start : start + reach]
    return np.interp(np.arange(count) * (LINE_WAVE / wave), np.arange(len(piece)), piece)


def cells(
    shape: tuple[int, int], size_px: float, rng: np.random.Generator, irregular: float = 0.35
) -> tuple[Field, Field, Field]:
    """Soil aggregates: dome height (0 at the seams to 1), and two values a cell (spread 1, one tilted).

    Returns ``dome``, ``value`` (one number a cell) and ``facet`` (each cell
    tilted its own way), all ``shape``.
    """
    shrink = max(size_px / 5.5, 1.0)
    rows, cols = (int(np.ceil(n / shrink)) + 2 for n in shape)
    step = max(size_px / shrink, 2.5)
    grid_r, grid_c = np.mgrid[-1 : rows / step + 1, -1 : cols / step + 1]
    jitter = rng.uniform(-0.5, 0.5, (2, *grid_r.shape)) * 1.2
    at_r = np.clip(((grid_r + jitter[0]) * step).astype(int).ravel(), 0, rows - 1)
    at_c = np.clip(((grid_c + jitter[1]) * step).astype(int).ravel(), 0, cols - 1)
    seeds = np.full((rows, cols), 255, np.uint8)
    seeds[at_r, at_c] = 0
    distance, labels = cv2.distanceTransformWithLabels(
        seeds, cv2.DIST_L2, cv2.DIST_MASK_5, labelType=cv2.DIST_LABEL_PIXEL
    )
    count = int(labels.max()) + 1
    centre_r, centre_c = np.zeros(count, np.float32), np.zeros(count, np.float32)
    own = labels[at_r, at_c]
    centre_r[own], centre_c[own] = at_r, at_c
    value_of = rng.standard_normal(count).astype(np.float32)
    tilt = rng.standard_normal((2, count)).astype(np.float32)
    across_r = np.arange(rows, dtype=np.float32)[:, None] - centre_r[labels]
    across_c = np.arange(cols, dtype=np.float32)[None, :] - centre_c[labels]
    facet = (across_r * tilt[0][labels] + across_c * tilt[1][labels]) / np.float32(step)
    rough = distance / np.float32(step) + np.float32(irregular) * 0.3 * band((rows, cols), step * 0.7, rng)
    dome = 1 - np.clip(rough / 0.75, 0, 1) ** 2
    value = value_of[labels]
    if shrink > 1:
        size = (int(cols * shrink), int(rows * shrink))
        dome, value, facet = (
            cv2.resize(f, size, interpolation=cv2.INTER_LINEAR) for f in (dome, value, facet)
        )
    return tuple(np.ascontiguousarray(f[: shape[0], : shape[1]], np.float32) for f in (dome, value, facet))  # type: ignore[return-value]
