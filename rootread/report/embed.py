"""Pictures as JPEG, and as text that a page carries inside itself."""

import base64
import io

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from rootread.report.shrink import shrunk
from rootread.report.strokes import Picture, Sheet

QUALITY = 88
SHEET_COLOURS = 256
"""Marks have few colours; a palette makes the sheet a fifth as large as full colour would."""


def jpeg(picture: Picture, quality: int = QUALITY) -> bytes:
    """An sRGB picture as JPEG; colour at full resolution, so that thin coloured lines stay clear."""
    content = io.BytesIO()
    Image.fromarray(picture).save(content, "JPEG", quality=quality, subsampling=0)
    return content.getvalue()


def photo_uri(picture: Picture, width_px: int, quality: int) -> str:
    """A photo without lines on it, no wider than ``width_px``, as a ``data:`` address.

    Colour has half the resolution of lightness, as in the photos themselves.
    """
    content = io.BytesIO()
    small = Image.fromarray(_no_wider(picture, width_px))
    small.save(content, "JPEG", quality=quality, subsampling=2, optimize=True)
    return _address("jpeg", content)


def sheet_uri(sheet: Sheet, width_px: int) -> str:
    """A sheet of marks, no wider than ``width_px``, as a ``data:`` address of a picture with opacity."""
    small = _no_wider(sheet, width_px)
    # A PNG holds colours as they are, a sheet holds them times their opacity.
    veiled = (small[:, :, 3] > 0) & (small[:, :, 3] < 255)
    dimmed = small[veiled].astype(np.float32)
    small = small.copy()
    small[veiled, :3] = np.clip(np.round(dimmed[:, :3] * (255 / dimmed[:, 3:])), 0, 255)
    image = Image.fromarray(small)
    content = io.BytesIO()
    palette = image.quantize(SHEET_COLOURS, method=Image.Quantize.FASTOCTREE)
    palette.save(content, "PNG")
    return _address("png", content)


def _no_wider(picture: NDArray[np.uint8], width_px: int) -> NDArray[np.uint8]:
    height, width = picture.shape[:2]
    if width <= width_px:
        return picture
    return shrunk(picture, (width_px, max(round(height * width_px / width), 1)))


def _address(kind: str, content: io.BytesIO) -> str:
    return f"data:image/{kind};base64," + base64.b64encode(content.getvalue()).decode("ascii")
