"""What the camera wrote beside the picture: its name, focal length and distance to the wall."""

import math
from collections.abc import Mapping
from typing import Any

from PIL.ExifTags import IFD, Base

from rootread.units import MM_PER_IN

# Diagonal of a 36 x 24 mm frame: the 35 mm equivalent keeps the angle across the diagonal.
FULL_FRAME_DIAGONAL_MM = math.hypot(36.0, 24.0)
INCHES_PER_METRE = 1.0 / 0.0254
# Exif's FocalPlaneResolutionUnit: 2 inch, 3 centimetre; makers also write 4 mm and 5 micrometre.
MM_PER_RESOLUTION_UNIT = {2: MM_PER_IN, 3: 10.0, 4: 1.0, 5: 0.001}
# A photo of a wall is taken with neither a fisheye nor a telescope; other values are a camera's slip.
PLAUSIBLE_FOCAL_PER_DIAGONAL = (0.2, 10.0)

Tags = Mapping[int, Any]


def camera_name(tags: Tags) -> str | None:
    """Maker and model, the maker not said twice."""
    maker, model = (_text(tags.get(tag)) for tag in (Base.Make, Base.Model))
    if maker and model and not model.lower().startswith(maker.lower()):
        return f"{maker} {model}"
    return model or maker or None


def focal_length_px(tags: Tags, size_px: tuple[int, int]) -> float | None:
    """Focal length in pixels of a picture of ``size_px`` (columns, rows).

    From the 35 mm equivalent where the camera wrote one, since that follows a
    digital zoom; else from the focal plane resolution:

        f_px = f_35 * diagonal_px / 43.27 mm
        f_px = f_mm * pixels per mm on the sensor
    """
    diagonal_px = math.hypot(*size_px)
    focal_px = None
    equivalent_mm = _number(tags.get(Base.FocalLengthIn35mmFilm))
    if equivalent_mm:
        focal_px = equivalent_mm * diagonal_px / FULL_FRAME_DIAGONAL_MM
    else:
        focal_mm = _number(tags.get(Base.FocalLength))
        per_unit = _number(tags.get(Base.FocalPlaneXResolution))
        unit_mm = MM_PER_RESOLUTION_UNIT.get(tags.get(Base.FocalPlaneResolutionUnit, 2))
        if focal_mm and per_unit and unit_mm:
            focal_px = focal_mm * per_unit / unit_mm * _shrunk_by(tags, size_px)
    if focal_px is None:
        return None
    low, high = PLAUSIBLE_FOCAL_PER_DIAGONAL
    return focal_px if low <= focal_px / diagonal_px <= high else None


def subject_distance_in(tags: Tags) -> float | None:
    """The camera's own distance to its subject in inches; Exif's 0 and infinity are unknown."""
    metres = _number(tags.get(Base.SubjectDistance))
    # Exif writes infinity as a numerator of 2**32 - 1.
    return metres * INCHES_PER_METRE if metres and metres < 1000.0 else None


def all_tags(exif: Any) -> Tags:
    """The main and the camera directory of Pillow's ``Exif`` as one mapping."""
    return {**dict(exif), **dict(exif.get_ifd(IFD.Exif))}


def _shrunk_by(tags: Tags, size_px: tuple[int, int]) -> float:
    """How much smaller the picture is than the one the camera took, to undo a resize."""
    taken_px = [_number(tags.get(tag)) for tag in (Base.ExifImageWidth, Base.ExifImageHeight)]
    known = [side for side in taken_px if side]
    return max(size_px) / max(known) if len(known) == 2 else 1.0


def _number(value: object) -> float | None:
    """A positive finite number, or None."""
    try:
        number = float(value)  # type: ignore[arg-type]
    except (TypeError, ValueError, ZeroDivisionError, OverflowError):
        return None
    return number if math.isfinite(number) and number > 0 else None


def _text(value: object) -> str:
    return str(value).strip("\x00 \t\r\n") if isinstance(value, str) else ""
