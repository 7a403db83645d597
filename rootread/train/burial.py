"""Roots that lie so deep in the face that they show in dashes."""

from dataclasses import replace

import numpy as np

from rootread.scene import Scene
from rootread.scene.course import STEP_IN
from rootread.scene.describe import Root
from rootread.scene.noise import wiggle

SUNK, SUNK_SPREAD = (0.2, 1.6), (0.3, 1.2)
"""How deep, and how unevenly along each root, in radii of it."""
DASH_IN = (0.2, 1.2)
"""About how long a dash is."""


def half_buried(scene: Scene, rng: np.random.Generator) -> Scene:
    """The scene with all of its roots deeper in the face, some places along each deeper than others."""
    sunk, spread, dash_in = rng.uniform(*SUNK), rng.uniform(*SUNK_SPREAD), rng.uniform(*DASH_IN)

    def sunken(root: Root) -> Root:
        uneven = wiggle(len(root.points), rng, dash_in / STEP_IN)
        return replace(root, out_in=root.out_in + root.width_in / 2 * (spread * uneven - sunk))

    return replace(scene, roots=tuple(sunken(root) for root in scene.roots))
