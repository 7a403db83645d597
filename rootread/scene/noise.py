"""Procedural noise, the raw material of soil: smooth bands, fractal sums, and cells.

Every function takes a shape ``(rows, columns)``, lengths in pixels, and a
generator; fields come out as ``float32`` with mean near 0 and spread near 1
unless said otherwise.
"""

from functools import cache, lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

Field = NDArray[np.float32]

TILE_PX = 1024
TILE_WAVE_PX = 4.0
"""The stored tile holds 256 waves across: coarse enough to store, fine enough to interpolate linearly."""
GRAIN_WAVES_PX = (0.0, 2.0, 2.5, 3.1, 3.9, 4.9, 6.1, 7.0)
"""Fine wavelengths kept ready at full size."""
CELL_PX = 5.0
"""Cells are drawn at this size to twice it, and enlarged."""
LINE_WAVE = 8.0
"""Samples to a swing in the stored line."""
COARSE_WAVE_PX = 7.0
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


@cache
def _grain_tile(wave_px: float) -> Field:
    """Periodic noise of a fine wavelength at full size; white noise for 0."""
    rng = np.random.default_rng(90200 + int(10 * wave_px))
    white = rng.standard_normal((TILE_PX, TILE_PX))
    if wave_px == 0:
        return white.astype(np.float32)
    frequency = np.hypot(np.fft.fftfreq(TILE_PX)[:, None], np.fft.rfftfreq(TILE_PX)[None, :])
    octaves = np.log2(np.maximum(frequency, 1e-9) * wave_px)
    tile = np.fft.irfft2(np.fft.rfft2(white) * np.exp(-0.5 * (octaves / 0.45) ** 2), s=(TILE_PX, TILE_PX))
    return (tile / tile.std()).astype(np.float32)


def grain(shape: tuple[int, int], wave_px: float, rng: np.random.Generator) -> Field:
    """Fine noise cut from a stored tile, which is only a copy; 0 is white noise."""
    nearest = min(GRAIN_WAVES_PX, key=lambda wave: abs(wave - wave_px))
    tile = _grain_tile(nearest)
    if rng.random() < 0.5:
        tile = tile.T
    row, col = (int(v) for v in rng.integers(0, TILE_PX, 2))
    fits = (max(TILE_PX - shape[0], 0), max(TILE_PX - shape[1], 0))
    if all(fits):
        row, col = row % fits[0], col % fits[1]
        return tile[row : row + shape[0], col : col + shape[1]]
    rows = (np.arange(shape[0]) + row) % TILE_PX
    cols = (np.arange(shape[1]) + col) % TILE_PX
    return tile[rows[:, None], cols[None, :]]


def _band(
    shape: tuple[int, int],
    wave_px: float,
    rng: np.random.Generator,
    stretch: float,
    angle_deg: float | None,
) -> Field:
    if stretch == 1.0:
        return np.ascontiguousarray(grain(shape, max(wave_px, 2.0), rng))
    turn = np.radians(rng.uniform(0, 360) if angle_deg is None else angle_deg)
    cos, sin = np.cos(turn) * TILE_WAVE_PX / wave_px, np.sin(turn) * TILE_WAVE_PX / wave_px
    shift = rng.uniform(0, TILE_PX, 2)
    to_tile = np.array([[cos / stretch, sin / stretch, shift[0]], [-sin, cos, shift[1]]])
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    tile = _tile(int(rng.integers(4)))
    return cv2.warpAffine(tile, to_tile, shape[::-1], flags=flags, borderMode=cv2.BORDER_WRAP)


def halved(shape: tuple[int, int], times: int) -> tuple[int, int]:
    """The shape after halving, rounded up, that many times."""
    for _ in range(times):
        shape = ((shape[0] + 1) // 2, (shape[1] + 1) // 2)
    return shape


def enlarge(field: Field, shape: tuple[int, int], times: int) -> Field:
    """Double a field that many times up to ``shape``; smoothly, so that its slopes show no grid when lit."""
    for left in range(times - 1, -1, -1):
        field = cv2.pyrUp(field, dstsize=halved(shape, left)[::-1])
    return field


def _halvings(wave_px: float) -> int:
    """How often noise of a wavelength can be halved before its waves get too short to draw."""
    return max(int(np.log2(wave_px / COARSE_WAVE_PX)), 0)


def band(
    shape: tuple[int, int],
    wave_px: float,
    rng: np.random.Generator,
    stretch: float = 1.0,
    angle_deg: float | None = None,
) -> Field:
    """Noise of one wavelength; ``stretch`` > 1 draws it out along ``angle_deg`` (from +x toward +row)."""
    times = _halvings(wave_px)
    small = _band(halved(shape, times), max(wave_px, 2.0) / 2**times, rng, stretch, angle_deg)
    return enlarge(small, shape, times)


def fractal(
    shape: tuple[int, int],
    coarse_px: float,
    fine_px: float,
    rng: np.random.Generator,
    roughness: float = 0.5,
    stretch: float = 1.0,
    angle_deg: float | None = None,
) -> Field:
    """Bands from ``coarse_px`` down by halves to ``fine_px``, each ``roughness`` times the one before.

    Each band is drawn no larger than it needs and the sum so far enlarged to meet it.
    """
    weight, power, wave = 1.0, 0.0, max(coarse_px, 2.0)
    times = _halvings(wave)
    field = np.zeros(halved(shape, times), np.float32)
    while True:
        now = _halvings(wave)
        field = enlarge(field, halved(shape, now), times - now)
        times = now
        cv2.scaleAdd(_band(field.shape, wave / 2**times, rng, stretch, angle_deg), weight, field, field)
        power += weight**2
        wave, weight = wave / 2, weight * roughness
        if wave < max(fine_px, 2.0) or weight < 0.02:
            break
    field = enlarge(field, shape, times)
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
    times = max(int(np.log2(size_px / CELL_PX)), 0)
    rows, cols = halved(shape, times)
    step = max(size_px / 2**times, 2.5)
    grid_r, grid_c = np.mgrid[-1 : rows / step + 1, -1 : cols / step + 1]
    jitter = rng.uniform(-0.6, 0.6, (2, *grid_r.shape))
    at_r = np.clip(((grid_r + jitter[0]) * step).astype(int).ravel(), 0, rows - 1)
    at_c = np.clip(((grid_c + jitter[1]) * step).astype(int).ravel(), 0, cols - 1)
    seeds = np.full((rows, cols), 255, np.uint8)
    seeds[at_r, at_c] = 0
    distance, labels = cv2.distanceTransformWithLabels(
        seeds, cv2.DIST_L2, cv2.DIST_MASK_5, labelType=cv2.DIST_LABEL_PIXEL
    )
    own = labels[at_r, at_c]
    count = int(labels.max()) + 1
    value_of, tilt_r, tilt_c = rng.standard_normal((3, count), dtype=np.float32)
    # A cell's tilted plane: (r - centre_r) tilt_r + (c - centre_c) tilt_c, its constant part taken per cell.
    level = np.zeros(count, np.float32)
    level[own] = at_r * tilt_r[own] + at_c * tilt_c[own]
    facet = tilt_r[labels] * np.arange(rows, dtype=np.float32)[:, None]
    facet += tilt_c[labels] * np.arange(cols, dtype=np.float32)
    facet = (facet - level[labels]) * np.float32(1 / step)
    distance += np.float32(irregular * 0.3 * step) * band((rows, cols), step * 0.7, rng)
    distance *= np.float32(1 / (0.75 * step))
    dome = 1 - np.clip(distance, 0, 1) ** 2
    return enlarge(dome, shape, times), enlarge(value_of[labels], shape, times), enlarge(facet, shape, times)
