"""The roots as SVG lines over the photo, to look at, edit and print at any size."""

import base64
import xml.etree.ElementTree as ET
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

from rootread.geometry import Points
from rootread.measure.types import RootReading
from rootread.wall import Wall

PHOTO_LONGEST_PX = 2400
"""The photo beneath is shrunk to this, so that the file opens on any machine; the lines are exact."""
PHOTO_QUALITY = 82
COLOURS = ("#f0e442", "#56b4e9", "#cc79a7")
"""Of main roots, laterals and their laterals: of the palette of Okabe and Ito, told apart by all."""
SURFACE_COLOUR = "#ffffff"
PENS_ACROSS = 900
"""So many pen strokes side by side would fill the photo's width."""


def overlay_svg(wall: Wall) -> bytes:
    """The photo with every root as a path in photo pixels; bridged stretches are dashed."""
    height, width = wall.photo.rgb.shape[:2]
    top = ET.Element(
        "svg",
        {
            "xmlns": "http://www.w3.org/2000/svg",
            "xmlns:xlink": "http://www.w3.org/1999/xlink",
            "viewBox": f"0 0 {width} {height}",
        },
    )
    ET.SubElement(top, "title").text = f"Roots of {wall.name}"
    # Pixel centres are at whole numbers here, at halves in SVG.
    picture = {"x": "0", "y": "0", "width": str(width), "height": str(height)}
    ET.SubElement(top, "image", picture | {"xlink:href": _photo_uri(wall.photo.rgb)})
    pen_px = max(width / PENS_ACROSS, 1.0)
    shifted = {"transform": "translate(0.5 0.5)", "fill": "none", "stroke-width": f"{pen_px:.2f}"}
    ends = {"stroke-linecap": "round", "stroke-linejoin": "round"}
    lines = ET.SubElement(top, "g", shifted | ends)
    surface = _path(wall.plane.to_photo_px(wall.plane.surface.line_in))
    ET.SubElement(lines, "path", {"id": "surface", "d": surface, "stroke": SURFACE_COLOUR})
    for root in wall.readings.roots:
        _root(lines, root, wall, pen_px)
    return ET.tostring(top, encoding="utf-8", xml_declaration=True)


def _root(above: ET.Element, root: RootReading, wall: Wall, pen_px: float) -> None:
    trace = root.trace
    colour = COLOURS[min(trace.order, len(COLOURS) - 1)]
    group = ET.SubElement(above, "g", {"id": trace.id, "class": f"order-{trace.order}", "stroke": colour})
    cut = ", cut" if trace.cut else ""
    ET.SubElement(group, "title").text = (
        f"{trace.id}: {root.length_in:.1f} in, {root.descent_deg:.0f} degrees, "
        f"confidence {trace.confidence:.2f}{cut}"
    )
    points_px = wall.plane.to_photo_px(trace.points)
    for start, end in _stretches(trace.inferred):
        way = {"d": _path(points_px[max(start - 1, 0) : end])}
        if trace.inferred[start]:
            way |= {"class": "inferred", "stroke-dasharray": f"{3 * pen_px:.1f} {3 * pen_px:.1f}"}
        ET.SubElement(group, "path", way)


def _stretches(flags: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Runs of equal values: where each begins and ends."""
    bounds = [0, *(np.flatnonzero(np.diff(flags)) + 1).tolist(), len(flags)]
    return [(start, end) for start, end in pairwise(bounds) if end > start]


def _path(points_px: Points) -> str:
    return "M" + " ".join(f"{x:.1f},{y:.1f}" for x, y in points_px)


def _photo_uri(rgb: NDArray[np.uint8]) -> str:
    shrink = min(PHOTO_LONGEST_PX / max(rgb.shape[:2]), 1.0)
    small = cv2.resize(rgb, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA) if shrink < 1 else rgb
    _, jpeg = cv2.imencode(
        ".jpg", cv2.cvtColor(small, cv2.COLOR_RGB2BGR), [cv2.IMWRITE_JPEG_QUALITY, PHOTO_QUALITY]
    )
    return "data:image/jpeg;base64," + base64.b64encode(jpeg.tobytes()).decode("ascii")
