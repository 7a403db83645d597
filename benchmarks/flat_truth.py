"""Walls laid flat by their true plane, so that only the finding of roots is under test."""

from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree
from skimage.morphology import skeletonize
from truth import Points, Truth

from rootread.geometry import apply_homography
from rootread.photo import read_photo
from rootread.plane import Level, ScaleFinding, Surface, WallImage, WallPlane, lay_flat
from rootread.plane.flat import photo_map
from rootread.settings import PhotoSettings, PlaneSettings

NEAR_IN = 0.10
STEP_IN = 0.05
CRACK_NEAR_IN = 0.15
"""Cracks are ragged and wide: their middle is not known to a tenth."""


@dataclass(frozen=True, eq=False)
class FlatWall:
    """A wall with its truth, in the plane of the roots."""

    name: str
    image: WallImage
    root: NDArray[np.bool_]
    """(M, N) pixels that show a root."""
    wanted: Points
    """(N, 2) inches, a point every 0.05 in of visible root 0.05 in wide or more, as the photo shows it."""
    seen: Points
    """(N, 2) inches, a point every 0.05 in of any root, hidden or not."""
    cracks: Points
    """(N, 2) inches, a point every 0.05 in of cracks and channels where roots are sought."""


def flat_wall(photo_path: Path, truth_path: Path) -> FlatWall:
    """The wall as a perfect plane stage would hand it on, less a margin about the scale object."""
    truth = Truth(truth_path)
    photo = read_photo(photo_path, PhotoSettings())
    plane = true_plane(truth)
    image = lay_flat(photo, plane, PlaneSettings())
    mask = cv2.imread(str(truth_path.with_suffix(".png")), cv2.IMREAD_GRAYSCALE)
    at = photo_map(plane.to_photo, plane.lens, image.grid)
    root = cv2.remap(mask, at[..., 0], at[..., 1], cv2.INTER_LINEAR) > 127

    def below(points_in: Points) -> Points:
        """Those that lie where roots are sought: the surface and the object hide no finder's mistakes."""
        col, row = np.rint(image.grid.to_px(points_in)).astype(int).T
        rows, columns = image.soil.shape
        inside = (col >= 0) & (row >= 0) & (col < columns) & (row < rows)
        inside[inside] = image.soil[row[inside], col[inside]]
        return points_in[inside]

    wanted = below(np.concatenate([root.seen[root.needed] for root in truth.roots]))
    seen = np.concatenate([root.seen for root in truth.roots])
    lines = [_every_step(np.array(line)) for line in (*truth.raw["cracks"], *truth.raw.get("channels", ()))]
    cracks = below(np.concatenate([np.empty((0, 2)), *lines]))
    return FlatWall(truth.name, image, root, wanted, seen, cracks)


def _every_step(line: Points) -> Points:
    along = np.concatenate([[0.0], np.hypot(*np.diff(line, axis=0).T).cumsum()])
    at = np.arange(0.0, along[-1], STEP_IN)
    return np.column_stack([np.interp(at, along, line[:, 0]), np.interp(at, along, line[:, 1])])


def true_plane(truth: Truth) -> WallPlane:
    """The plane that the truth states."""
    raw = truth.raw
    held = raw["scale_object"]
    if "corners_px" in held:
        outline = np.array(held["corners_px"], dtype=float)
    else:
        corners = nominal_corners(held["kind"], np.array(held["centre"]), np.radians(held["lean_deg"]))
        outline = truth.lens.distort(apply_homography(np.array(raw["object_plane_to_photo"]), corners))
    outlines = () if held["kind"] == "none" else (outline,)
    px_per_in = raw["px_per_in"]["centre"]
    scale = ScaleFinding("points", px_per_in, 0.0, outlines, np.empty((0, 2)), np.empty((0, 2)), 0.0)
    surface = Surface(np.array(raw["soil_surface"], dtype=float), 0.0, "marks")
    return WallPlane(np.array(raw["plane_to_photo"]), truth.lens, scale, Level("photo", 0.0), surface, 0.0)


def nominal_corners(kind: str, centre: Points, lean: float) -> Points:
    """Corners of a scale object whose truth states no size; a hung bar reaches up to the surface."""
    width, height = {"card": (8.5, 11.0), "staff": (1.6, 2 * centre[1]), "tape": (1.2, 2 * centre[1])}[kind]
    corner = np.array([[-0.5, -0.5], [0.5, -0.5], [0.5, 0.5], [-0.5, 0.5]]) * [width, height]
    turn = np.array([[np.cos(lean), np.sin(lean)], [-np.sin(lean), np.cos(lean)]])
    return centre + corner @ turn


def length_scores(mask: NDArray[np.bool_], wall: FlatWall) -> tuple[float, float]:
    """Recall and precision of root length within 0.1 in, of a mask's skeleton."""
    row, col = np.nonzero(skeletonize(mask))
    found = wall.image.grid.to_in(np.column_stack([col, row]))
    if not len(found):
        return 0.0, 1.0
    recall = (cKDTree(found).query(wall.wanted)[0] < NEAR_IN).mean()
    precision = (cKDTree(wall.seen).query(found)[0] < NEAR_IN).mean()
    return float(recall), float(precision)


def crack_scores(crack: NDArray[np.bool_], wall: FlatWall) -> tuple[float, float]:
    """Recall and precision of crack length within 0.15 in; NaN where there is none."""
    row, col = np.nonzero(skeletonize(crack))
    found = wall.image.grid.to_in(np.column_stack([col, row]))
    if not len(found) or not len(wall.cracks):
        return (0.0 if len(wall.cracks) else float("nan")), float("nan")
    recall = (cKDTree(found).query(wall.cracks)[0] < CRACK_NEAR_IN).mean()
    precision = (cKDTree(wall.cracks).query(found)[0] < CRACK_NEAR_IN).mean()
    return float(recall), float(precision)


def average_precision(score: NDArray[np.float32], wall: FlatWall, bins: int = 400) -> float:
    """Area under the precision-recall curve of pixels on soil; any score that ranks pixels."""
    on_soil = wall.image.soil
    values, truth = score[on_soil], wall.root[on_soil]
    edges = np.unique(np.quantile(values[truth], np.linspace(0, 1, bins))) if truth.any() else np.array([0.0])
    level = np.searchsorted(edges, values, side="right")
    hits = np.bincount(level[truth], minlength=len(edges) + 1)[::-1].cumsum()
    others = np.bincount(level[~truth], minlength=len(edges) + 1)[::-1].cumsum()
    recall = hits / max(hits[-1], 1)
    precision = hits / np.maximum(hits + others, 1)
    return float(np.sum(precision * np.diff(recall, prepend=0.0)))
