"""Scale from places a person marked: two a known distance apart, or four and more of known inches."""

import cv2
import numpy as np

from rootread.errors import NoBelievableScale
from rootread.marks import Marks
from rootread.plane.adjust import fit_camera
from rootread.plane.camera import MAX_TILT_DEG, CameraBelief, CameraFit, pose_from_homography
from rootread.plane.sightings import Sightings

# A place is marked by hand to about this.
MARKING_SE_PX = 1.5
# With two points nothing tells the tilt; people stand square to the wall to within this.
UNSEEN_TILT_SE_DEG = 4.0


def locate_points(marks: Marks, belief: CameraBelief) -> CameraFit:
    """The plane through marked places; object inches have their origin at the first of them.

    Raises
    ------
    NoBelievableScale : no scale points in the marks, or no camera shows a wall's points so.
    """
    photo_px = np.array([mark.px for mark in marks.scale_points], dtype=float)
    if len(photo_px) < 2:
        raise NoBelievableScale(
            "The sheet says scale = points, but no scale points are marked on this photo.",
            "Mark two points and their distance, or the four corners of a known rectangle.",
        )
    known = [mark.at_in for mark in marks.scale_points if mark.at_in is not None]
    if len(known) == len(photo_px):
        object_in = np.array(known, dtype=float)
        object_in = object_in - object_in[0]
        tilt_se_deg = None
    else:
        assert marks.distance_in is not None  # the marks reader has checked
        px_per_in = float(np.hypot(*(photo_px[1] - photo_px[0]))) / marks.distance_in
        object_in = (photo_px - photo_px[0]) / px_per_in
        tilt_se_deg = UNSEEN_TILT_SE_DEG
    if tilt_se_deg is None:
        matrix, _ = cv2.findHomography(object_in, photo_px)
    else:
        matrix = np.array([[px_per_in, 0, photo_px[0, 0]], [0, px_per_in, photo_px[0, 1]], [0, 0, 1.0]])
    start = pose_from_homography(matrix, belief)
    sightings = Sightings.of_points(object_in, photo_px, MARKING_SE_PX)
    fit = fit_camera(sightings, start, belief, tilt_se_deg=tilt_se_deg)
    if not fit.sound:
        raise NoBelievableScale(
            f"The scale points lie as only a camera more than {MAX_TILT_DEG:.0f} degrees from square to the "
            "wall, or none at all, would show them.",
            "Check their places and distances, or take the photo again, square to the wall.",
        )
    return fit
