"""Judge the wall: layers and the grade."""

from rootread.judge.grade import grade_wall
from rootread.judge.layers import find_layers
from rootread.judge.types import Grade, GradePart, Layer

__all__ = ["Grade", "GradePart", "Layer", "find_layers", "grade_wall"]
