"""Pictures in every kind of file that is read, and ways to damage bytes."""

import io
import struct
import zlib
from collections.abc import Callable
from functools import cache
from typing import Any

import cv2
import numpy as np
from PIL import Image

from rootread.scene import draw_scene, render

Rng = np.random.Generator

TINY_PX = (96, 72)
"""Readers are fed pictures of this size, with the smallest size allowed set to nothing."""
WALL_PX = (900, 675)
"""A whole reading takes about a second at this size."""


@cache
def _wall() -> np.ndarray[Any, Any]:
    """A made wall with a card, which is read when nothing is wrong with it."""
    scene = draw_scene(np.random.default_rng(3), kind="blocked", difficulty="clean", scale="card")
    return render(scene, WALL_PX).rgb


@cache
def _card() -> np.ndarray[Any, Any]:
    """1 where the made wall shows its card, and a little around it."""
    from rootread.fieldsheet import default_row
    from rootread.photo import Photo
    from rootread.plane import find_plane
    from rootread.settings import Settings

    wall = _wall()
    outline = find_plane(Photo(None, wall), default_row("wall"), None, Settings().plane).scale.outlines_px[0]
    shown = np.zeros(wall.shape[:2], np.uint8)
    cv2.fillPoly(shown, [outline.astype(np.int32)], 1)
    return cv2.dilate(shown, np.ones((21, 21), np.uint8))


def netted(rng: Rng, size: tuple[int, int]) -> np.ndarray[Any, Any]:
    """The made wall behind grass, netting or hundreds of crossing lines, its card before those."""
    wall, card = (cv2.resize(picture, size, interpolation=cv2.INTER_AREA) for picture in (_wall(), _card()))
    over = wall.copy()
    way = str(rng.choice(["grass", "netting", "lines"]))
    broad = float(rng.uniform(0.002, 0.006)) * size[0]
    t = np.linspace(0, 1, 40)[:, None]
    for number in range(count := int(2 ** rng.uniform(4, 12))):
        start, angle = rng.random(2) * size, float(rng.uniform(0, np.pi))
        long = float(rng.uniform(0.2, 0.9)) * size[0]
        if way == "grass":
            angle, long = float(rng.normal(np.pi / 2, 0.4)), 0.25 * long
        elif way == "netting":
            angle, long = np.pi / 2 * (number % 2), 2.0 * size[0]
            start = np.array(size) * number / count
        along = np.array([np.cos(angle), np.sin(angle)])
        bow = float(rng.normal(0, 0.06)) * np.sin(np.pi * t) * along[::-1] * [-1, 1]
        points = start + long * ((t - 0.5) * along + bow * (way != "netting"))
        pale = rng.integers(150, 236) * np.array([1.0, 0.9, 0.7])
        line = [np.round(points * 16).astype(np.int32)]
        cv2.polylines(over, line, False, pale.tolist(), max(round(broad), 1), cv2.LINE_AA, 4)
    over = np.where(card[..., None] > 0, wall, cv2.GaussianBlur(over, (0, 0), 0.7))
    return np.clip(over + rng.normal(0, 4, over.shape), 0, 255).astype(np.uint8)


def encoded(image: Image.Image, kind: str, **options: Any) -> bytes:
    file = io.BytesIO()
    image.save(file, kind, **options)
    return file.getvalue()


@cache
def pictures(size: tuple[int, int]) -> dict[str, bytes]:
    """The same wall in every kind of file that is read, by name."""
    import pillow_heif

    pillow_heif.register_heif_opener()
    wall = Image.fromarray(cv2.resize(_wall(), size, interpolation=cv2.INTER_AREA))
    exif = Image.Exif()
    exif[0x0112], exif[0x010F], exif[0x0110] = 6, "Maker", "Model"
    exif.get_ifd(0x8769).update({0x920A: 4.2, 0xA405: 26, 0x9206: 1.5})
    alpha = wall.copy()
    alpha.putalpha(Image.linear_gradient("L").resize(size))
    deep = Image.fromarray(np.asarray(wall.convert("L")).astype(np.uint16) * 257)
    return {
        "plain.jpg": encoded(wall, "JPEG", quality=88, exif=exif),
        "progressive.jpg": encoded(wall, "JPEG", quality=80, progressive=True, subsampling=2),
        "grey.jpg": encoded(wall.convert("L"), "JPEG"),
        "cmyk.jpg": encoded(wall.convert("CMYK"), "JPEG"),
        "plain.png": encoded(wall, "PNG"),
        "alpha.png": encoded(alpha, "PNG"),
        "palette.png": encoded(wall.quantize(32), "PNG", transparency=3),
        "deep.png": encoded(deep, "PNG"),
        "plain.tif": encoded(wall, "TIFF"),
        "lzw.tif": encoded(wall, "TIFF", compression="tiff_lzw", exif=exif),
        "jpeg.tif": encoded(wall, "TIFF", compression="jpeg"),
        "two.tif": encoded(wall, "TIFF", save_all=True, append_images=[wall.convert("L")]),
        "plain.heic": encoded(wall, "HEIF", quality=60),
    }


def jpeg_claiming(data: bytes, columns: int, rows: int) -> bytes:
    """A JPEG whose header states another size (start of frame: marker, length, bits, rows, columns)."""
    at = max(data.find(b"\xff\xc0"), data.find(b"\xff\xc2"))
    return data[: at + 5] + struct.pack(">HH", min(rows, 65535), min(columns, 65535)) + data[at + 9 :]


def png_claiming(data: bytes, columns: int, rows: int) -> bytes:
    """A PNG whose header, with its checksum, states another size."""
    header = b"IHDR" + struct.pack(">II", columns, rows) + data[24:29]
    return data[:12] + header + struct.pack(">I", zlib.crc32(header)) + data[33:]


def empty_png(columns: int, rows: int, channels: int = 3, bits: int = 8) -> bytes:
    """A true PNG of nothing but zeros: a few kilobytes that decode to hundreds of megabytes."""
    packer = zlib.compressobj(1)
    row = bytes(1 + columns * channels * bits // 8)
    body = b"".join(packer.compress(row) for _ in range(rows)) + packer.flush()
    colour = {1: 0, 3: 2, 4: 6}[channels]

    def chunk(name: bytes, content: bytes) -> bytes:
        return (
            struct.pack(">I", len(content)) + name + content + struct.pack(">I", zlib.crc32(name + content))
        )

    header = struct.pack(">IIBBBBB", columns, rows, bits, colour, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", body) + chunk(b"IEND", b"")


# Damage to bytes -----------------------------------------------------------------------------------------


def cut(data: bytes, rng: Rng) -> bytes:
    return data[: int(rng.integers(0, len(data)))]


def flipped(data: bytes, rng: Rng, first: int = 0) -> bytes:
    """One to two hundred bits turned over, half of the time among the first 700 bytes."""
    content = bytearray(data)
    end = len(content) if rng.random() < 0.5 else min(700, len(content))
    for place in rng.integers(min(first, end - 1), end, int(2 ** rng.uniform(0, 7.6))):
        content[place] ^= 1 << int(rng.integers(8))
    return bytes(content)


def mangled(data: bytes, rng: Rng) -> bytes:
    """A block blanked, doubled, taken out, filled with noise, or the tail of the file put first."""
    start = int(rng.integers(len(data)))
    stop = start + int(rng.integers(1, max(len(data) // 4, 2)))
    block = data[start:stop]
    middle = {
        0: bytes(len(block)),
        1: block + block,
        2: b"",
        3: rng.bytes(len(block)),
        4: b"\xff" * len(block),
    }[int(rng.integers(5))]
    return data[:start] + middle + data[stop:]


def damaged(data: bytes, rng: Rng) -> bytes:
    how: Callable[[bytes, Rng], bytes] = (cut, flipped, mangled)[int(rng.integers(3))]
    return how(data, rng)


def huge_or_odd(data: bytes, name: str, rng: Rng) -> bytes:
    columns, rows = (int(2 ** rng.uniform(0, 31)) for _ in range(2))
    if name.endswith(".jpg"):
        return jpeg_claiming(data, columns, rows)
    if name.endswith(".png"):
        return png_claiming(data, columns, rows)
    return flipped(data, rng)
