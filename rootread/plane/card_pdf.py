"""The scale card as a PDF at true size.

Everything is drawn in card inches: x to the right and z down from the card's
centre, the coordinates in which ``card`` finds it again. The cross at the
centre is both the zero of x and the two lines to measure after printing, one
along and one across the paper, since a printer may stretch either.
"""

from pathlib import Path
from typing import Literal

import cv2
import numpy as np
from matplotlib import rc_context
from matplotlib.axes import Axes
from matplotlib.backends.backend_pdf import FigureCanvasPdf
from matplotlib.figure import Figure
from matplotlib.patches import Circle, PathPatch
from matplotlib.path import Path as Outline

from rootread.plane.card import A4_IN, CENTRES_IN, MARKER_IN, SHEET_IN

Paper = Literal["letter", "a4"]
PAPER_IN: dict[Paper, tuple[float, float]] = {"letter": SHEET_IN, "a4": A4_IN}

CELLS = 6
"""Cells across a marker of DICT_4X4_50: four of code in a black frame."""
CHECK_LINE_IN = 6.0
TICK_IN = 0.25
LINE_PT = 0.8
TEXT_PT = 9.5
HOLE_IN = 0.25
HOLE_BELOW_TOP_IN = 0.5

# Between the arms of the cross: left and top of each text, and the text. The white around the markers
# that their detection needs, one cell wide, stays free.
WORDS = (
    (
        -2.95,
        -2.62,
        "ROOTREAD SCALE CARD\n\n"
        "1  PRINT at 100 %, also called\n"
        '    actual size. Never "fit to page".\n'
        "    Use matte white paper.",
    ),
    (
        0.2,
        -2.62,
        "2  MEASURE both lines of this cross.\n"
        "    Each is 6 inches (152.4 mm) from\n"
        "    tick to tick. If one is off by more\n"
        "    than 1/64 inch, print again.",
    ),
    (
        -2.95,
        0.5,
        "3  MOUNT the sheet flat on a stiff\n"
        "    board of the same size, and punch\n"
        "    the hole. No gloss, no tape over\n"
        "    the black squares.",
    ),
    (
        0.2,
        0.5,
        "4  HANG it from a pin through the\n"
        "    hole so that it swings free and\n"
        "    comes to rest plumb, flush against\n"
        "    the cleaned wall face.",
    ),
)


def write_card_pdf(path: Path, paper: Paper = "letter") -> None:
    """Write the scale card to print.

    Four black markers of OpenCV's ``DICT_4X4_50``, ids 0-3 clockwise from the
    top left, 2.0 in a side, their centres 5.5 in across and 8.0 in down; the
    same inches on either paper. Equal calls write equal bytes.
    """
    width_in, height_in = PAPER_IN[paper]
    with rc_context({"pdf.fonttype": 3, "font.family": "DejaVu Sans", "svg.fonttype": "path"}):
        figure = Figure(figsize=(width_in, height_in))
        canvas = FigureCanvasPdf(figure)
        axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
        axes.set(xlim=(-width_in / 2, width_in / 2), ylim=(height_in / 2, -height_in / 2))
        axes.set_axis_off()
        for marker in range(4):
            axes.add_patch(_marker(marker))
        _draw_cross(axes)
        _draw_hole(axes)
        if height_in > SHEET_IN[1]:
            _draw_cuts(axes, width_in)
        for x_in, z_in, words in WORDS:
            axes.text(x_in, z_in, words, fontsize=TEXT_PT, va="top", linespacing=1.35)
        path.parent.mkdir(parents=True, exist_ok=True)
        # No date and no version of the drawing library, so that the file depends on the card alone.
        about = {"Title": "rootread scale card", "CreationDate": None, "Creator": None, "Producer": None}
        canvas.print_pdf(path, metadata=about)


def _marker(marker: int) -> PathPatch:
    """All black cells as one outline, so that no hairline shows between neighbours."""
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    black = cv2.aruco.generateImageMarker(dictionary, marker, CELLS) == 0
    cell_in = MARKER_IN / CELLS
    corner_in = CENTRES_IN[marker] - MARKER_IN / 2
    square = np.array([[0, 0], [1, 0], [1, 1], [0, 1], [0, 0]])
    cells = [
        Outline(corner_in + (square + np.array([column, row])) * cell_in, closed=True)
        for row, column in np.argwhere(black)
    ]
    return PathPatch(Outline.make_compound_path(*cells), facecolor="black", linewidth=0)


def _draw_cross(axes: Axes) -> None:
    half, tick = CHECK_LINE_IN / 2, TICK_IN / 2
    axes.hlines([0, -half, half], [-half, -tick, -tick], [half, tick, tick], "black", linewidth=LINE_PT)
    axes.vlines([0, -half, half], [-half, -tick, -tick], [half, tick, tick], "black", linewidth=LINE_PT)
    axes.text(half - 0.05, -0.06, "6 in", fontsize=TEXT_PT, ha="right", va="bottom")
    axes.text(0.06, half - 0.05, "6 in", fontsize=TEXT_PT, ha="left", va="bottom")


def _draw_hole(axes: Axes) -> None:
    z_in = HOLE_BELOW_TOP_IN - SHEET_IN[1] / 2
    axes.add_patch(Circle((0, z_in), HOLE_IN / 2, fill=False, linewidth=LINE_PT))
    arm = HOLE_IN * 0.8
    axes.hlines(z_in, -arm, arm, "black", linewidth=LINE_PT / 2)
    axes.vlines(0, z_in - arm, z_in + arm, "black", linewidth=LINE_PT / 2)
    axes.text(0, z_in + 0.3, "TOP: punch here", fontsize=TEXT_PT, ha="center", va="top")


def _draw_cuts(axes: Axes, width_in: float) -> None:
    """Where a taller paper is cut to the card's height."""
    half_in = SHEET_IN[1] / 2
    axes.hlines([-half_in, half_in], -width_in / 2, width_in / 2, "0.6", linewidth=0.4, linestyle="dashed")
    axes.text(width_in / 2 - 0.5, half_in - 0.06, "cut here", fontsize=7, color="0.4", ha="right")
