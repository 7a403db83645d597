"""The truth of a made photo, in the form that the benchmark walls have it, and writing both to files."""

import json
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from rootread.geometry import Points, apply_homography, arc_length
from rootread.scene.camera import Exposure, photograph
from rootread.scene.describe import Groove, Root, Scene
from rootread.scene.faults import compress, decompress
from rootread.scene.held import object_to_wall, outline_in

ACROSS = np.linspace(-0.35, 0.35, 5)
"""Where across a root its visibility is asked for, in widths; it is visible where half of these are."""


@dataclass(frozen=True, eq=False)
class Rendered:
    """A made photo with its truth."""

    rgb: NDArray[np.uint8]
    """``(M, N, 3)`` sRGB, as the file shows it."""
    root_mask: NDArray[np.uint8]
    """``(M, N)`` 255 where a root is seen, else 0."""
    truth: dict[str, Any]
    """As the truth files have it; inches in the plane of the roots, x from the wall's left end."""
    jpeg: bytes


def render(scene: Scene, photo_size: tuple[int, int] = (3000, 2250)) -> Rendered:
    """Photograph a scene; ``photo_size`` is width and height in pixels."""
    exposure = photograph(scene, photo_size)
    jpeg = compress(exposure.rgb, scene.faults)
    mask = exposure.root_mask.astype(np.uint8) * 255
    return Rendered(decompress(jpeg), mask, truth_of(scene, exposure), jpeg)


def write_scene(rendered: Rendered, folder: str | Path, name: str) -> Path:
    """Write ``NAME.jpg``, ``NAME.json`` and ``NAME.png`` into a folder; returns the photo's path."""
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    photo = folder / f"{name}.jpg"
    photo.write_bytes(rendered.jpeg)
    (folder / f"{name}.json").write_text(json.dumps(rendered.truth | {"name": name}))
    _, mask = cv2.imencode(".png", rendered.root_mask)
    (folder / f"{name}.png").write_bytes(mask.tobytes())
    return photo


def _rounded(values: Any, digits: int = 3) -> Any:
    return np.round(np.asarray(values, dtype=float), digits).tolist()


def visible(exposure: Exposure, root: Root, number: int, seen: Points) -> NDArray[np.int_]:
    """``(N,)`` 1 where the photo shows this root and not soil, another root or the scale object."""
    way = np.gradient(root.points, axis=0)
    way /= np.maximum(np.hypot(way[:, 0], way[:, 1]), 1e-9)[:, None]
    right = np.column_stack([-way[:, 1], way[:, 0]])
    at = root.points[:, None, :] + ACROSS[None, :, None] * (root.width_in[:, None] * right)[:, None, :]
    col, row = np.rint(exposure.window.to_px(at.reshape(-1, 2))).astype(int).T
    ids = exposure.flat.face.root_id
    inside = (col >= 0) & (row >= 0) & (col < ids.shape[1]) & (row < ids.shape[0])
    own = np.zeros(len(col), bool)
    own[inside] = ids[row[inside], col[inside]] == number
    shown = own.reshape(len(root.points), -1).mean(axis=1) >= 0.5
    pixel = exposure.view.distort(apply_homography(exposure.view.plane_to_photo(0.0), seen))
    col, row = np.rint(pixel).astype(int).T
    height, width = exposure.blocked.shape
    framed = (col >= 0) & (row >= 0) & (col < width) & (row < height)
    shown &= framed
    shown[framed] &= ~exposure.blocked[row[framed], col[framed]]
    return shown.astype(int)


def _root_truth(exposure: Exposure, root: Root, number: int) -> dict[str, Any]:
    length = float(arc_length(root.points)[-1])
    chord = float(np.hypot(*(root.points[-1] - root.points[0])))
    seen = exposure.seen_in(root.points)
    return {
        "id": root.id, "order": root.order, "parent": root.parent,
        "points": _rounded(root.points), "seen": _rounded(seen), "width": _rounded(root.width_in),
        "visible": visible(exposure, root, number, seen).tolist(), "flat_ratio": _rounded(root.flat_ratio),
        "chord": round(chord, 3), "length": round(length, 3),
        "tortuosity": round(length / max(chord, 1e-6), 3),
        "sideways_runs": [
            {"z": round(r.z_in, 3), "x0": round(r.x0_in, 3), "x1": round(r.x1_in, 3),
             "length": round(r.length_in, 3)}
            for r in root.runs
        ],
    }  # fmt: skip


def _object_truth(scene: Scene, exposure: Exposure) -> dict[str, Any]:
    scale = scene.scale
    corners = outline_in(scale)
    to_photo = exposure.view.plane_to_photo(scale.out_in)
    turn = np.radians(scale.rotation_deg)
    return {
        "kind": scale.kind, "centre": [round(scale.x_in, 3), round(scale.z_in, 3)],
        "plane_y": round(scale.out_in, 3), "rotation_deg": round(scale.rotation_deg, 3),
        "up_in_plane": _rounded([np.sin(turn), -np.cos(turn)], 5), "size": [scale.width_in, scale.height_in],
        "thickness": scale.thickness_in, "unit_in": scale.unit_in, "corners": _rounded(corners),
        "corners_px": _rounded(exposure.view.distort(apply_homography(to_photo, corners))),
        "top_middle": _rounded(object_to_wall(scale, np.array([[0.0, -scale.height_in / 2]]))[0]),
    }  # fmt: skip


def _lines(grooves: tuple[Groove, ...]) -> list[Any]:
    return [_rounded(groove.points) for groove in grooves]


def truth_of(scene: Scene, exposure: Exposure) -> dict[str, Any]:
    """Everything that a reading of this photo can be checked against."""
    view = exposure.view
    within = (scene.surface[:, 0] >= 0) & (scene.surface[:, 0] <= scene.width_in)
    boundary = scene.ground.boundary
    return {
        "name": scene.name, "set": "scene", "kind": scene.kind, "difficulty": scene.difficulty,
        "seed": scene.seed, "units": "in", "soil": scene.ground.soil, "light": scene.light.name,
        "sun_direction": _rounded([scene.light.to_sun[0], scene.light.to_sun[2], scene.light.to_sun[1]]),
        "photo_size": list(view.photo_size),
        "plane_to_photo": view.plane_to_photo(0.0).tolist(),
        "object_plane_to_photo": view.plane_to_photo(scene.scale.out_in).tolist(),
        "plane_y": 0.0, "k1": scene.camera.k1, "focal_px": view.focal_px,
        "distortion_centre": list(view.centre),
        "px_per_in": {"centre": round(view.focal_px / scene.camera.distance_in, 3)},
        "camera": asdict(scene.camera), "wall": {"width": scene.width_in, "depth": scene.depth_in},
        "scale_object": _object_truth(scene, exposure), "gravity_in_plane": [0.0, 1.0],
        "crowns": [[round(c.x_in, 3), round(c.z_in, 3)] for c in scene.crowns],
        "soil_surface": _rounded(scene.surface[within]),
        "horizon_AB": _rounded(boundary[(boundary[:, 0] >= 0) & (boundary[:, 0] <= scene.width_in)]),
        "layers": [
            {"z": round(layer.z_in, 3), "x0": round(layer.x0_in, 3), "x1": round(layer.x1_in, 3),
             "thickness": round(layer.thickness_in, 3), "cause": layer.cause}
            for layer in scene.layers
        ],
        "slots": [{"x": round(x, 3), "halfwidth": round(half, 3)} for x, half in scene.slots],
        "cracks": _lines(scene.cracks), "channels": _lines(scene.channels),
        "roots": [_root_truth(exposure, root, number) for number, root in enumerate(scene.roots)],
        "jpeg_quality": scene.faults.jpeg_quality,
    }  # fmt: skip
