"""Paint a window of a wall, flat in the wall plane and in linear light."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rootread.scene.bodies import cut_groove, cut_mark, lay_litter, lay_root, set_stone
from rootread.scene.describe import Scene
from rootread.scene.held import add_thing, cast_on_wall, outline_in, rim, thing_outline
from rootread.scene.noise import Field, fractal
from rootread.scene.shade import shade
from rootread.scene.soil import Face, bare_face
from rootread.scene.surroundings import above, add_floor, add_stalk, surface_cover
from rootread.scene.window import Window


@dataclass(frozen=True, eq=False)
class Flat:
    """A painted window."""

    rgb: NDArray[np.float32]
    """``(M, N, 3)`` linear radiance."""
    face: Face
    clear: Field
    """``(M, N)`` 1 where the face is seen, 0 under stalks and out over the surface."""


def build_face(scene: Scene, window: Window, seed: int) -> Face:
    """Soil with everything that lies in and on it, not yet lit."""
    rng = np.random.default_rng([scene.seed, seed])
    face = bare_face(scene.ground, window, seed)
    ppi = window.px_per_in
    for groove in (*scene.channels, *scene.cracks):
        cut_groove(face, window, groove, rng)
    for mark in scene.tool_marks:
        cut_mark(face, window, mark)
    ground = (face.soften(0.12 * ppi), face.soften(0.04 * ppi))
    dirt = fractal(window.shape, 0.4 * ppi, 0.03 * ppi, rng, 0.75)
    for stone in scene.stones:
        set_stone(face, window, stone)
    litter = list(scene.litter)
    for number, root in enumerate(scene.roots):
        # Litter lies among the roots: over some, under others.
        while litter and len(litter) * len(scene.roots) > (len(scene.roots) - number) * len(scene.litter):
            lay_litter(face, window, litter.pop(), ground[0], dirt)
        lay_root(face, window, root, number, ground, dirt)
    for piece in litter:
        lay_litter(face, window, piece, ground[0], dirt)
    return face


def paint(scene: Scene, window: Window, seed: int = 0) -> Flat:
    """Paint a window: face, surroundings, stalks; no scale object yet.

    ``seed`` settles fine texture together with the scene's own seed.
    """
    rng = np.random.default_rng([scene.seed, seed, 7])
    face = build_face(scene, window, seed)
    rgb = shade(face, scene.light, window, *_held_back(scene, window))
    clear = np.ones(window.shape, np.float32)
    add_floor(rgb, clear, scene, window, rng)
    if window.z0_in < float(scene.surface[:, 1].max()) + 1:
        solid = surface_cover(scene, window, rng)
        # Litter on the surface stands out over the edge.
        edge = np.maximum(solid, face.body)
        rows = int(np.flatnonzero(solid.min(axis=1) < 1).max(initial=-1)) + 1
        if rows:
            view = above(scene.backdrop, window, rows, rng)
            view *= np.array(scene.light.sky_rgb, np.float32) * np.float32(0.9)
            rgb[:rows] = view + edge[:rows, :, None] * (rgb[:rows] - view)
        clear = np.minimum(clear, edge)
    stalks = np.zeros(window.shape, np.float32)
    for crown in scene.crowns:
        if window.z0_in < crown.z_in + 1:
            add_stalk(rgb, stalks, crown, scene, window)
    for thing in scene.things:
        add_thing(rgb, stalks, thing, scene.light, window)
    clear *= 1 - stalks
    face.root[...] *= clear
    face.root_id[clear < 0.5] = -1
    return Flat(rgb, face, clear)


def _held_back(scene: Scene, window: Window) -> tuple[Field | None, Field | None]:
    """Sun and sky that the scale object, hands and tools leave to the wall, 0 to 1."""
    sun: Field | None = None
    sky: Field | None = None
    scale = scene.scale
    bodies = [(outline, thing.out_in) for thing in scene.things for outline in thing_outline(thing)]
    if scale.kind != "none":
        bodies.append((outline_in(scale), scale.out_in))
    for outline, out_in in bodies:
        middle = outline.mean(axis=0)
        reach = float(np.hypot(*(outline - middle).T).max()) + 4 * out_in
        if window.sees(float(middle[0]), float(middle[1]), reach):
            own_sun = cast_on_wall(outline, out_in, scene.light, window)
            own_sky = rim(outline, out_in, window)
            sun = own_sun if sun is None else sun * own_sun
            sky = own_sky if sky is None else sky * own_sky
    return sun, sky
