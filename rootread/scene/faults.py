"""What the camera makes of the light: blur, exposure, noise, tone, sharpening, JPEG."""

from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from rootread.scene.describe import Faults, Scene
from rootread.scene.noise import grain

STRIP_ROWS = 96
LEVELS = 4096
"""Steps of the tone table."""
BRIGHTEST = 4.0
"""Linear light that burns out."""
MID_GREY = 0.17
"""Where exposure puts the soil's mean, in linear light."""


def exposure_gain(scene: Scene) -> float:
    """Gain of a camera that meters the face, without fully lifting dark soils or dimming pale ones."""
    soil = (np.mean(scene.ground.topsoil_rgb) + np.mean(scene.ground.subsoil_rgb)) / 2
    sun, sky = np.mean(scene.light.sun_rgb) * scene.light.to_sun[2] * 0.6, np.mean(scene.light.sky_rgb) * 0.8
    return float(MID_GREY / (soil**0.6 * 0.15**0.4) / (sun + sky) * scene.faults.exposure)


@lru_cache(maxsize=64)
def _tone(contrast: float) -> NDArray[np.uint8]:
    """Square root of linear light, 0 to ``BRIGHTEST`` in ``LEVELS`` steps, to 8 bits.

    A shoulder as of film, 1 - exp(-x), then the sRGB curve, then an S-shaped contrast.
    """
    x = np.linspace(0, np.sqrt(BRIGHTEST), LEVELS) ** 2
    x = 1 - np.exp(-1.2 * x)
    y = np.where(x < 0.0031308, 12.92 * x, 1.055 * np.power(np.maximum(x, 1e-9), 1 / 2.4) - 0.055)
    y += contrast * (y * y * (3 - 2 * y) - y)
    return np.rint(255 * np.clip(y, 0, 1)).astype(np.uint8)


def blur_kernel(faults: Faults, scale: float) -> NDArray[np.float32] | None:
    """Defocus disc and camera shake together, or None where they are too small to matter."""
    radius, shake = faults.defocus_px * scale, faults.motion_px * scale
    if radius < 0.3 and shake < 0.7:
        return None
    reach = int(np.ceil(radius + shake / 2)) + 1
    fine = 5
    grid = (np.arange((2 * reach + 1) * fine) + 0.5) / fine - reach - 0.5
    xx, yy = np.meshgrid(grid, grid)
    turn = np.radians(faults.motion_deg)
    along = np.clip(xx * np.cos(turn) + yy * np.sin(turn), -shake / 2, shake / 2)
    off = np.hypot(xx - along * np.cos(turn), yy - along * np.sin(turn))
    disc = (off <= max(radius, 0.5)).astype(np.float32)
    kernel = disc.reshape(2 * reach + 1, fine, 2 * reach + 1, fine).mean(axis=(1, 3))
    return np.asarray(kernel / kernel.sum(), np.float32)


def corner_share(shape: tuple[int, int], rows: slice = np.s_[:]) -> NDArray[np.float32]:
    """``(M, N)`` squared distance from the photo's middle, 1 at its corners, for some of its rows."""
    row = (np.arange(shape[0], dtype=np.float32)[rows, None] - (shape[0] - 1) / 2) ** 2
    col = (np.arange(shape[1], dtype=np.float32)[None, :] - (shape[1] - 1) / 2) ** 2
    return ((row + col) * (4 / (shape[0] ** 2 + shape[1] ** 2))).astype(np.float32)


def develop(
    linear: NDArray[np.float32], scene: Scene, scale: float, rng: np.random.Generator, vignette: float = 0.0
) -> NDArray[np.uint8]:
    """``(M, N, 3)`` radiance to 8-bit sRGB, with all faults but the file's.

    ``scale`` is pixels of this picture to a pixel of a 3000-pixel-wide photo.
    """
    faults = scene.faults
    kernel = blur_kernel(faults, scale)
    if kernel is not None:
        linear = cv2.filter2D(linear, -1, kernel, borderType=cv2.BORDER_REPLICATE)
    gain = (exposure_gain(scene) * np.array(faults.balance)).astype(np.float32)
    tone = _tone(round(faults.contrast, 2))
    per_level = np.float32((LEVELS - 1) / np.sqrt(BRIGHTEST))
    photo = np.empty(linear.shape, np.uint8)
    for top in range(0, len(linear), STRIP_ROWS):
        rows = np.s_[top : top + STRIP_ROWS]
        strip = linear[rows] * gain
        if vignette > 0:
            strip *= 1 - np.float32(vignette) * corner_share(linear.shape[:2], rows)[..., None]
        if faults.noise > 0:
            strip += _noise(strip, faults, rng)
        root = cv2.sqrt(np.clip(strip, 0, BRIGHTEST))
        photo[rows] = tone[(root * per_level).astype(np.uint16)]
    if abs(faults.saturation - 1) > 0.03:
        s = faults.saturation
        luma = np.array([0.299, 0.587, 0.114]) * (1 - s)
        photo = cv2.transform(photo, np.eye(3) * s + np.ones((3, 1)) * luma[None, :])
    if faults.sharpen > 0.05:
        soft = cv2.GaussianBlur(photo, (0, 0), max(1.1 * scale, 0.6))
        photo = cv2.addWeighted(photo, 1 + faults.sharpen, soft, -faults.sharpen, 0)
    return photo


def _noise(linear: NDArray[np.float32], faults: Faults, rng: np.random.Generator) -> NDArray[np.float32]:
    """Sensor noise: its spread grows with the root of the light, over a floor (photon and read noise)."""
    wave = 0.0 if faults.noise_grain_px < 0.6 else 2.6 * faults.noise_grain_px
    spread = cv2.sqrt(np.maximum(linear, 0) * np.float32(0.4) + np.float32(0.01))
    shared = 0.6 * grain(linear.shape[:2], wave, rng)
    own = [shared + 0.8 * grain(linear.shape[:2], wave, rng) for _ in range(3)]
    return np.stack(own, axis=-1) * spread * np.float32(faults.noise)


def compress(photo: NDArray[np.uint8], faults: Faults) -> bytes:
    """The JPEG file of an RGB photo."""
    sampling = (
        cv2.IMWRITE_JPEG_SAMPLING_FACTOR_420 if faults.chroma_halved else cv2.IMWRITE_JPEG_SAMPLING_FACTOR_444
    )
    options = [cv2.IMWRITE_JPEG_QUALITY, faults.jpeg_quality, cv2.IMWRITE_JPEG_SAMPLING_FACTOR, sampling]
    _, data = cv2.imencode(".jpg", cv2.cvtColor(photo, cv2.COLOR_RGB2BGR), options)
    return bytes(data)


def decompress(data: bytes) -> NDArray[np.uint8]:
    """RGB pixels of a JPEG file."""
    return cv2.cvtColor(cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR), cv2.COLOR_BGR2RGB)
