"""From a file to an upright sRGB picture.

Pillow reads the header, so that size and kind are known before any pixel is
decoded; OpenCV decodes plain JPEG, twice as fast and pixel for pixel the same.
Each kind of file has its own reader named here, rather than Pillow's search
through every plugin, so that nothing but a photo is ever decoded.
"""

import io
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image
from PIL.ExifTags import Base
from PIL.JpegImagePlugin import JpegImageFile
from PIL.PngImagePlugin import PngImageFile
from PIL.TiffImagePlugin import TiffImageFile
from pillow_heif import HeifImageFile

from rootread import infile
from rootread.errors import UnreadablePhoto
from rootread.photo.colour import MODES, by_profile, flat_srgb
from rootread.photo.exif import Tags, all_tags, camera_name, focal_length_px, subject_distance_in
from rootread.photo.types import Photo
from rootread.settings import PhotoSettings

Rgb = NDArray[np.uint8]

LARGEST_MB = 500.0
"""Of the file; a photo of 100 megapixels in 16 bits has more than this only when it is not packed at all."""
LONGEST_SHAPE = 12
"""Long side over short side; a panorama of a long wall has less."""
LONGEST_SIDE_PX = 32766
"""OpenCV looks up places in no larger picture."""
JPEG_BLOCK_PX = 64
"""Pixels of a block, for each of which Huffman codes take a bit or more (ITU-T T.81)."""
KINDS = "JPEG, PNG, TIFF or HEIC"
PHOTO_ENDINGS = {".jpg", ".jpeg", ".png", ".tif", ".tiff", ".heic", ".heif"}
HEIC_BRANDS = (b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1")

# What makes a stored picture upright, by Exif's Orientation tag.
UPRIGHT: dict[int, Callable[[Rgb], Rgb]] = {
    2: lambda rgb: cv2.flip(rgb, 1),
    3: lambda rgb: cv2.rotate(rgb, cv2.ROTATE_180),
    4: lambda rgb: cv2.flip(rgb, 0),
    5: cv2.transpose,
    6: lambda rgb: cv2.rotate(rgb, cv2.ROTATE_90_CLOCKWISE),
    7: lambda rgb: cv2.rotate(cv2.transpose(rgb), cv2.ROTATE_180),
    8: lambda rgb: cv2.rotate(rgb, cv2.ROTATE_90_COUNTERCLOCKWISE),
}


def holds_photos(folder: Path) -> bool:
    """Whether anything in a folder, or in one within it, is named as a photo."""
    return any(path.suffix.lower() in PHOTO_ENDINGS for path in folder.rglob("*"))


def read_photo(path: Path | str, settings: PhotoSettings | None = None) -> Photo:
    """Read a JPEG, PNG, TIFF or HEIC photo, upright and in sRGB.

    The first picture of a file with several is taken. ``flat_srgb`` says what
    becomes of other colour spaces, 16 bits and transparency.

    Raises
    ------
    UnreadablePhoto : the file is missing, damaged, of another kind, too small or too large.
    """
    path = Path(path)
    settings = settings or PhotoSettings()
    try:
        data = infile.content(path, LARGEST_MB)
    except OSError as error:
        raise UnreadablePhoto(
            f"{path.name}: cannot be opened ({error.strerror}).",
            infile.remedy(error, "Check the name and that it is a file."),
        ) from error
    image = _open(data, path.name)
    _check_size(image, settings, path.name)
    _check_fits_in_file(image, data, path.name)
    tags = _tags(image)
    rgb = _decode(image, data, path.name)
    return Photo(
        path=path,
        rgb=rgb,
        camera=camera_name(tags),
        focal_px=focal_length_px(tags, (rgb.shape[1], rgb.shape[0])),
        subject_distance_in=subject_distance_in(tags),
    )


def _open(data: bytes, name: str) -> Image.Image:
    """The header, read; no pixel is decoded yet."""
    if not data:
        raise UnreadablePhoto(f"{name}: the file is empty.", "Copy it from the camera again.")
    reader = _reader(data)
    if reader is None:
        raise UnreadablePhoto(f"{name}: not a {KINDS} file.", f"Save the photo as {KINDS}.")
    try:
        with _quietly():
            image = reader(io.BytesIO(data))
    except Exception as error:  # a decoder fed damaged bytes fails in more ways than can be listed
        raise _damaged(name) from error
    if image.mode not in MODES:
        raise UnreadablePhoto(
            f"{name}: its pixels are of a kind that is not read ({image.mode}).",
            "Save the photo as an ordinary JPEG, or as an 8 or 16-bit PNG or TIFF.",
        )
    return image


def _reader(data: bytes) -> Callable[[io.BytesIO], Image.Image] | None:
    """Pillow's reader for the file's first bytes; the file's name is not trusted."""
    if data.startswith(b"\xff\xd8\xff"):
        return JpegImageFile
    if data.startswith(b"\x89PNG\r\n\x1a\n"):
        return PngImageFile
    if data[:4] in (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+"):
        return TiffImageFile
    if data[4:8] == b"ftyp" and data[8:12] in HEIC_BRANDS:
        return HeifImageFile
    return None


def _check_size(image: Image.Image, settings: PhotoSettings, name: str) -> None:
    columns, rows = image.size
    megapixels = columns * rows / 1e6
    what = f"{name}: {columns} x {rows} pixels is {float(f'{megapixels:.2g}'):g} megapixels"
    if megapixels > settings.max_megapixels:
        raise UnreadablePhoto(
            f"{what}, more than the {settings.max_megapixels:g} allowed.",
            "Save it smaller, or raise max_megapixels in the settings if this machine has the memory.",
        )
    if max(columns, rows) > LONGEST_SHAPE * min(columns, rows):
        raise UnreadablePhoto(
            f"{name}: {columns} x {rows} pixels is a strip, not a photo of a wall.",
            "Use the camera's original.",
        )
    if max(columns, rows) > LONGEST_SIDE_PX:
        raise UnreadablePhoto(
            f"{name}: {max(columns, rows):,} pixels along one side; {LONGEST_SIDE_PX:,} is the most.",
            "Save it smaller, or as several photos of a part of the wall each.",
        )
    if megapixels < settings.min_megapixels:
        raise UnreadablePhoto(
            f"{what}, less than the {settings.min_megapixels:g} that roots need.",
            "Use the camera's original, not a preview or one sent by messenger.",
        )


def _check_fits_in_file(image: Image.Image, data: bytes, name: str) -> None:
    """Refuse a JPEG whose header states a picture that so few bytes cannot hold, before it is decoded."""
    columns, rows = image.size
    if image.format == "JPEG" and 8 * len(data) < columns * rows / JPEG_BLOCK_PX:
        raise UnreadablePhoto(
            f"{name}: the file is damaged or cut short ({len(data)} bytes for {columns} x {rows} pixels).",
            "Copy it from the camera again.",
        )


def _decode(image: Image.Image, data: bytes, name: str) -> Rgb:
    """The pixels, upright and sRGB."""
    try:
        with _quietly():
            rgb = _plain_jpeg(image, data)
            if rgb is None:
                rgb = flat_srgb(image)
    except Exception as error:  # as in _open
        raise _damaged(name) from error
    # Asked only now: Pillow turns a TIFF, and the HEIC decoder its picture, while decoding,
    # and both then clear the tag.
    orientation = _tags(image).get(Base.Orientation, 1)
    return UPRIGHT[orientation](rgb) if orientation in UPRIGHT else rgb


def _plain_jpeg(image: Image.Image, data: bytes) -> Rgb | None:
    """OpenCV's decoding of a grey or colour JPEG; None where Pillow is to do it."""
    profile = image.info.get("icc_profile")
    if image.format != "JPEG" or (image.mode != "RGB" and (image.mode != "L" or profile)):
        return None
    rgb = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR_RGB | cv2.IMREAD_IGNORE_ORIENTATION)
    if rgb is None or rgb.shape[1::-1] != image.size:
        return None
    return rgb if profile is None else np.asarray(by_profile(Image.fromarray(rgb), profile))


def _tags(image: Image.Image) -> Tags:
    """Exif tags; none where they are damaged, since the picture itself may be whole."""
    try:
        with _quietly():
            return all_tags(image.getexif())
    except Exception:  # as in _open
        return {}


@contextmanager
def _quietly() -> Iterator[None]:
    """Without Pillow's warnings of damaged tags: what cannot be read without them is refused in words."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", UserWarning)
        yield


def _damaged(name: str) -> UnreadablePhoto:
    """What the decoder says of it helps nobody at the pit; it stays with the error as its cause."""
    return UnreadablePhoto(f"{name}: the file is damaged or cut short.", "Copy it from the camera again.")
