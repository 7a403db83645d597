"""Small pieces of made walls where roots run close together."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from rootread.geometry import Points
from rootread.scene import Scene, choose_centre, render_roots
from rootread.train.feed import looks_of

PX_PER_IN = (44.0, 125.0)
CLOSE_IN = 0.13
"""Roots whose centrelines come this near may touch."""
CROPS_A_SCENE = 30
CROPS_A_LOOK = 6
ON_CLOSE = 0.85
"""Share of the crops that is cut where roots are close."""
SPREAD_IN = 0.25
WAVINESS = (0.7, 3.5)
"""Some roots run straight and some twist: times as wavy as usual, all alike on a log scale."""
WRINKLED = 0.6
"""Share of the crops whose roots have wrinkles along their skin, which are no seams."""
WRINKLE = (0.04, 0.3)
"""Their depth, all alike on a log scale."""

Crop = tuple[NDArray[np.uint8], NDArray[np.int16], NDArray[np.float16]]


def close_places(scene: Scene) -> Points:
    """``(P, 2)`` where two roots of a scene come near each other, x and z in inches."""
    if len(scene.roots) < 2:
        return np.empty((0, 2))
    points = np.concatenate([root.points for root in scene.roots])
    owner = np.repeat(np.arange(len(scene.roots)), [len(root.points) for root in scene.roots])
    pairs = cKDTree(points).query_pairs(CLOSE_IN, output_type="ndarray")
    at = points[np.unique(pairs[owner[pairs[:, 0]] != owner[pairs[:, 1]]])]
    return at[((at > 0) & (at < (scene.width_in, scene.depth_in))).all(axis=1)]


def wrinkled(scene: Scene, rng: np.random.Generator) -> Scene:
    """The scene with wrinkles along the skin of its roots, some deeper than others."""
    depth = np.exp(rng.uniform(*np.log(WRINKLE)) + rng.normal(0, 0.3, len(scene.roots)))
    roots = tuple(replace(root, wrinkle=float(d)) for root, d in zip(scene.roots, depth, strict=True))
    return replace(scene, roots=roots)


def close_crops(seed: int, side: int, count: int = CROPS_A_SCENE) -> list[Crop]:
    """Squares of the scene of a seed: RGB, which root each pixel shows, half its width in px."""
    rng = np.random.default_rng(seed)
    waviness = float(np.exp(rng.uniform(*np.log(WAVINESS))))
    close: Points | None = None
    crops = []
    for scene in looks_of(seed, rng, count, CROPS_A_LOOK, waviness):
        close = close_places(scene) if close is None else close
        if rng.random() < ON_CLOSE and len(close):
            x, z = close[rng.integers(len(close))] + rng.normal(0, SPREAD_IN, 2)
        else:
            x, z = choose_centre(scene, rng)
        px_per_in = float(np.exp(rng.uniform(*np.log(PX_PER_IN))))
        shown = wrinkled(scene, rng) if rng.random() < WRINKLED else scene
        rgb, root, half_px = render_roots(shown, side, px_per_in, rng, (float(x), float(z)))
        crops.append((rgb, root, half_px.astype(np.float16)))
    return crops
