"""Small flat pieces of made walls with their labels, fast: what a network is trained on."""

import cv2
import numpy as np
from numpy.typing import NDArray

from rootread.scene.describe import Kind, Scene
from rootread.scene.draw import draw_scene
from rootread.scene.faults import compress, decompress, develop
from rootread.scene.held import face_of, lit_front, outline_in
from rootread.scene.paint import Flat, paint
from rootread.scene.shade import large_shadows
from rootread.scene.soil import Face
from rootread.scene.window import Window

MARGIN_PX = 12
"""Painted around the crop, so that blur and shadows know what lies beyond its edge."""
Crop = tuple[NDArray[np.uint8], NDArray[np.float32], NDArray[np.float32], NDArray[np.float32]]
RootsCrop = tuple[NDArray[np.uint8], NDArray[np.int16], NDArray[np.float32]]


def draw_training_scene(
    rng: np.random.Generator, soils: tuple[str, ...] | None = None, waviness: float = 1.0
) -> Scene:
    """A scene as training wants them: every kind of wall, and a third with roots of any habit."""
    kind: Kind = str(rng.choice(["open", "blocked", "mixed", "free"], p=[0.2, 0.25, 0.2, 0.35]))  # type: ignore[assignment]
    return draw_scene(rng, kind, soils=soils, waviness=waviness)


def choose_centre(scene: Scene, rng: np.random.Generator) -> tuple[float, float]:
    """Where to cut a crop, x and z in inches: mostly on roots, often on what could be taken for one."""
    draw = rng.random()
    runs = [run for root in scene.roots for run in root.runs]
    if draw < 0.12 and runs:
        run = runs[int(rng.integers(len(runs)))]
        return float(rng.uniform(run.x0_in, run.x1_in)), float(run.z_in + rng.normal(0, 1))
    if draw < 0.5 and scene.roots:
        points = scene.roots[int(rng.integers(len(scene.roots)))].points
        x, z = points[int(rng.integers(len(points)))]
        return float(x + rng.normal(0, 1)), float(z + rng.normal(0, 1))
    lookalikes = [piece.points for piece in scene.litter if piece.points[0, 1] > 0.5]
    lookalikes += [groove.points for groove in (*scene.cracks, *scene.channels)]
    lookalikes += [mark.points for mark in scene.tool_marks]
    if draw < 0.7 and lookalikes:
        points = lookalikes[int(rng.integers(len(lookalikes)))]
        x, z = points[int(rng.integers(len(points)))]
        return float(x), float(z)
    if draw < 0.77 and scene.scale.kind != "none":
        corners = outline_in(scene.scale)
        x, z = (
            corners[0] + rng.random() * (corners[1] - corners[0]) + rng.random() * (corners[3] - corners[0])
        )
        return float(x), float(z)
    if draw < 0.82 and scene.things:
        (x, z), _, _ = scene.things[0].strokes[-1]
        return x, z
    if draw < 0.88:
        return float(rng.uniform(0, scene.width_in)), float(rng.normal(0, 1))
    return float(rng.uniform(0, scene.width_in)), float(rng.uniform(0, scene.depth_in))


def hang_flat(flat: Flat, scene: Scene, window: Window) -> None:
    """Paint the scale object straight onto a flat window."""
    scale = scene.scale
    if scale.kind == "none" or not window.sees(
        scale.x_in, scale.z_in, np.hypot(scale.width_in, scale.height_in) / 2
    ):
        return
    fine = window.px_per_in
    front = face_of(scale, fine, scene.ground.topsoil_rgb)
    rows, cols = front.shape[:2]
    half_w, half_h = scale.width_in / 2 * fine, scale.height_in / 2 * fine
    corner = np.array([[0.5 + (cols - 2) / 2 - half_w, 0.5 + (rows - 2) / 2 - half_h]])
    source = np.float32(corner + np.array([[0, 0], [2 * half_w, 0], [2 * half_w, 2 * half_h]]))
    to_window = cv2.getAffineTransform(source, np.float32(window.to_px(outline_in(scale))[:3]))
    front = cv2.warpAffine(front, to_window, (window.cols, window.rows), flags=cv2.INTER_LINEAR)
    cover = front[..., 3:]
    lit = lit_front(front, scale, scene.light, large_shadows(scene.light, window))
    flat.rgb[...] += cover * (lit - flat.rgb)
    flat.face.root[...] *= 1 - front[..., 3]


def render_crop(
    scene_or_rng: Scene | np.random.Generator,
    size_px: int,
    px_per_in: float,
    rng: np.random.Generator | None = None,
    centre_in: tuple[float, float] | None = None,
) -> Crop:
    """A flat square piece of a wall with its labels.

    Parameters
    ----------
    scene_or_rng : a scene, or a generator to draw a training scene with.
    size_px : side of the crop.
    px_per_in : pixels an inch of wall.
    rng : settles place, texture and noise; the scene's own seed if None.
    centre_in : x and z of the middle; chosen if None.

    Returns
    -------
    rgb : ``(size, size, 3)`` uint8 sRGB.
    root_mask : ``(size, size)`` float32, 0 to 1, share of the pixel that shows a root; at 0.5 it is the mask.
    half_width_px : ``(size, size)`` float32, half the width of the uppermost root, 0 off roots.
    direction : ``(size, size, 2)`` float32, cosine and sine of twice the root's heading
        (angle from +column toward +row), so that both ways along a root are one; 0 off roots.
    """
    if isinstance(scene_or_rng, np.random.Generator):
        rng = scene_or_rng
        scene = draw_training_scene(rng)
    else:
        scene = scene_or_rng
        rng = np.random.default_rng(scene.seed) if rng is None else rng
    centre_in = choose_centre(scene, rng) if centre_in is None else centre_in
    photo, face, inner = _flat_photo(scene, size_px, px_per_in, rng, centre_in)
    seen = face.root_id[inner] >= 0
    half_px = np.where(seen, face.half_px[inner], 0).astype(np.float32)
    direction = np.moveaxis(face.heading[:, inner[0], inner[1]] * seen, 0, -1)
    return photo, np.clip(face.root[inner], 0, 1), half_px, np.ascontiguousarray(direction)


def render_roots(
    scene: Scene, size_px: int, px_per_in: float, rng: np.random.Generator, centre_in: tuple[float, float]
) -> RootsCrop:
    """The same piece of a wall, and which root each of its pixels shows.

    Returns
    -------
    rgb : ``(size, size, 3)`` uint8 sRGB.
    root : ``(size, size)`` int16 place of the uppermost root in the scene's list, -1 where none is seen.
    half_width_px : ``(size, size)`` float32, half the width of that root.
    """
    photo, face, inner = _flat_photo(scene, size_px, px_per_in, rng, centre_in)
    root = np.where(face.root[inner] >= 0.5, face.root_id[inner], -1).astype(np.int16)
    return photo, root, face.half_px[inner].astype(np.float32)


def _flat_photo(
    scene: Scene, size_px: int, px_per_in: float, rng: np.random.Generator, centre_in: tuple[float, float]
) -> tuple[NDArray[np.uint8], Face, tuple[slice, slice]]:
    """The photo of a piece, the painted face with a margin around it, and where the piece lies on that."""
    x, z = centre_in
    side = size_px + 2 * MARGIN_PX
    half_in = (side - 1) / 2 / px_per_in
    window = Window(x - half_in, z - half_in, px_per_in, side, side)
    flat = paint(scene, window, int(rng.integers(2**31)))
    hang_flat(flat, scene, window)
    photo = _through_camera(flat.rgb, scene, px_per_in, rng)
    inner = np.s_[MARGIN_PX : MARGIN_PX + size_px, MARGIN_PX : MARGIN_PX + size_px]
    return photo[inner], flat.face, inner


def _through_camera(
    linear: NDArray[np.float32], scene: Scene, px_per_in: float, rng: np.random.Generator
) -> NDArray[np.uint8]:
    """Develop at a photo's own resolution, which is seldom the one the flat wall is read at."""
    finer = float(np.exp(rng.uniform(np.log(0.55), np.log(1.5)))) if rng.random() < 0.7 else 1.0
    side = linear.shape[0]
    if finer != 1.0:
        size = max(round(side * finer), 8)
        how = cv2.INTER_AREA if finer < 1 else cv2.INTER_LINEAR
        linear = cv2.resize(linear, (size, size), interpolation=how)
    photo = develop(linear, scene, px_per_in * finer / 75.0, rng)
    photo = decompress(compress(photo, scene.faults))
    if finer != 1.0:
        how = cv2.INTER_AREA if finer > 1.2 else cv2.INTER_CUBIC if finer < 1 else cv2.INTER_LINEAR
        photo = cv2.resize(photo, (side, side), interpolation=how)
    return photo
