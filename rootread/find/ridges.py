"""Roots as ridges: narrow, lasting a while along their direction, paler than both sides.

A line operator. At every pixel, direction and width the mean along a short
line is compared with the *paler* of the means along the two parallel lines
beside it. A shadow edge or the lit side of a clod is paler than one side only
and scores nothing; a lit cylinder is paler than both. The contrast counts in
units of the wall's own local noise, so that a threshold means the same on
smooth silt and on rough clods, in sun and in shade.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from rootread.components import lasting_pieces
from rootread.find.types import RootMap
from rootread.photo import to_linear
from rootread.plane.types import WallImage
from rootread.settings import FindSettings

Image = NDArray[np.float32]
Mask = NDArray[np.bool_]

DIRECTIONS = 12
"""Line directions over half a turn: 15 degrees apart, finer than the lines' own spread."""
LINE_IN = 0.35
"""Length of the line that is averaged: shorter than a 0.5 in wiggle, longer than a soil crumb."""
NOISE_BLOCK_IN = 0.7
QUIET_SHARE = 0.30
"""The noise is read off the quieter part of each block, which roots do not reach."""
QUIET_NORMAL = 0.385
"""The same quantile of \\|z\\| for a standard normal z."""
FAINTEST_CONTRAST = 0.004
"""Noise is never taken below this, in log luminance: half a grey level in a mid-grey."""
FILL_IN = 0.75
"""Reach of the soil's mean that fills what is not soil."""
# Luminance of linear sRGB (IEC 61966-2-1, ITU-R BT.709 primaries).
LUMINANCE = np.array([0.2126, 0.7152, 0.0722], dtype=np.float32)
# Side lines lie this many pixels off the centre line, at each of the two working reductions:
# together they cover widths from about 0.04 to 0.4 in at 72 px/in.
OFFSETS_PX = {2: (2.2, 3.5), 4: (3.0, 4.5, 7.0)}


@dataclass(frozen=True, eq=False)
class RidgeResponse:
    """What the line operator says at each pixel of the wall image, ``(M, N)`` each."""

    evidence: Image
    """Contrast over both sides in units of local noise."""
    middle: Image
    """Log luminance halfway between the ridge's centre and its sides."""
    tone: Image
    """Log luminance, lightly smoothed."""


def ridge_roots(image: WallImage, settings: FindSettings) -> RootMap:
    """Root map by the line operator, without any trained part."""
    response = ridge_response(image, settings.polarity)
    # A root's pixels are those beyond the half height of its profile, so that the mask has its width.
    on_ridge = (response.tone > response.middle) & image.soil
    mask = lasting_pieces(
        np.where(on_ridge, response.evidence, -np.inf),
        settings.ridge_low,
        settings.ridge_high,
        settings.ridge_min_piece_in * image.grid.px_per_in,
    )
    midway = (settings.ridge_low + settings.ridge_high) / 2
    probability = 1.0 / (1.0 + np.exp(-1.6 * (response.evidence - midway)))
    probability = np.where(on_ridge, probability, 0.4 * probability) * image.soil
    return RootMap(probability.astype(np.float32), mask, image.grid)


def ridge_response(image: WallImage, polarity: str) -> RidgeResponse:
    """The line operator at all widths; ``polarity`` says whether ridges are light or dark."""
    rows, columns = image.soil.shape
    size = (columns, rows)
    tone = log_tone(image)
    if polarity == "dark":
        tone = -tone
    evidence = np.full((rows, columns), -np.inf, dtype=np.float32)
    middle = np.zeros_like(evidence)
    for reduction, offsets_px in OFFSETS_PX.items():
        small = (max(columns // reduction, 1), max(rows // reduction, 1))
        small_tone = cv2.resize(tone, small, interpolation=cv2.INTER_AREA)
        small_soil = cv2.resize(image.soil.astype(np.uint8), small, interpolation=cv2.INTER_NEAREST) > 0
        line_in = LINE_IN if reduction == 2 else 1.6 * LINE_IN
        found = _line_operator(small_tone, small_soil, image.grid.px_per_in / reduction, line_in, offsets_px)
        found_evidence, found_middle = (
            cv2.resize(part, size, interpolation=cv2.INTER_LINEAR) for part in found
        )
        better = found_evidence > evidence
        evidence[better], middle[better] = found_evidence[better], found_middle[better]
    return RidgeResponse(evidence, middle, cv2.GaussianBlur(tone, (0, 0), 1.0))


def log_tone(image: WallImage) -> Image:
    """Log luminance, ``(M, N)``, off the soil filled with that of the soil nearby.

    In logarithms a change of light adds a constant, which the comparison of
    neighbouring lines takes out. Nothing else is subtracted: a blur taken away
    would leave a false ridge along every shadow edge.
    """
    luminance = to_linear(image.rgb) @ LUMINANCE
    tone = np.log(luminance + 0.01).astype(np.float32)
    return np.where(image.soil, tone, _mean_over_soil(tone, image.soil, FILL_IN * image.grid.px_per_in))


def _mean_over_soil(values: Image, soil: Mask, sigma_px: float) -> Image:
    # Blurred on a coarser grid: the blur is far wider than its pixels.
    reduction = max(1, int(sigma_px / 4))
    rows, columns = values.shape
    small = (max(1, columns // reduction), max(1, rows // reduction))
    weight = cv2.resize(soil.astype(np.float32), small, interpolation=cv2.INTER_AREA)
    total = cv2.resize(values * soil, small, interpolation=cv2.INTER_AREA)
    sigma = sigma_px / reduction
    mean = cv2.GaussianBlur(total, (0, 0), sigma) / np.maximum(cv2.GaussianBlur(weight, (0, 0), sigma), 1e-3)
    return cv2.resize(mean, (columns, rows), interpolation=cv2.INTER_LINEAR)


def _line_operator(
    tone: Image, soil: Mask, px_per_in: float, line_in: float, offsets_px: tuple[float, ...]
) -> tuple[Image, Image]:
    """Evidence and half height of the best line through each pixel, over directions and widths."""
    evidence = np.full(tone.shape, -np.inf, dtype=np.float32)
    middle = np.zeros_like(evidence)
    angles = np.arange(DIRECTIONS) * np.pi / DIRECTIONS
    for offset_px in offsets_px:
        smooth = cv2.GaussianBlur(tone, (0, 0), max(0.5, 0.3 * offset_px))
        contrast = np.full(tone.shape, -np.inf, dtype=np.float32)
        halfway = np.zeros_like(contrast)
        noise = []
        for k, angle in enumerate(angles):
            centre = cv2.filter2D(smooth, cv2.CV_32F, _line_kernel(angle, line_in * px_per_in))
            across = offset_px * np.array([-np.sin(angle), np.cos(angle)])
            side = np.maximum(_shifted(centre, across), _shifted(centre, -across))
            here = centre - side
            if k % (DIRECTIONS // 4) == 0:
                noise.append(_local_noise(here, soil, NOISE_BLOCK_IN * px_per_in))
            better = here > contrast
            contrast[better] = here[better]
            halfway[better] = 0.5 * (centre + side)[better]
        contrast /= np.mean(noise, axis=0) + FAINTEST_CONTRAST
        better = contrast > evidence
        evidence[better], middle[better] = contrast[better], halfway[better]
    return evidence, middle


def _line_kernel(angle: float, length_px: float) -> Image:
    """Anti-aliased line through the kernel's centre, fading toward its ends, summing to 1."""
    reach = int(np.ceil(length_px)) // 2 + 1
    row, column = np.mgrid[-reach : reach + 1, -reach : reach + 1]
    along = column * np.cos(angle) + row * np.sin(angle)
    across = -column * np.sin(angle) + row * np.cos(angle)
    kernel = np.clip(1 - np.abs(across), 0, 1) * np.exp(-0.5 * (along / (length_px / 3)) ** 2)
    return (kernel / kernel.sum()).astype(np.float32)


def _shifted(values: Image, by_px: NDArray[np.float64]) -> Image:
    move = np.array([[1, 0, by_px[0]], [0, 1, by_px[1]]], dtype=np.float32)
    size = (values.shape[1], values.shape[0])
    return cv2.warpAffine(values, move, size, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT)


def _local_noise(contrast: Image, soil: Mask, block_px: float) -> Image:
    """Standard deviation of the soil's own contrast, block by block, smoothed over neighbours."""
    block = max(8, int(block_px))
    rows, columns = max(1, contrast.shape[0] // block), max(1, contrast.shape[1] // block)
    block_rows, block_columns = min(block, contrast.shape[0]), min(block, contrast.shape[1])

    def blocks(values: NDArray[np.generic]) -> NDArray[np.generic]:
        trimmed = values[: rows * block_rows, : columns * block_columns]
        tiles = trimmed.reshape(rows, block_rows, columns, block_columns).swapaxes(1, 2)
        return tiles.reshape(rows, columns, -1)

    deviation = np.abs(contrast - np.median(contrast[::4, ::4]))
    tiles, on_soil = blocks(deviation), blocks(soil)
    enough = on_soil.mean(axis=2) > 0.2
    if not enough.any():
        return np.ones_like(contrast)
    # Off the soil the tone is a constant; sorting it to the end keeps it out of the quantile.
    ordered = np.sort(np.where(on_soil, tiles, np.inf), axis=2)
    rank = (QUIET_SHARE * on_soil.sum(axis=2)).astype(int)
    quiet = np.take_along_axis(ordered, rank[..., None], axis=2)[..., 0] / QUIET_NORMAL
    quiet = np.where(enough, quiet, np.median(quiet[enough])).astype(np.float32)
    if min(quiet.shape) >= 5:
        quiet = cv2.medianBlur(quiet, 5)
    quiet = cv2.GaussianBlur(quiet, (0, 0), 1.5)
    return cv2.resize(quiet, (contrast.shape[1], contrast.shape[0]), interpolation=cv2.INTER_LINEAR)
