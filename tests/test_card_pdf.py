"""The printed card is the size it says, on either paper: measured on the rendered sheet."""

from pathlib import Path

import cv2
import numpy as np
import pypdfium2
import pytest
from numpy.typing import NDArray

from rootread.plane.card_pdf import write_card_pdf

KEPT = Path(__file__).parents[1] / "calibration"
PAPERS_IN = {"letter": (8.5, 11.0), "a4": (210 / 25.4, 297 / 25.4)}
PX_PER_IN = 288.0
SIZE_SHARE = 0.001  # of any length on the card
PLACE_IN = 0.004  # of any place on the card

# The card as the design states it: ids clockwise from the top left, inches from the sheet's centre.
CENTRES_IN = {0: (-2.75, -4.0), 1: (2.75, -4.0), 2: (2.75, 4.0), 3: (-2.75, 4.0)}
SIDE_IN = 2.0


def rendered(path: Path) -> NDArray[np.uint8]:
    document = pypdfium2.PdfDocument(path)
    try:
        assert len(document) == 1
        page = document[0].render(scale=PX_PER_IN / 72, grayscale=True)
        return page.to_numpy().squeeze().copy()
    finally:
        document.close()


@pytest.fixture(scope="module", params=sorted(PAPERS_IN))
def printed(request, tmp_path_factory):
    path = tmp_path_factory.mktemp("card") / "card.pdf"
    write_card_pdf(path, request.param)
    return request.param, path, rendered(path)


def to_card_in(places_px: NDArray[np.float64], paper: str) -> NDArray[np.float64]:
    """Pixels of the sheet to inches from its centre; the first pixel's centre is half a pixel in."""
    return (places_px + 0.5) / PX_PER_IN - np.array(PAPERS_IN[paper]) / 2


def markers_on(sheet: NDArray[np.uint8], paper: str) -> dict[int, NDArray[np.float64]]:
    parameters = cv2.aruco.DetectorParameters()
    parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    detector = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50), parameters)
    corners, ids, _ = detector.detectMarkers(sheet)
    assert ids is not None
    return {
        int(marker): to_card_in(quad.reshape(4, 2).astype(float), paper)
        for marker, quad in zip(ids.ravel(), corners, strict=True)
    }


def test_the_page_is_the_paper(printed):
    paper, path, _ = printed
    document = pypdfium2.PdfDocument(path)
    size_in = np.array(document[0].get_size()) / 72
    document.close()
    assert size_in == pytest.approx(PAPERS_IN[paper], rel=1e-4)


def test_four_markers_lie_where_the_design_puts_them(printed):
    paper, _, sheet = printed
    found = markers_on(sheet, paper)
    assert sorted(found) == [0, 1, 2, 3]
    for marker, centre in CENTRES_IN.items():
        assert found[marker].mean(axis=0) == pytest.approx(centre, abs=PLACE_IN)
        # OpenCV starts at the marker's own top left corner, so it stands upright.
        assert found[marker][0] == pytest.approx(np.array(centre) - SIDE_IN / 2, abs=PLACE_IN)


def test_marker_sides_and_their_distances_are_true_to_a_thousandth(printed):
    paper, _, sheet = printed
    found = markers_on(sheet, paper)
    for corners in found.values():
        sides_in = np.linalg.norm(corners - np.roll(corners, 1, axis=0), axis=1)
        # Corners are found to about a quarter pixel, less sharply than the sides' own length.
        assert sides_in == pytest.approx([SIDE_IN] * 4, abs=0.5 / PX_PER_IN + SIZE_SHARE * SIDE_IN)
    centres = np.array([found[marker].mean(axis=0) for marker in range(4)])
    distances_in = np.linalg.norm(centres - np.roll(centres, -1, axis=0), axis=1)
    assert distances_in == pytest.approx([5.5, 8.0, 5.5, 8.0], rel=SIZE_SHARE)


def window(sheet, paper, x_in: tuple[float, float], z_in: tuple[float, float]) -> NDArray[np.uint8]:
    """The pixels of a part of the card."""
    half_x, half_z = np.array(PAPERS_IN[paper]) / 2
    left, right = (round((x + half_x) * PX_PER_IN) for x in x_in)
    top, bottom = (round((z + half_z) * PX_PER_IN) for z in z_in)
    return sheet[top:bottom, left:right]


def inked_in(light: NDArray[np.uint8]) -> float:
    """From the first to the last dark place along a strip of pixels, to a part of a pixel."""
    dark = 1.0 - light / 255.0
    first, *_, last = np.flatnonzero(dark > 0.02)
    return ((last + dark[last]) - (first + 1 - dark[first])) / PX_PER_IN


def test_the_lines_to_measure_are_six_inches_between_their_ticks(printed):
    paper, _, sheet = printed
    # Strips beside the lines, on the side without a label, cross the ticks.
    across = window(sheet, paper, (-3.2, 3.2), (0.06, 0.07))[0]
    down = window(sheet, paper, (-0.07, -0.06), (-3.2, 3.2))[:, 0]
    tick_width_in = 0.8 / 72  # what is measured lies between the ticks' middles
    for strip in (across, down):
        assert inked_in(strip) - tick_width_in == pytest.approx(6.0, rel=SIZE_SHARE)


def test_the_hole_is_over_the_centre_so_that_the_card_hangs_plumb(printed):
    paper, _, sheet = printed
    rows, columns = np.nonzero(window(sheet, paper, (-0.25, 0.25), (-5.25, -4.75)) < 200)
    assert len(rows) > 0
    for places in (rows, columns):
        assert (places.min() + places.max() + 1) / 2 / PX_PER_IN == pytest.approx(0.25, abs=PLACE_IN)


def test_the_white_that_marker_detection_needs_stays_free(printed):
    paper, _, sheet = printed
    cell_in = SIDE_IN / 6
    for centre in CENTRES_IN.values():
        middle = (np.array(centre) + np.array(PAPERS_IN[paper]) / 2) * PX_PER_IN
        outer, inner = ((SIDE_IN / 2 + extra) * PX_PER_IN for extra in (cell_in, 0.02))
        rows, columns = np.indices(sheet.shape)
        away = np.maximum(np.abs(rows - middle[1]), np.abs(columns - middle[0]))
        assert sheet[(away < outer) & (away > inner)].min() > 250


def test_equal_calls_write_equal_bytes(printed, tmp_path):
    paper, path, _ = printed
    write_card_pdf(tmp_path / "again" / "card.pdf", paper)
    assert (tmp_path / "again" / "card.pdf").read_bytes() == path.read_bytes()


def test_the_kept_card_is_the_one_that_is_written(printed):
    paper, _, sheet = printed
    kept = rendered(KEPT / f"card-{paper}.pdf")
    assert kept.shape == sheet.shape
    # Another version of the drawing library may set a letter a hair differently.
    assert np.mean(np.abs(kept.astype(int) - sheet) > 64) < 1e-3
    assert sorted(markers_on(kept, paper)) == [0, 1, 2, 3]
