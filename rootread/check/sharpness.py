"""Is the wall sharp at the size of a root? Asked all over the wall, not on the frame's average."""

import cv2
import numpy as np
from skimage.measure import blur_effect

from rootread.check.types import Finding, State
from rootread.plane import WallImage
from rootread.units import MM_PER_IN, length_words

PX_PER_MM_LOOK, PX_PER_MM_BAD = 2.5, 1.5
"""A 1 mm root is followed from 2.5 pixels of width on; below 1.5 it hardly shows."""
BLUR_LOOK, BLUR_BAD = 0.62, 0.70
"""Blur effect at 2.5 px per mm. On the twelve benchmark walls: 0.42-0.52 as they are; blurred by a Gaussian
of 0.4 mm 0.55-0.62, of 0.6 mm 0.64-0.68, of 0.8 mm 0.71-0.75."""
BLOCKS = (3, 4)


def pixels_per_mm(px_per_in: float) -> Finding:
    """Whether a 1 mm root is wide enough in pixels."""
    px_per_mm = px_per_in / MM_PER_IN
    state: State = "bad" if px_per_mm < PX_PER_MM_BAD else "look" if px_per_mm < PX_PER_MM_LOOK else "good"
    remedy = "" if state == "good" else "Go nearer, or use the camera's full resolution; no digital zoom."
    return Finding("pixels", state, f"{_thin_root()} is {px_per_mm:.1f} pixels wide", remedy)


def _thin_root() -> str:
    """The thinnest root that is followed well, in the unit shown."""
    return f"a root of {length_words(1 / MM_PER_IN, 2)}"


def sharpness(image: WallImage) -> Finding:
    """Blur at root size, in each of twelve parts of the wall.

    The blur effect of Crete et al. 2007 (scikit-image's ``blur_effect``): how
    little a further blur changes the picture, 0 to 1. Each part is first
    brought to the resolution at which a 1 mm root is 2.5 pixels wide, so that
    the figure speaks of roots and not of pixels.
    """
    blur = blur_of_parts(image)
    if not len(blur):
        return Finding("sharpness", "look", "too little wall in the photo to tell", "Show more of the wall.")
    middle, worst = float(np.median(blur)), float(blur.max())
    state: State = "bad" if middle > BLUR_BAD else "look" if worst > BLUR_LOOK else "good"
    if state == "good":
        return Finding("sharpness", "good", "sharp all over the wall")
    share = float((blur > BLUR_LOOK).mean())
    return Finding(
        "sharpness",
        state,
        f"{100 * share:.0f} % of the wall is too soft for {_thin_root()}",
        "Hold still or rest the camera, focus on the wall, wipe the lens, and take it again.",
    )


def blur_of_parts(image: WallImage) -> np.ndarray:
    """Blur effect of each part of the wall that is mostly soil, ``(K,)``."""
    zoom = min(PX_PER_MM_LOOK * MM_PER_IN / image.grid.px_per_in, 1.0)
    grey = cv2.cvtColor(image.rgb, cv2.COLOR_RGB2GRAY)
    grey = cv2.resize(grey, None, fx=zoom, fy=zoom, interpolation=cv2.INTER_AREA)
    soil = cv2.resize(image.soil.astype(np.uint8), grey.shape[::-1], interpolation=cv2.INTER_NEAREST) > 0
    found = []
    for rows in np.array_split(np.arange(grey.shape[0]), BLOCKS[0]):
        for columns in np.array_split(np.arange(grey.shape[1]), BLOCKS[1]):
            part = np.ix_(rows, columns)
            if soil[part].mean() > 0.8 and min(len(rows), len(columns)) > 32:
                found.append(blur_effect(grey[part], h_size=7))
    return np.array(found)
