"""Walls drawn for tests by OpenCV's own camera model, nothing of rootread in the drawing.

A wall is a function from inches to linear light; a photo of it is that
function seen through the inverse of ``cv2.projectPoints``, averaged over sub-pixels, with
blur and noise added. World axes: x right, z down, y into the wall.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from rootread.fieldsheet import SheetRow
from rootread.photo import Photo
from rootread.plane import WallPlane, find_plane
from rootread.settings import PlaneSettings

Field = NDArray[np.float64]
Paint = Callable[[Field, Field], Field]
"""x and z in inches, ``(...)``, to linear light, ``(..., 3)``."""

WHITE, BLACK, YELLOW = (0.80, 0.80, 0.78), (0.03, 0.03, 0.03), (0.65, 0.50, 0.04)
SOIL, SKY = (0.115, 0.075, 0.045), (0.55, 0.65, 0.80)
# Neighbouring pixels of soil differ by less than this in linear light.
EDGE = 0.05


@dataclass(frozen=True)
class DrawnCamera:
    """A pinhole with one radial term, looking at a place on the wall."""

    size_px: tuple[int, int] = (1000, 750)
    focal_px: float = 750.0
    yaw_deg: float = 0.0
    pitch_deg: float = 0.0
    roll_deg: float = 0.0
    distance_in: float = 27.0
    aim_in: tuple[float, float] = (0.0, 10.0)
    k1: float = 0.0

    @property
    def matrix(self) -> Field:
        middle = (np.array(self.size_px) - 1) / 2
        return np.array([[self.focal_px, 0, middle[0]], [0, self.focal_px, middle[1]], [0, 0, 1.0]])

    @property
    def pose(self) -> tuple[Field, Field]:
        """``(3, 3)`` world (x, z, y) to camera axes, and the ``(3,)`` shift."""
        yaw, pitch, roll = np.radians([self.yaw_deg, self.pitch_deg, self.roll_deg])
        turn = cv2.Rodrigues(np.array([0, 0, roll]))[0]
        turn = turn @ cv2.Rodrigues(np.array([pitch, 0, 0]))[0] @ cv2.Rodrigues(np.array([0, yaw, 0]))[0]
        at = np.array([*self.aim_in, 0.0])
        return turn, np.array([0, 0, self.distance_in]) - turn @ at

    def to_photo(self, points_in: Field) -> Field:
        turn, shift = self.pose
        world = np.column_stack([points_in, np.zeros(len(points_in))])
        coefficients = np.array([self.k1, 0, 0, 0, 0.0])
        return cv2.projectPoints(world, cv2.Rodrigues(turn)[0], shift, self.matrix, coefficients)[0][:, 0]

    def to_wall(self, points_px: Field) -> Field:
        turn, shift = self.pose
        bent = (points_px - self.matrix[:2, 2]) / self.focal_px
        rays = bent
        # Newton's steps for r (1 + k1 r^2) = r_bent, along each ray.
        for _ in range(8 if self.k1 else 0):
            square = np.sum(rays**2, axis=1, keepdims=True)
            rays = rays - (rays * (1 + self.k1 * square) - bent) / (1 + 3 * self.k1 * square)
        plane = np.linalg.inv(np.column_stack([turn[:, 0], turn[:, 1], shift]))
        x, y = rays[:, 0], rays[:, 1]
        under = plane[2, 0] * x + plane[2, 1] * y + plane[2, 2]
        return np.stack([(row[0] * x + row[1] * y + row[2]) / under for row in plane[:2]], axis=-1)

    def px_per_in(self, at_in: tuple[float, float]) -> float:
        """Root of the area ratio at a place on the wall."""
        x, z = at_in
        corners = self.to_photo(np.array([[x, z], [x + 0.1, z], [x, z + 0.1]]))
        across, along = (corners[1:] - corners[0]) / 0.1
        return float(np.sqrt(abs(across[0] * along[1] - across[1] * along[0])))


CAMERA = DrawnCamera()
"""Its photo shows 36 in of wall from side to side, and 27 from -3.5 to 23.5 in depth."""
TAPE_CAMERA = DrawnCamera((1200, 900), 900.0, distance_in=19.0, aim_in=(0.0, 7.5))
"""Nearer and sharper, since ticks are an eighth of an inch: 25 in, and 19 from -2 to 17 in depth."""


def read(photo: Photo, scale: str = "auto", unit_in: float | None = None) -> WallPlane:
    """The plane of a drawn photo, of which the sheet may say what its scale object is."""
    row = SheetRow("drawn.jpg", "drawn", scale=scale, scale_unit_in=unit_in)
    return find_plane(photo, row, None, PlaneSettings())


def photograph(
    camera: DrawnCamera,
    paint: Paint,
    *,
    blur_px: float = 0.6,
    noise: float = 0.006,
    samples: int = 8,
    seed: int = 1,
) -> Photo:
    """A photo of a painted wall; ``noise`` is of linear light.

    One sample a pixel, and ``samples`` where neighbours differ, that is at edges.
    """
    columns, rows = camera.size_px
    grid = np.stack(np.meshgrid(np.arange(columns), np.arange(rows)), axis=-1).reshape(-1, 2).astype(float)

    def light_at(points_px: Field) -> Field:
        wall_in = camera.to_wall(points_px)
        return paint(wall_in[:, 0], wall_in[:, 1])

    light = light_at(grid).reshape(rows, columns, 3)
    tone = light.mean(axis=2).astype(np.float32)
    ring = np.ones((3, 3), np.uint8)
    differ = cv2.dilate(tone, ring) - cv2.erode(tone, ring) > EDGE
    fine = cv2.dilate(differ.astype(np.uint8), np.ones((3, 3), np.uint8)).astype(bool)
    places = grid[fine.ravel()]
    offsets = (np.arange(samples) + 0.5) / samples - 0.5
    # As rooks that do not threaten each other: an upright or level edge meets every offset once.
    shifts = zip(offsets, np.roll(offsets[::-1], 3), strict=True)
    light[fine] = sum(light_at(places + np.array(shift)) for shift in shifts) / samples
    light = cv2.GaussianBlur(light, (0, 0), blur_px)
    light = light + np.random.default_rng(seed).normal(0.0, noise, light.shape)
    return Photo(None, srgb(light))


def srgb(light: Field) -> NDArray[np.uint8]:
    """IEC 61966-2-1."""
    light = np.clip(light, 0.0, 1.0)
    code = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    return np.round(255 * code).astype(np.uint8)


def soil_wall(surface: Callable[[Field], Field] | None = None, seed: int = 3) -> Paint:
    """Rough soil under a plain sky; the surface is z = 0 unless given."""
    lattice = np.random.default_rng(seed).lognormal(0.0, 0.35, (512, 512)).astype(np.float32)

    def paint(x: Field, z: Field) -> Field:
        # cv2.remap takes no more than 32767 rows, so places go in as one wide picture.
        column, row = (np.float32(place.reshape(1, -1) * 9.0 + 2000.0) % 511.0 for place in (x, z))
        parts = [
            cv2.remap(lattice, *part, cv2.INTER_LINEAR)
            for part in zip(*(np.array_split(place, 99, axis=1) for place in (column, row)), strict=True)
        ]
        rough = np.concatenate(parts, axis=1).reshape(x.shape)
        light = rough[..., None] * np.array(SOIL)
        above = z < (surface(x) if surface is not None else 0.0)
        light[above] = SKY
        return light

    return paint


def hung(wall: Paint, face: Paint, centre_in: tuple[float, float], lean_deg: float = 0.0) -> Paint:
    """A flat thing on a wall; ``face`` gives NaN off the thing. Leans clockwise."""
    lean = np.radians(lean_deg)

    def paint(x: Field, z: Field) -> Field:
        dx, dz = x - centre_in[0], z - centre_in[1]
        u, v = dx * np.cos(lean) + dz * np.sin(lean), dz * np.cos(lean) - dx * np.sin(lean)
        front = face(u, v)
        return np.where(np.isnan(front), wall(x, z), front)

    return paint


def covered(wall: Paint, discs: list[tuple[float, float, float]], tone: tuple[float, ...] = SOIL) -> Paint:
    """A wall with clods in front: discs of x, z and radius in inches."""

    def paint(x: Field, z: Field) -> Field:
        light = wall(x, z)
        for x0, z0, radius in discs:
            light = np.where((np.hypot(x - x0, z - z0) < radius)[..., None], np.array(tone), light)
        return light

    return paint


def shaded(wall: Paint, edge_z_in: float, left: float) -> Paint:
    """A shadow below a level line, that leaves a share of the light."""
    return lambda x, z: wall(x, z) * np.where(z > edge_z_in, left, 1.0)[..., None]


def card_face(scale: float = 1.0, markers: tuple[int, ...] = (0, 1, 2, 3)) -> Paint:
    """The scale card, printed ``scale`` times too large."""
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    bits = {marker: cv2.aruco.generateImageMarker(dictionary, marker, 6) > 0 for marker in markers}
    centres = ((-2.75, -4.0), (2.75, -4.0), (2.75, 4.0), (-2.75, 4.0))

    def paint(u: Field, v: Field) -> Field:
        u, v = u / scale, v / scale
        light = np.full((*u.shape, 3), np.nan)
        light[(np.abs(u) < 4.25) & (np.abs(v) < 5.5)] = WHITE
        for marker, cells in bits.items():
            column, row = (
                (place - centre + 1.0) * 3 for place, centre in zip((u, v), centres[marker], strict=True)
            )
            inside = (column >= 0) & (column < 6) & (row >= 0) & (row < 6)
            white = cells[row[inside].astype(int), column[inside].astype(int)]
            light[inside] = np.where(white[:, None], WHITE, BLACK)
        return light

    return paint


def rough(wall: Paint, grain_in: float = 0.1, depth: float = 0.6, seed: int = 3) -> Paint:
    """The wall with grains of many tones, so much lighter or darker at most."""
    grains = np.random.default_rng(seed).uniform(-depth, depth, (256, 256))

    def paint(u: Field, v: Field) -> Field:
        at = tuple((np.floor(place / grain_in).astype(int) % 256) for place in (u, v))
        light: Field = wall(u, v) * np.exp(grains[at])[..., None]
        return light

    return paint


def staff_face(length_in: float = 18.0, band_in: float = 1.0, width_in: float = 1.5) -> Paint:
    """Bands from the top, dark first."""

    def paint(u: Field, v: Field) -> Field:
        dark = np.floor((v + length_in / 2) / band_in) % 2 == 0
        light = np.where(dark[..., None], BLACK, WHITE)
        light[(np.abs(u) > width_in / 2) | (np.abs(v) > length_in / 2)] = np.nan
        return light

    return paint


def tape_face(
    length_in: float = 18.0,
    unit_in: float = 0.125,
    long_every: tuple[tuple[int, float], ...] = ((1, 0.25), (4, 0.4), (8, 0.6)),
    width_in: float = 1.0,
    ink: tuple[float, ...] = BLACK,
) -> Paint:
    """Ticks from the left side: every n-th reaches a share of the width."""
    thick_in = 0.024

    def paint(u: Field, v: Field) -> Field:
        light = np.broadcast_to(np.array(YELLOW), (*u.shape, 3)).copy()
        along = v + length_in / 2
        for every, reach in long_every:
            spacing = unit_in * every
            off = np.abs((along + spacing / 2) % spacing - spacing / 2)
            light[(off < thick_in / 2) & (u + width_in / 2 < reach * width_in)] = ink
        light[(np.abs(u) > width_in / 2) | (np.abs(v) > length_in / 2)] = np.nan
        return light

    return paint


def scale_error(camera: DrawnCamera, to_wall_in: Callable[[Field], Field]) -> tuple[float, float]:
    """How much too large lengths read over the wall, and how far they are turned, degrees.

    A similarity between the wall as read and as drawn, least squares over the middle of the photo.
    """
    columns, rows = np.meshgrid(np.linspace(0.2, 0.8, 7), np.linspace(0.3, 0.9, 7))
    photo_px = np.column_stack([columns.ravel() * camera.size_px[0], rows.ravel() * camera.size_px[1]])
    read, drawn = to_wall_in(photo_px), camera.to_wall(photo_px)
    p, q = (points[:, 0] + 1j * points[:, 1] for points in (drawn, read))
    p, q = p - p.mean(), q - q.mean()
    ratio = np.vdot(p, q) / np.vdot(p, p)
    return float(abs(ratio) - 1.0), float(np.degrees(np.angle(ratio)))


def tilted(camera: DrawnCamera, yaw_deg: float, pitch_deg: float, roll_deg: float = 0.0) -> DrawnCamera:
    return replace(camera, yaw_deg=yaw_deg, pitch_deg=pitch_deg, roll_deg=roll_deg)
