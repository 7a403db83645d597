"""The scale object and other things held in front of the face: how they look, and the shade they cast."""

import cv2
import numpy as np
from numpy.typing import NDArray

from rootread.geometry import Points
from rootread.scene.describe import Light, ScaleObject, Thing
from rootread.scene.noise import Field, fractal
from rootread.scene.soil import blur
from rootread.scene.window import Window

MARKER_GRID_IN = (5.5, 8.0)
MARKER_IDS = (0, 1, 2, 3)
"""Clockwise from top left."""
TICKS_IN = ((0.125, 0.25), (0.5, 0.4), (1.0, 0.6))
"""Spacing of a tape's ticks and their length as a share of its width."""


def outline_in(scale: ScaleObject) -> Points:
    """``(4, 2)`` corners in the wall plane, clockwise from top left."""
    half_w, half_h = scale.width_in / 2, scale.height_in / 2
    corners = np.array([[-half_w, -half_h], [half_w, -half_h], [half_w, half_h], [-half_w, half_h]])
    return object_to_wall(scale, corners)


def object_to_wall(scale: ScaleObject, points_in: Points) -> Points:
    """Inches from the object's centre, down its length, to wall inches."""
    turn = np.radians(scale.rotation_deg)
    rotation = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    return np.asarray(points_in) @ rotation.T + [scale.x_in, scale.z_in]


def face_of(
    scale: ScaleObject, px_per_in: float, soil_rgb: tuple[float, float, float]
) -> NDArray[np.float32]:
    """``(rows, cols, 4)`` linear reflectance and cover of the object's front, one pixel of margin around."""
    rows, cols = round(scale.height_in * px_per_in), round(scale.width_in * px_per_in)
    dark = {"card": _card, "staff": _staff, "tape": _tape}[scale.kind](scale, px_per_in, (rows, cols))
    rng = np.random.default_rng(scale.seed)
    light, ink = np.array(scale.light_rgb, np.float32), np.array(scale.dark_rgb, np.float32)
    rgb = light + dark[..., None] * (ink - light)
    rgb *= np.exp(0.02 * fractal((rows, cols), 2 * px_per_in, 2, rng, 0.7))[..., None]
    if scale.dirt > 0:
        blotch = fractal((rows, cols), 1.5 * px_per_in, 2, rng, 0.7) - 2.0 + 2.2 * scale.dirt
        film = 0.5 * scale.dirt * np.clip(fractal((rows, cols), 6 * px_per_in, px_per_in, rng) + 0.5, 0, 1)
        share = np.clip(np.clip(3 * blotch, 0, 0.9) + film, 0, 0.95)[..., None]
        rgb += share * (np.array(soil_rgb, np.float32) * 1.1 - rgb)
    out = np.zeros((rows + 2, cols + 2, 4), np.float32)
    out[1:-1, 1:-1, :3], out[1:-1, 1:-1, 3] = rgb, 1.0
    out[[0, -1], :, :3], out[:, [0, -1], :3] = out[[1, -2], :, :3], out[:, [1, -2], :3]
    return out


def _card(scale: ScaleObject, px_per_in: float, shape: tuple[int, int]) -> Field:
    dark = np.zeros(shape, np.float32)
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    side = round(scale.unit_in * px_per_in)
    centre = (np.array(shape[::-1]) - 1) / 2
    gx, gz = MARKER_GRID_IN[0] / 2, MARKER_GRID_IN[1] / 2
    for number, (dx, dz) in zip(MARKER_IDS, ((-gx, -gz), (gx, -gz), (gx, gz), (-gx, gz)), strict=True):
        bits = cv2.aruco.generateImageMarker(dictionary, number, 6)
        square = 1 - cv2.resize(bits, (side, side), interpolation=cv2.INTER_NEAREST).astype(np.float32) / 255
        place = centre + np.array([dx, dz]) * px_per_in - (side - 1) / 2
        # The marker seldom starts on a whole pixel: place it exactly.
        move = np.array([[1, 0, place[0]], [0, 1, place[1]]])
        dark = np.maximum(dark, cv2.warpAffine(square, move, shape[::-1], flags=cv2.INTER_LINEAR))
    return dark


def _staff(scale: ScaleObject, px_per_in: float, shape: tuple[int, int]) -> Field:
    down_in = (np.arange(shape[0]) + 0.5) / px_per_in
    phase = (down_in / scale.unit_in + (0 if scale.dark_first else 1)) % 2
    edge = np.minimum(phase % 1, 1 - phase % 1) * scale.unit_in * px_per_in
    dark = np.where(phase < 1, 0.5 + np.minimum(edge, 0.5), 0.5 - np.minimum(edge, 0.5))
    return np.repeat(dark.astype(np.float32)[:, None], shape[1], axis=1)


def _tape(scale: ScaleObject, px_per_in: float, shape: tuple[int, int]) -> Field:
    dark = np.zeros(shape, np.float32)
    down_in = (np.arange(shape[0]) + 0.5) / px_per_in
    for spacing, length in TICKS_IN:
        off_px = np.abs((down_in + spacing / 2) % spacing - spacing / 2) * px_per_in
        line = np.clip(max(0.011 * px_per_in, 0.5) - off_px + 0.5, 0, 1).astype(np.float32)
        long = int(length * shape[1])
        dark[:, :long] = np.maximum(dark[:, :long], line[:, None])
    if scale.numbered:
        ink = np.zeros(shape, np.uint8)
        for inch in range(1, int(scale.height_in)):
            place = (int(0.62 * shape[1]), int((inch + 0.09) * px_per_in))
            cv2.putText(ink, str(inch), place, cv2.FONT_HERSHEY_SIMPLEX, 0.0085 * px_per_in, 255,
                        max(int(0.018 * px_per_in), 1), cv2.LINE_AA)  # fmt: skip
        dark = np.maximum(dark, ink.astype(np.float32) / 255)
    return dark


def lit_front(
    face: NDArray[np.float32], scale: ScaleObject, light: Light, sun_left: Field
) -> NDArray[np.float32]:
    """Radiance of a front that faces the camera, given the sun left at each pixel."""
    ly = light.to_sun[2]
    out = np.empty_like(face[..., :3])
    for channel in range(3):
        lit = sun_left * np.float32(ly * light.sun_rgb[channel]) + np.float32(light.sky_rgb[channel] + 0.1)
        out[..., channel] = face[..., channel] * lit
    if scale.gloss > 0:
        rows = np.linspace(0, 1, face.shape[0], dtype=np.float32)[:, None]
        out += (scale.gloss * 0.4 * np.exp(-(((rows - 0.3) / 0.25) ** 2)))[..., None]
    return out


def cast_on_wall(outline: Points, out_in: float, light: Light, window: Window) -> Field:
    """``(M, N)`` sun left on the wall behind a flat thing that stands ``out_in`` in front of it."""
    lx, lz, ly = light.to_sun
    shade = np.zeros(window.shape, np.float32)
    moved = outline - np.array([lx, lz]) * min(out_in / max(ly, 0.2), 4 * out_in)
    cv2.fillPoly(shade, [np.rint(window.to_px(moved) * 16).astype(np.int32)], 1.0, cv2.LINE_AA, 4)
    return 1 - blur(shade, (0.02 + light.haze * out_in * 0.6) * window.px_per_in)


def rim(outline: Points, out_in: float, window: Window) -> Field:
    """``(M, N)`` sky left on the wall around a thing close in front of it."""
    near = np.zeros(window.shape, np.float32)
    cv2.fillPoly(near, [np.rint(window.to_px(outline) * 16).astype(np.int32)], 1.0, cv2.LINE_AA, 4)
    return 1 - 0.7 * blur(near, (0.1 + out_in) * window.px_per_in * 0.6)


def thing_outline(thing: Thing) -> list[Points]:
    """Rough outlines of a thing's strokes, for its shadow."""
    found = []
    for (x0, z0), (x1, z1), radius in thing.strokes:
        way = np.array([x1 - x0, z1 - z0])
        off = radius * np.array([-way[1], way[0]]) / max(float(np.hypot(*way)), 1e-6)
        first, last = np.array([x0, z0]), np.array([x1, z1])
        found.append(np.array([first + off, last + off, last - off, first - off]))
    return found


def add_thing(rgb: NDArray[np.float32], solid: Field, thing: Thing, light: Light, window: Window) -> None:
    """Paint a hand or tool: thick rounded strokes, lit like tubes; ``solid`` marks where."""
    lx, lz, ly = light.to_sun
    for (x0, z0), (x1, z1), radius in thing.strokes:
        ends = window.to_px([[x0, z0], [x1, z1]])
        reach = radius * window.px_per_in
        low = np.maximum(np.floor(ends.min(axis=0) - reach - 2), 0).astype(int)
        high = np.minimum(np.ceil(ends.max(axis=0) + reach + 2), [window.cols, window.rows]).astype(int)
        if (high <= low).any():
            continue
        rr, cc = np.mgrid[low[1] : high[1], low[0] : high[0]].astype(np.float32)
        way = ends[1] - ends[0]
        t = ((cc - ends[0, 0]) * way[0] + (rr - ends[0, 1]) * way[1]) / max(float(way @ way), 1e-6)
        t = np.clip(t, 0, 1)
        nx, nz = (cc - ends[0, 0] - t * way[0]) / reach, (rr - ends[0, 1] - t * way[1]) / reach
        off = np.hypot(nx, nz)
        share = np.clip((1 - off) * reach + 0.5, 0, 1)
        up = np.sqrt(np.clip(1 - off**2, 0, 1))
        facing = np.maximum(lx * nx + lz * nz + ly * up, 0)
        part = rgb[low[1] : high[1], low[0] : high[0]]
        for channel in range(3):
            lit = light.sun_rgb[channel] * facing + light.sky_rgb[channel] * (0.45 + 0.5 * up)
            own = thing.rgb[channel] * lit + thing.gloss * 0.5 * facing**12
            part[..., channel] += share * (own - part[..., channel])
        place = solid[low[1] : high[1], low[0] : high[0]]
        np.maximum(place, share, out=place)
