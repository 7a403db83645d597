"""Make walls with exact truth: described in inches, painted as photographs."""

from rootread.scene.crop import draw_training_scene, render_crop
from rootread.scene.describe import Scene
from rootread.scene.draw import draw_scene, vary

__all__ = ["Scene", "draw_scene", "draw_training_scene", "render_crop", "vary"]
