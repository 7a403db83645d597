"""The fifteen common corruptions of images, each in five severities.

Written from the description in Hendrycks and Dietterich 2019 (Benchmarking
neural network robustness to common corruptions and perturbations, ICLR), not
from its code; the constants are from memory. Theirs are for pictures 224
pixels wide and are taken over as they are, in pixels of the photo: blurs and
blocks are then as large, against a root a few pixels wide, as against the things in
their pictures. Frost is drawn here as a crystal texture, since it needs no photos of ice.
"""

from collections.abc import Callable

import cv2
import numpy as np
from numpy.typing import NDArray

Rgb = NDArray[np.uint8]
Light = NDArray[np.float32]
"""``(M, N, 3)`` sRGB values 0 to 1: the corruptions are defined on these, not on linear light."""
Rng = np.random.Generator


def corrupt(rgb: Rgb, name: str, severity: int, rng: Rng) -> Rgb:
    """``(M, N, 3)`` sRGB with one corruption at severity 1 to 5."""
    changed = CORRUPTIONS[name](rgb.astype(np.float32) / 255, severity - 1, rng)
    return np.rint(255 * np.clip(changed, 0, 1)).astype(np.uint8)


def gaussian_noise(x: Light, k: int, rng: Rng) -> Light:
    return x + (0.08, 0.12, 0.18, 0.26, 0.38)[k] * rng.standard_normal(x.shape, np.float32)


def shot_noise(x: Light, k: int, rng: Rng) -> Light:
    photons = (60, 25, 12, 5, 3)[k]
    return (rng.poisson(x * photons) / photons).astype(np.float32)


def impulse_noise(x: Light, k: int, rng: Rng) -> Light:
    share = (0.03, 0.06, 0.09, 0.17, 0.27)[k]
    drawn = rng.random(x.shape, np.float32)
    return np.where(drawn < share / 2, 0.0, np.where(drawn > 1 - share / 2, 1.0, x)).astype(np.float32)


def defocus_blur(x: Light, k: int, rng: Rng) -> Light:
    radius, softness = ((3, 0.1), (4, 0.5), (6, 0.5), (8, 0.5), (10, 0.5))[k]
    across = np.arange(-radius, radius + 1)
    disc = (across[:, None] ** 2 + across**2 <= radius**2).astype(np.float32)
    disc = cv2.GaussianBlur(disc / disc.sum(), (0, 0), softness)
    return cv2.filter2D(x, -1, disc, borderType=cv2.BORDER_REFLECT)


def glass_blur(x: Light, k: int, rng: Rng) -> Light:
    sigma, reach, times = ((0.7, 1, 2), (0.9, 2, 1), (1.0, 2, 3), (1.1, 3, 2), (1.5, 4, 2))[k]
    x = cv2.GaussianBlur(x, (0, 0), sigma)
    rows, columns = np.indices(x.shape[:2])
    for _ in range(times):
        away = rng.integers(-reach, reach + 1, (2, *x.shape[:2]))
        x = x[np.clip(rows + away[0], 0, len(x) - 1), np.clip(columns + away[1], 0, x.shape[1] - 1)]
    return cv2.GaussianBlur(x, (0, 0), sigma)


def motion_blur(x: Light, k: int, rng: Rng) -> Light:
    radius, sigma = ((10, 3), (15, 5), (15, 8), (15, 12), (20, 15))[k]
    return _smeared(x, radius, sigma, rng.uniform(-45, 45))


def _smeared(x: Light, radius: float, sigma: float, angle_deg: float) -> Light:
    """Along a line that begins at the pixel: its weight falls off as a Gaussian."""
    along = np.arange(2 * radius + 1)
    weight = np.exp(-((along / sigma) ** 2) / 2)
    kernel = np.zeros((4 * int(radius) + 3,) * 2, np.float32)
    middle = 2 * int(radius) + 1
    ways = np.radians(angle_deg)
    rows = np.rint(middle + along * np.sin(ways)).astype(int)
    columns = np.rint(middle + along * np.cos(ways)).astype(int)
    np.add.at(kernel, (rows, columns), weight)
    return cv2.filter2D(x, -1, kernel / kernel.sum(), borderType=cv2.BORDER_REFLECT)


def zoom_blur(x: Light, k: int, rng: Rng) -> Light:
    end, step = ((1.11, 0.01), (1.16, 0.01), (1.21, 0.02), (1.26, 0.02), (1.31, 0.03))[k]
    zooms = np.arange(1, end, step)
    middle = ((x.shape[1] - 1) / 2, (x.shape[0] - 1) / 2)
    total = x.copy()
    for zoom in zooms:
        larger = cv2.getRotationMatrix2D(middle, 0, float(zoom))
        total += cv2.warpAffine(x, larger, x.shape[1::-1], borderMode=cv2.BORDER_REFLECT)
    return total / (len(zooms) + 1)


def snow(x: Light, k: int, rng: Rng) -> Light:
    mean, spread, size, least, radius, sigma, keep = (
        (0.1, 0.3, 3, 0.5, 10, 4, 0.8),
        (0.2, 0.3, 2, 0.5, 12, 4, 0.7),
        (0.55, 0.3, 4, 0.9, 12, 8, 0.7),
        (0.55, 0.3, 4.5, 0.85, 12, 8, 0.65),
        (0.55, 0.3, 2.5, 0.85, 12, 12, 0.55),
    )[k]
    rows, columns = x.shape[:2]
    small = rng.normal(mean, spread, (int(rows / size) + 1, int(columns / size) + 1)).astype(np.float32)
    flakes = cv2.resize(small, (columns, rows), interpolation=cv2.INTER_LINEAR)
    flakes = _smeared(np.where(flakes < least, 0, flakes), radius, sigma, rng.uniform(45, 135))[..., None]
    grey = x.mean(axis=2, keepdims=True)
    faded = keep * x + (1 - keep) * np.maximum(x, 1.5 * grey + 0.5)
    return faded + flakes + flakes[::-1, ::-1]


def frost(x: Light, k: int, rng: Rng) -> Light:
    keep, ice = ((1, 0.4), (0.8, 0.6), (0.7, 0.7), (0.65, 0.7), (0.6, 0.75))[k]
    # Crystals: fine streaks in every direction, thicker where a broad cloud of them grew.
    streaks = [
        _smeared(rng.standard_normal(x.shape[:2]).astype(np.float32), 20, 10, angle) for angle in (0, 60, 120)
    ]
    crystal = np.maximum.reduce(streaks)
    crystal = np.clip((crystal - crystal.mean()) / (4 * crystal.std()) + 0.3, 0, 1)
    cloud = np.clip(1.6 * _plasma(x.shape[:2], 1.8, rng) - 0.3, 0, 1)
    blue = np.array([0.85, 0.95, 1.0], np.float32)
    return keep * x + ice * (crystal * cloud)[..., None] * blue


def fog(x: Light, k: int, rng: Rng) -> Light:
    thickness, decay = ((1.5, 2), (2, 2), (2.5, 1.7), (2.5, 1.5), (3, 1.4))[k]
    brightest = float(x.max())
    return (x + thickness * _plasma(x.shape[:2], decay, rng)[..., None]) * brightest / (brightest + thickness)


def _plasma(shape: tuple[int, ...], decay: float, rng: Rng) -> Light:
    """Fractal clouds, ``(M, N)`` 0 to 1: each octave ``decay`` times fainter than the one twice as wide."""
    total = np.zeros(shape, np.float32)
    for octave in range(9):
        cells = 2 + 2**octave
        values = rng.random((min(cells, shape[0]), min(cells, shape[1])), np.float32)
        wide = cv2.resize(values, shape[::-1], interpolation=cv2.INTER_CUBIC)
        total += wide / decay**octave
    return (total - total.min()) / (total.max() - total.min())


def brightness(x: Light, k: int, rng: Rng) -> Light:
    hsv = cv2.cvtColor(x, cv2.COLOR_RGB2HSV)
    hsv[..., 2] = np.clip(hsv[..., 2] + (0.1, 0.2, 0.3, 0.4, 0.5)[k], 0, 1)
    return cv2.cvtColor(hsv, cv2.COLOR_HSV2RGB)


def contrast(x: Light, k: int, rng: Rng) -> Light:
    mean = x.mean(axis=(0, 1), keepdims=True)
    return (x - mean) * (0.4, 0.3, 0.2, 0.1, 0.05)[k] + mean


def elastic_transform(x: Light, k: int, rng: Rng) -> Light:
    alpha, sigma, turn = (
        (488, 170.8, 24.4),
        (488, 19.5, 48.8),
        (12.2, 2.44, 4.88),
        (17.1, 2.44, 4.88),
        (29.3, 2.44, 4.88),
    )[k]
    rows, columns = x.shape[:2]
    third = min(rows, columns) // 3
    middle = np.array([columns, rows], np.float32) / 2
    before = np.float32([middle + third, middle + np.float32([third, -third]), middle - third])
    after = before + rng.uniform(-turn, turn, (3, 2)).astype(np.float32)
    size = (columns, rows)
    x = cv2.warpAffine(x, cv2.getAffineTransform(before, after), size, borderMode=cv2.BORDER_REFLECT_101)
    away = [
        alpha * cv2.GaussianBlur(rng.uniform(-1, 1, (rows, columns)).astype(np.float32), (0, 0), sigma)
        for _ in range(2)
    ]
    at_y, at_x = np.indices((rows, columns), np.float32)
    return cv2.remap(x, at_x + away[0], at_y + away[1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT)


def pixelate(x: Light, k: int, rng: Rng) -> Light:
    share = (0.6, 0.5, 0.4, 0.3, 0.25)[k]
    small = cv2.resize(x, None, fx=share, fy=share, interpolation=cv2.INTER_AREA)
    return cv2.resize(small, x.shape[1::-1], interpolation=cv2.INTER_NEAREST)


def jpeg_compression(x: Light, k: int, rng: Rng) -> Light:
    bgr = np.rint(255 * x[..., ::-1]).astype(np.uint8)
    _, data = cv2.imencode(".jpg", bgr, [cv2.IMWRITE_JPEG_QUALITY, (25, 18, 15, 10, 7)[k]])
    return cv2.imdecode(data, cv2.IMREAD_COLOR)[..., ::-1].astype(np.float32) / 255


CORRUPTIONS: dict[str, Callable[[Light, int, Rng], Light]] = {
    "gaussian noise": gaussian_noise,
    "shot noise": shot_noise,
    "impulse noise": impulse_noise,
    "defocus": defocus_blur,
    "glass": glass_blur,
    "motion": motion_blur,
    "zoom": zoom_blur,
    "snow": snow,
    "frost": frost,
    "fog": fog,
    "brightness": brightness,
    "contrast": contrast,
    "elastic": elastic_transform,
    "pixelate": pixelate,
    "jpeg": jpeg_compression,
}
