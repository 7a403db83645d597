"""Make walls with exact truth: described in inches, painted as photographs."""

from rootread.scene.crop import choose_centre, draw_training_scene, render_crop, render_roots
from rootread.scene.describe import KINDS, Scene
from rootread.scene.draw import draw_scene, vary
from rootread.scene.truth import Rendered, render, write_scene

__all__ = [
    "KINDS",
    "Rendered",
    "Scene",
    "choose_centre",
    "draw_scene",
    "draw_training_scene",
    "render",
    "render_crop",
    "render_roots",
    "vary",
    "write_scene",
]
