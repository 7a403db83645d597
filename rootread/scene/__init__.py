"""Make walls with exact truth: described in inches, painted as photographs."""

from rootread.scene.crop import draw_training_scene, render_crop
from rootread.scene.describe import KINDS, Scene
from rootread.scene.draw import draw_scene, vary
from rootread.scene.truth import Rendered, render, write_scene

__all__ = [
    "KINDS",
    "Rendered",
    "Scene",
    "draw_scene",
    "draw_training_scene",
    "render",
    "render_crop",
    "vary",
    "write_scene",
]
