"""Pictures as JPEG, and as text that a page carries inside itself."""

import base64
import io

import cv2
from PIL import Image

from rootread.report.strokes import Picture

QUALITY = 88


def jpeg(picture: Picture, quality: int = QUALITY) -> bytes:
    """An sRGB picture as JPEG; colour at full resolution, so that thin coloured lines stay clear."""
    content = io.BytesIO()
    Image.fromarray(picture).save(content, "JPEG", quality=quality, subsampling=0)
    return content.getvalue()


def data_uri(picture: Picture, width_px: int, quality: int) -> str:
    """A picture, no wider than ``width_px``, as a ``data:`` address."""
    height, width = picture.shape[:2]
    if width > width_px:
        size = width_px, max(round(height * width_px / width), 1)
        picture = cv2.resize(picture, size, interpolation=cv2.INTER_AREA)
    return "data:image/jpeg;base64," + base64.b64encode(jpeg(picture, quality)).decode("ascii")
