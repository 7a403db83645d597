"""Photograph a painted wall: OpenCV's camera model, parallax of the relief, the scale object in front.

World axes are x right, y out of the wall, z down, inches. The camera's axes
are right, down and forward.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from rootread.geometry import Points, apply_homography
from rootread.sampled import seen_at
from rootread.scene.describe import Camera, Scene
from rootread.scene.faults import corner_share, develop
from rootread.scene.held import face_of, lit_front, outline_in
from rootread.scene.noise import Field
from rootread.scene.paint import Flat, paint
from rootread.scene.shade import large_shadows
from rootread.scene.soil import blur
from rootread.scene.window import Window

RELIEF_WAVE_IN = 0.6
"""Relief coarser than this shifts what is seen in the photo; finer relief is only shaded."""
UNDISTORT_STEPS = 6
STRIP_ROWS = 96
OBJECT_FINENESS = 1.4
"""Pixels of the object's painted front to a pixel of the photo."""


@dataclass(frozen=True, eq=False)
class View:
    """A camera with a photo size: what projects wall points to pixels."""

    camera: Camera
    photo_size: tuple[int, int]
    """Width and height."""

    @property
    def focal_px(self) -> float:
        """Focal length in pixels."""
        return self.camera.focal_share * self.photo_size[0]

    @property
    def centre(self) -> tuple[float, float]:
        """Principal point, column and row: the middle of the photo."""
        return (self.photo_size[0] - 1) / 2, (self.photo_size[1] - 1) / 2

    def axes(self) -> NDArray[np.float64]:
        """``(3, 3)`` rows: the camera's right, down and forward in world axes (x, y, z)."""
        yaw, pitch, roll = np.radians([self.camera.yaw_deg, self.camera.pitch_deg, self.camera.roll_deg])
        forward = np.array([np.sin(yaw) * np.cos(pitch), -np.cos(yaw) * np.cos(pitch), np.sin(pitch)])
        level = np.array([np.cos(yaw), np.sin(yaw), 0.0])
        below = np.cross(forward, level)
        right = np.cos(roll) * level + np.sin(roll) * below
        down = np.cos(roll) * below - np.sin(roll) * level
        return np.array([right, down, forward])

    def plane_to_photo(self, out_in: float) -> NDArray[np.float64]:
        """``(3, 3)`` homography from (x, z) inches in the plane y = ``out_in`` to undistorted pixels."""
        camera = self.camera
        middle = np.array([[self.focal_px, 0, self.centre[0]], [0, self.focal_px, self.centre[1]], [0, 0, 1]])
        offset = np.array([-camera.x_in, out_in - camera.distance_in, -camera.z_in])
        matrix = middle @ self.axes() @ np.column_stack([[1, 0, 0], [0, 0, 1], offset])
        return np.asarray(matrix / matrix[2, 2])

    def distort(self, points_px: Points) -> Points:
        """Undistorted pixels to photo pixels: p' = c + (p - c)(1 + k1 r^2), r in focal lengths."""
        off = np.asarray(points_px) - self.centre
        radius2 = (off**2).sum(axis=1, keepdims=True) / self.focal_px**2
        return np.asarray(self.centre + off * (1 + self.camera.k1 * radius2))

    def undistorted_grid(self, box: tuple[int, int, int, int]) -> tuple[Field, Field]:
        """Undistorted column and row of each photo pixel in a box (left, top, right, bottom)."""
        left, top, right, bottom = box
        col = np.arange(left, right, dtype=np.float32)[None, :] - np.float32(self.centre[0])
        row = np.arange(top, bottom, dtype=np.float32)[:, None] - np.float32(self.centre[1])
        if self.camera.k1:
            radius2 = (col**2 + row**2) / np.float32(self.focal_px**2)
            shrink = np.ones_like(radius2)
            for _ in range(UNDISTORT_STEPS):
                shrink = 1 / (1 + np.float32(self.camera.k1) * radius2 * shrink**2)
            col, row = col * shrink, row * shrink
        shape = (bottom - top, right - left)
        return (
            np.broadcast_to(col + np.float32(self.centre[0]), shape),
            np.broadcast_to(row + np.float32(self.centre[1]), shape),
        )


def _apply(matrix: ArrayLike, col: Field, row: Field) -> tuple[Field, Field]:
    m = np.asarray(matrix, np.float32)
    under = m[2, 0] * col + m[2, 1] * row + m[2, 2]
    return (m[0, 0] * col + m[0, 1] * row + m[0, 2]) / under, (
        m[1, 0] * col + m[1, 1] * row + m[1, 2]
    ) / under


def window_of(view: View) -> Window:
    """The stretch of wall plane that the photo shows, at the photo's own fineness."""
    width, height = view.photo_size
    edge = np.linspace(0, 1, 9)[:, None] * [width, height]
    border = np.vstack(
        [np.column_stack([edge[:, 0], np.full(9, v)]) for v in (0, height)]
        + [np.column_stack([np.full(9, u), edge[:, 1]]) for u in (0, width)]
    )
    # Barrel distortion shows more than the undistorted frame does.
    reach = 1 + 0.6 * abs(view.camera.k1)
    border = (border - view.centre) * reach + view.centre
    wall = apply_homography(np.linalg.inv(view.plane_to_photo(0.0)), border)
    low, high = wall.min(axis=0) - 0.4, wall.max(axis=0) + 0.4
    px_per_in = view.focal_px / view.camera.distance_in
    cols, rows = np.ceil((high - low) * px_per_in).astype(int) + 1
    return Window(float(low[0]), float(low[1]), float(px_per_in), int(rows), int(cols))


@dataclass(frozen=True, eq=False)
class Exposure:
    """A photo before it becomes a file, with what the truth needs to know of it."""

    rgb: NDArray[np.uint8]
    root_mask: NDArray[np.bool_]
    blocked: NDArray[np.bool_]
    """``(M, N)`` pixels that the scale object covers."""
    flat: Flat
    window: Window
    relief_in: Field
    """``(M, N)`` on the window: coarse relief, mean 0."""
    view: View

    def seen_in(self, points_in: Points) -> Points:
        """Where wall points appear in the plane y = 0 as seen from the camera."""
        camera = self.view.camera
        at = self.window.to_px(points_in).astype(np.float32)
        height = seen_at(self.relief_in, at[:, None])[:, 0].astype(float)
        off = np.asarray(points_in) - [camera.x_in, camera.z_in]
        return np.asarray(points_in + off * (height / (camera.distance_in - height))[:, None])


def photograph(scene: Scene, photo_size: tuple[int, int]) -> Exposure:
    """Paint the wall and take its picture."""
    view = View(scene.camera, photo_size)
    window = window_of(view)
    flat = paint(scene, window)
    relief = blur(flat.face.height_in, RELIEF_WAVE_IN * window.px_per_in)
    relief -= relief[flat.clear > 0.5].mean()
    width, height = photo_size
    linear = np.empty((height, width, 3), np.float32)
    cover = np.empty((height, width), np.float32)
    to_plane = np.linalg.inv(view.plane_to_photo(0.0))
    for top in range(0, height, STRIP_ROWS):  # strips stay in the processor's cache
        rows = np.s_[top : min(top + STRIP_ROWS, height)]
        col, row = view.undistorted_grid((0, rows.start, width, rows.stop))
        x, z = _apply(to_plane, col, row)
        at = _through_relief(scene.camera, window, relief, x, z)
        linear[rows] = cv2.remap(flat.rgb, *at, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        cover[rows] = cv2.remap(flat.face.root, *at, cv2.INTER_LINEAR)
    blocked = np.zeros(cover.shape, np.bool_)
    if scene.scale.kind != "none":
        _hang(linear, blocked, scene, view, window)
    rng = np.random.default_rng(scene.faults.seed)
    photo = develop(linear, scene, width / 3000, rng, scene.faults.vignette)
    photo = _soft_corners(photo, view, scene.faults.tilt_blur)
    return Exposure(photo, (cover > 0.5) & ~blocked, blocked, flat, window, relief, view)


def _through_relief(
    camera: Camera, window: Window, relief_in: Field, x: Field, z: Field
) -> tuple[Field, Field]:
    """Window pixels seen along each ray: the ray meets the relief before or behind the plane.

    A point of height h appears on the plane at p + (p - c) h / (D - h); this
    undoes it by two rounds of substitution, enough for relief this gentle.
    """
    ppi = np.float32(window.px_per_in)
    x0, z0 = np.float32(window.x0_in), np.float32(window.z0_in)
    map_x, map_z = (x - x0) * ppi, (z - z0) * ppi
    to_x, to_z = (x - np.float32(camera.x_in)) * ppi, (z - np.float32(camera.z_in)) * ppi
    share_of = relief_in / np.float32(camera.distance_in)
    at_x, at_z = map_x, map_z
    for _ in range(2):
        share = cv2.remap(share_of, at_x, at_z, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        at_x, at_z = map_x - share * to_x, map_z - share * to_z
    return at_x, at_z


def _hang(
    linear: NDArray[np.float32], blocked: NDArray[np.bool_], scene: Scene, view: View, window: Window
) -> None:
    """Lay the scale object's picture over the photo, in its own plane in front of the wall."""
    scale = scene.scale
    to_photo = view.plane_to_photo(scale.out_in)
    corners = view.distort(apply_homography(to_photo, outline_in(scale)))
    low = np.maximum(np.floor(corners.min(axis=0)).astype(int) - 3, 0)
    high = np.minimum(np.ceil(corners.max(axis=0)).astype(int) + 4, view.photo_size)
    if (high <= low).any():
        return
    fine = OBJECT_FINENESS * window.px_per_in
    front = face_of(scale, fine, scene.ground.topsoil_rgb)
    col, row = view.undistorted_grid((int(low[0]), int(low[1]), int(high[0]), int(high[1])))
    x, z = _apply(np.linalg.inv(to_photo), col, row)
    turn = np.radians(scale.rotation_deg)
    dx, dz = x - np.float32(scale.x_in), z - np.float32(scale.z_in)
    u = dx * np.float32(np.cos(turn)) + dz * np.float32(np.sin(turn))
    v = dz * np.float32(np.cos(turn)) - dx * np.float32(np.sin(turn))
    rows, cols = front.shape[:2]
    # Pixel 0.5 is the front's left edge: one pixel of margin lies around it.
    per_u, per_v = np.float32((cols - 2) / scale.width_in), np.float32((rows - 2) / scale.height_in)
    map_u = (u + np.float32(scale.width_in / 2)) * per_u + np.float32(0.5)
    map_v = (v + np.float32(scale.height_in / 2)) * per_v + np.float32(0.5)
    front = cv2.GaussianBlur(front, (0, 0), 0.4 * OBJECT_FINENESS, borderType=cv2.BORDER_REPLICATE)
    front = cv2.remap(front, map_u, map_v, cv2.INTER_LINEAR)
    sun = large_shadows(scene.light, window)
    px = np.float32(window.px_per_in)
    sun = cv2.remap(sun, (x - np.float32(window.x0_in)) * px, (z - np.float32(window.z0_in)) * px,
                    cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)  # fmt: skip
    part = linear[low[1] : high[1], low[0] : high[0]]
    cover = front[..., 3:]
    lit = lit_front(front / np.maximum(cover, 0.2), scale, scene.light, sun)
    part += cover * (lit - part)
    blocked[low[1] : high[1], low[0] : high[0]] |= front[..., 3] > 0.5


def _soft_corners(photo: NDArray[np.uint8], view: View, more_px: float) -> NDArray[np.uint8]:
    """Blend toward a blurred copy away from the middle: a lens focused on the middle of the wall."""
    sigma = more_px * view.photo_size[0] / 3000
    if sigma < 0.3:
        return photo
    soft = cv2.GaussianBlur(photo, (0, 0), sigma)
    share = corner_share(photo.shape[:2])
    return cv2.blendLinear(soft, photo, share, 1 - share)
