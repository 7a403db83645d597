"""The card: four square markers on a sheet, any of them hidden, to sub-pixel.

The markers' codes say where they are; their sides, straight lines found to a
fraction of a pixel, say how large. Sides of markers whose code could not be
read, for dust or a root across it, are looked for where the others put them.
"""

from dataclasses import dataclass
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

from rootread.geometry import Points
from rootread.plane.adjust import fit_camera
from rootread.plane.camera import CURL, CameraBelief, CameraFit, pose_from_homography
from rootread.plane.edges import (
    LINE_ENDS,
    PRINT_SE_PX,
    UNSETTLED_SE_SHARE,
    crossings,
    read_profiles,
    straight_lines,
    unsettled_px,
)
from rootread.plane.sightings import Floats, Sightings
from rootread.units import MM_PER_IN, length_words

MARKER_IN = 2.0
# Marker centres from the card's centre, ids 0-3 clockwise from top left: a rectangle 5.5 x 8 in.
CENTRES_IN = np.array([[-2.75, -4.0], [2.75, -4.0], [2.75, 4.0], [-2.75, 4.0]])
# A marker's corners in OpenCV's order: clockwise from its top left.
CORNERS = np.array([[-0.5, -0.5], [0.5, -0.5], [0.5, 0.5], [-0.5, 0.5]])
SHEET_IN = (8.5, 11.0)
A4_IN = (210 / MM_PER_IN, 297 / MM_PER_IN)
# Where A4 goes on beyond Letter, it is at least this bright beside Letter's edge.
A4_TONE_SHARE = 0.8
# Codes are read on a picture no larger than this, and on a larger one where that shows less than a whole
# card; corners are found on the photo itself.
DETECT_MEGAPIXELS = (1.0, 2.0)
# Of a card that is there, markers too small or too dusty for these may be read at this size.
FINE_MEGAPIXELS = 8.0
# A marker belongs to a card when it puts the card's centre this near to where another marker does.
SAME_CARD_IN = 3.0
PLACES_A_SIDE = 12
# A side without its corners, which blur rounds off.
SIDE_SHARE = (0.12, 0.88)
# The black frame of a marker is one sixth of its side; profiles must not reach across it.
REACH_SHARE = 0.09
MIN_REACH_PX = 2.5
MIN_SIDES = 6
MIN_SIDES_TO_GO_ON = 3
ALL = (0, 1, 2, 3)
# Paper bends: the sheet's edges stand about this far out of its middle's plane, across and along, on a
# board and loose. It is taken to be loose when that lowers the sum of squares by as much.
BOARD_CURL_SE_IN = 0.03
LOOSE_CURL_SE_IN = 0.15
BENT_EVIDENCE = 3.0
# A bend worth telling, and one that cannot be read through.
TOLD_CURL_IN = 0.12
MAX_CURL_IN = 0.45


@dataclass(frozen=True, eq=False)
class CardFinding:
    """One card, located."""

    fit: CameraFit
    marker_in: float
    markers: tuple[int, ...]
    """Ids of the markers whose sides were used."""
    outline_px: Points
    """The sheet's corners in the photo."""

    def corners_in_and_px(self) -> tuple[Points, Points]:
        """``(N, 2)`` corners of markers, where their found sides meet: card inches and photo pixels."""
        used = self.fit.used
        reach_px = np.sum(used.normal * used.photo_px, axis=1) + self.fit.glare_px(np.arange(len(used)))
        corners_in, corners_px = [], []
        for corner in np.concatenate([marker_corners_in(marker, self.marker_in) for marker in self.markers]):
            off = np.abs(used.object_in - corner)
            near = off.max(axis=1) < self.marker_in
            upright, level = (np.flatnonzero(near & (off[:, k] < 1e-6)) for k in (0, 1))
            if len(upright) and len(level):
                side = np.concatenate([upright, level])
                corners_in.append(corner)
                corners_px.append(np.linalg.lstsq(used.normal[side], reach_px[side], rcond=None)[0])
        return np.array(corners_in), np.array(corners_px)

    @property
    def cautions(self) -> tuple[str, ...]:
        """What its user should know."""
        told = []
        if len(self.markers) < 4:
            told.append(f"Only {len(self.markers)} of the card's 4 markers could be used.")
        curl_in = float(np.abs(self.curl_in).max())
        if curl_in > TOLD_CURL_IN:
            told.append(f"The card is bent by about {length_words(curl_in)}: mount it on a board.")
        return tuple(told)

    @property
    def curl_in(self) -> Floats:
        """``(2,)`` how far the sheet's edges stand towards the camera of its middle, across and along."""
        return np.asarray(self.fit.values[CURL] / _per_square(self.marker_in))


def find_cards(
    grey: NDArray[np.uint8],
    light: NDArray[np.float32],
    belief: CameraBelief,
    marker_in: float = MARKER_IN,
) -> list[CardFinding]:
    """Every card in a photo, the one with most markers first.

    Parameters
    ----------
    grey : ``(H, W)`` 8-bit.
    light : ``(H, W)`` linear light.
    belief : what is known of the camera.
    marker_in : side of a marker in inches; the rest of the card scales with it.
    """
    found = []
    for group in _group(_read_markers(grey), marker_in):
        card = _locate(light, group, belief, marker_in)
        if card is not None:
            found.append(card)
    return sorted(found, key=lambda card: (-len(card.markers), card.fit.residual_px))


def marker_corners_in(marker: int, marker_in: float) -> Points:
    """``(4, 2)`` corners of a marker in card inches."""
    return CENTRES_IN[marker] * (marker_in / MARKER_IN) + CORNERS * marker_in


def _read_markers(grey: NDArray[np.uint8]) -> list[tuple[int, Points]]:
    """Ids and corner pixels of every marker whose code can be read."""
    best = _read_at(grey, DETECT_MEGAPIXELS[0])
    for smaller, megapixels in pairwise((*DETECT_MEGAPIXELS, FINE_MEGAPIXELS)):
        whole, in_vain = len(best) >= len(ALL), megapixels == FINE_MEGAPIXELS and not best
        if whole or in_vain or grey.size <= smaller * 1e6:
            break
        finer = _read_at(grey, megapixels)
        best = finer if len(finer) > len(best) else best
    return best


def _read_at(grey: NDArray[np.uint8], megapixels: float) -> list[tuple[int, Points]]:
    """Markers read on a picture of at most so many megapixels."""
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    parameters = cv2.aruco.DetectorParameters()
    parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    shrink = min(1.0, float(np.sqrt(megapixels * 1e6 / grey.size)))
    small = cv2.resize(grey, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA) if shrink < 1 else grey
    corners, ids, _ = cv2.aruco.ArucoDetector(dictionary, parameters).detectMarkers(small)
    scale = np.array(grey.shape[::-1]) / np.array(small.shape[::-1])
    return [
        (int(marker), (quad.reshape(4, 2).astype(float) + 0.5) * scale - 0.5)
        for quad, marker in zip(corners, [] if ids is None else ids.ravel(), strict=True)
        if marker < 4
    ]


def _group(markers: list[tuple[int, Points]], marker_in: float) -> list[dict[int, Points]]:
    """Markers sorted into cards: those that agree on where their card's centre is."""
    groups: list[tuple[Points, float, dict[int, Points]]] = []
    for marker, quad in markers:
        square, _ = cv2.findHomography(marker_corners_in(marker, marker_in), quad)
        if square is None:
            continue
        # One small marker carries the tilt badly, so its card is placed by similarity only.
        similar, _ = cv2.estimateAffine2D(marker_corners_in(marker, marker_in), quad)
        centre = similar[:, 2]
        px_per_in = float(np.sqrt(abs(np.linalg.det(similar[:, :2]))))
        for known_centre, known_scale, members in groups:
            near = np.hypot(*(centre - known_centre)) < SAME_CARD_IN * px_per_in
            if near and marker not in members and 0.6 < px_per_in / known_scale < 1.6:
                members[marker] = quad
                break
        else:
            groups.append((centre, px_per_in, {marker: quad}))
    return [members for _, _, members in groups]


def _locate(
    light: NDArray[np.float32], group: dict[int, Points], belief: CameraBelief, marker_in: float
) -> CardFinding | None:
    """The card's plane from the sides of its markers."""
    object_in = np.concatenate([marker_corners_in(marker, marker_in) for marker in group])
    photo_px = np.concatenate(list(group.values()))
    matrix, _ = cv2.findHomography(object_in, photo_px)
    if matrix is None:
        return None
    start = pose_from_homography(matrix, belief)
    fit = fit_camera(Sightings.of_points(object_in, photo_px, 1.0), start, belief)
    # First the markers that were read, whose corners are off by their blur; then all, where these put them.
    read = tuple(group)
    for markers in (read, read) if len(read) == len(ALL) else (read, read, ALL, ALL):
        if not fit.sound:
            return None
        sides, owners = _find_sides(light, fit, marker_in, markers)
        if len(owners) < MIN_SIDES_TO_GO_ON:
            return None
        fit = _fit_sheet(sides, fit, belief, marker_in)
    if not fit.sound or len(owners) < MIN_SIDES or len(set(owners)) < 2:
        return None
    if np.abs(fit.values[CURL] / _per_square(marker_in)).max() > MAX_CURL_IN:
        return None
    outline_px = fit.to_photo(CORNERS * _sheet_in(light, fit, marker_in))
    return CardFinding(fit, marker_in, tuple(sorted(set(owners))), outline_px)


def _fit_sheet(sides: Sightings, start: CameraFit, belief: CameraBelief, marker_in: float) -> CameraFit:
    """The plane of a card that is on a board; or of a loose sheet, where only a bend explains the sides."""
    board = fit_camera(sides, start.values, belief, curl_se=_per_square(marker_in, BOARD_CURL_SE_IN))
    loose = fit_camera(sides, start.values, belief, curl_se=_per_square(marker_in, LOOSE_CURL_SE_IN))
    return loose if loose.sound and board.misfit - loose.misfit > BENT_EVIDENCE else board


def _per_square(marker_in: float, curl_in: float = 1.0) -> Floats:
    """``(2,)`` curl across and along that makes the sheet's edges stand out by so much, per square inch."""
    half_in = np.array(SHEET_IN) / 2.0 * (marker_in / MARKER_IN)
    return np.asarray(curl_in / half_in**2)


def _sheet_in(light: NDArray[np.float32], fit: CameraFit, marker_in: float) -> Floats:
    """``(2,)`` width and height of the sheet: Letter, or A4 where white goes on above and below Letter."""
    size = marker_in / MARKER_IN
    x = np.linspace(-3.5, 3.5, 29)
    tones = []
    for z in (SHEET_IN[1] / 2 - 0.15, SHEET_IN[1] / 2 + 0.2):
        places_in = np.array([[place, sign * z] for sign in (-1, 1) for place in x]) * size
        at = fit.to_photo(places_in).astype(np.float32)
        tones.append(cv2.remap(light, at[:, :1], at[:, 1:], cv2.INTER_LINEAR).reshape(2, -1))
    paper, beyond = tones
    is_a4 = np.all(np.median(beyond, axis=1) > A4_TONE_SHARE * np.median(paper, axis=1))
    return np.array(A4_IN if is_a4 else SHEET_IN) * size


def _find_sides(
    light: NDArray[np.float32], fit: CameraFit, marker_in: float, markers: tuple[int, ...]
) -> tuple[Sightings, list[int]]:
    """Two places on every side of these markers that is found where the fit puts it, and whose they are."""
    corners = np.array([marker_corners_in(marker, marker_in) for marker in markers])
    start_in = corners.reshape(-1, 2)
    end_in = np.roll(corners, -1, axis=1).reshape(-1, 2)
    share = np.linspace(SIDE_SHARE[0], SIDE_SHARE[1], PLACES_A_SIDE)
    places_in = start_in[:, None] + share[None, :, None] * (end_in - start_in)[:, None]
    places_px = fit.to_photo(places_in)
    tangent = places_px[:, -1] - places_px[:, 0]
    length_px = np.hypot(*tangent.T)
    # Corners run clockwise, so outward, from dark to light, is to the left of the way.
    normals = np.column_stack([tangent[:, 1], -tangent[:, 0]]) / length_px[:, None]
    side_px = length_px / (SIDE_SHARE[1] - SIDE_SHARE[0])
    profiles = read_profiles(light, places_px, normals, np.maximum(REACH_SHARE * side_px, MIN_REACH_PX))
    lines = straight_lines(*crossings(profiles, np.ones(len(places_in), dtype=bool)))
    found = np.flatnonzero(lines.found)
    middle_in = places_in.mean(axis=1)[found, None]
    chosen_in = (
        middle_in + LINE_ENDS[None, :, None] * (places_in[found, -1] - places_in[found, 0])[:, None] / 2
    )
    offsets = lines.middle_px[found, None] + lines.slope_px[found, None] * LINE_ENDS
    chosen_px = fit.to_photo(chosen_in) + offsets[..., None] * normals[found, None]
    se = np.hypot(lines.se_px, PRINT_SE_PX) + UNSETTLED_SE_SHARE * unsettled_px(profiles)
    # Blur and clipping differ between upright and level edges, and over the sheet.
    owner = np.array(markers)[found // 4]
    glare_group = owner * 2 + found % 2
    sightings = Sightings.on_lines(chosen_in, chosen_px, normals[found], se[found], glare_group)
    return sightings, [int(marker) for marker in owner]
