"""Walls with known truth, and a result folder's traces brought into truth inches.

Truth: ``NAME.json`` as the scene maker writes it. Results: the output folder
of ``rootread grade``. A point goes result plane -> photo pixel -> truth plane,
so that an error of scale or level shows in every figure.
"""

import csv
import json
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from rootread.geometry import apply_homography, arc_length
from rootread.plane import Lens

STEP_IN = 0.05
MIN_WIDTH_IN = 0.05

Points = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class TrueRoot:
    """One root of the truth, resampled every 0.05 in."""

    length_in: float
    points: Points
    """(N, 2) where it is."""
    seen: Points
    """(N, 2) where the photo shows it, in the truth plane."""
    width_in: NDArray[np.float64]
    visible: NDArray[np.bool_]
    flat_ratio: NDArray[np.float64]
    runs: tuple[dict[str, float], ...]

    @property
    def needed(self) -> NDArray[np.bool_]:
        """Points that a reading must find: visible and at least 0.05 in wide."""
        return self.visible & (self.width_in >= MIN_WIDTH_IN)

    @property
    def visible_span(self) -> int:
        """Points from the first visible to the last."""
        at = np.flatnonzero(self.visible)
        return int(at[-1] - at[0] + 1) if len(at) else 0


class Truth:
    """The truth of one photo."""

    def __init__(self, path: Path) -> None:
        self.name = path.stem
        self.raw: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
        self.size_px = tuple(self.raw["photo_size"])
        centre = self.raw.get("distortion_centre") or [self.size_px[0] / 2, self.size_px[1] / 2]
        focal = self.raw["focal_px"]
        self.lens = Lens(focal, focal, centre[0], centre[1], self.raw.get("k1") or 0.0)

    def from_photo(self, points_px: Points, plane: str = "plane_to_photo") -> Points:
        """Photo pixels to truth inches, by the plane of the roots or of the scale object."""
        return apply_homography(np.linalg.inv(np.array(self.raw[plane])), self.lens.undistort(points_px))

    def to_photo(self, points_in: Points) -> Points:
        """Truth inches in the plane of the roots to photo pixels."""
        return self.lens.distort(apply_homography(np.array(self.raw["plane_to_photo"]), points_in))

    @cached_property
    def roots(self) -> tuple[TrueRoot, ...]:
        """The roots."""
        return tuple(_true_root(root) for root in self.raw["roots"])

    @property
    def layer_depths_in(self) -> list[float]:
        """Depths of all layers."""
        return [layer["z"] for layer in self.raw["layers"]]

    @property
    def shown_layer_depths_in(self) -> list[float]:
        """Layers that at least three roots show by running within 0.8 in; others cannot be asked for."""
        runs = [run["z"] for root in self.roots for run in root.runs]
        return [z for z in self.layer_depths_in if sum(abs(z - run) < 0.8 for run in runs) >= 3]


def _true_root(root: dict[str, Any]) -> TrueRoot:
    along = arc_length(root["points"])
    at = np.arange(0, along[-1], STEP_IN) if along[-1] >= STEP_IN else np.zeros(1)

    def along_root(values: Any) -> NDArray[np.float64]:
        return np.interp(at, along, np.asarray(values, dtype=float))

    def polyline(points: Any) -> Points:
        places = np.asarray(points, dtype=float)
        return np.column_stack([along_root(places[:, 0]), along_root(places[:, 1])])

    return TrueRoot(
        length_in=root["length"],
        points=polyline(root["points"]),
        seen=polyline(root["seen"]),
        width_in=along_root(root["width"]),
        visible=along_root(root["visible"]) > 0.5,
        flat_ratio=along_root(root["flat_ratio"]),
        runs=tuple(root["sideways_runs"]),
    )


class Result:
    """What ``rootread grade`` wrote of one wall."""

    def __init__(self, folder: Path, wall_row: dict[str, str], layer_rows: list[dict[str, str]]) -> None:
        self.row = wall_row
        self.layers = layer_rows
        written = json.loads((folder / "traces" / f"{wall_row['wall']}.json").read_text(encoding="utf-8"))
        self.plane_to_photo = np.array(written["plane_to_photo"])
        self.lens = Lens(**written["lens"]) if written["lens"] else None
        self.roots = [root for root in written["roots"] if len(root["points"]) > 1]

    def to_photo(self, points_in: Any) -> Points:
        """Result inches to photo pixels."""
        points_px = apply_homography(self.plane_to_photo, points_in)
        return self.lens.distort(points_px) if self.lens else points_px

    def from_photo(self, points_px: Points) -> Points:
        """Photo pixels to result inches."""
        undistorted = self.lens.undistort(points_px) if self.lens else points_px
        return apply_homography(np.linalg.inv(self.plane_to_photo), undistorted)

    def traces_in_truth(self, truth: Truth) -> list[Points]:
        """Each trace in truth inches, a point every 0.05 in."""
        return [every_step(truth.from_photo(self.to_photo(root["points"]))) for root in self.roots]

    def similarity_to(self, truth: Truth) -> tuple[float, float]:
        """Scale error (percent) and level error (degrees) against the scale object's true plane."""
        width, height = truth.size_px
        over_wall = np.meshgrid(np.linspace(0.2, 0.8, 7) * width, np.linspace(0.3, 0.9, 7) * height)
        places_px = np.stack(over_wall, axis=-1).reshape(-1, 2)
        ours, theirs = self.from_photo(places_px), truth.from_photo(places_px, "object_plane_to_photo")
        similar, _ = cv2.estimateAffinePartial2D(ours, theirs, method=cv2.LMEDS)
        scale = float(np.hypot(similar[0, 0], similar[1, 0]))
        return 100 * (scale - 1), float(np.degrees(np.arctan2(similar[1, 0], similar[0, 0])))


def every_step(points: Points) -> Points:
    """A polyline's points every 0.05 in, as the reference scorer takes them."""
    along = arc_length(points)
    if along[-1] < STEP_IN:
        return points[:1]
    at = np.arange(0, along[-1], STEP_IN)
    return np.column_stack([np.interp(at, along, points[:, k]) for k in (0, 1)])


def read_table(path: Path) -> dict[str, list[dict[str, str]]]:
    """Rows of a result table by wall."""
    by_wall: dict[str, list[dict[str, str]]] = {}
    with path.open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            by_wall.setdefault(row["wall"], []).append(row)
    return by_wall
