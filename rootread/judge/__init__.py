"""Judge the wall: layers, the grade, and what to do next."""

from rootread.judge.advice import CAUTIONS, Advice
from rootread.judge.grade import grade_wall
from rootread.judge.judgement import Judgement, judge_wall
from rootread.judge.layers import find_layers
from rootread.judge.marked import with_marked_layers
from rootread.judge.types import Grade, GradePart, Layer, PassageCurve

__all__ = [
    "CAUTIONS",
    "Advice",
    "Grade",
    "GradePart",
    "Judgement",
    "Layer",
    "PassageCurve",
    "find_layers",
    "grade_wall",
    "judge_wall",
    "with_marked_layers",
]
