"""What a person did to a reading, in words."""

import math
import re
from collections.abc import Sequence

from rootread.judge import Grade, Layer
from rootread.marks import LONGEST_TEXT, Marks
from rootread.measure.types import Readings
from rootread.report.words import count, listing
from rootread.text import one_line
from rootread.units import length_words
from rootread.wall import Wall


def reading_words(readings: Readings, layers: Sequence[Layer], grade: Grade) -> str:
    """A reading by its main figures: what a person who checks it has looked at."""
    score = grade.score.value
    figures = [
        count(len(readings.roots), "root"),
        f"{readings.root_length_in:.0f} in",
        count(len(layers), "layer"),
        f"grade {score:.0f}" if math.isfinite(score) else "no grade",
    ]
    return ", ".join(figures)


def checked_words(checked: str) -> str:
    """What ``reading_words`` wrote into the marks, which is in inches, in the unit shown."""
    return re.sub(r"\b\d+ in\b", lambda found: length_words(float(found[0].split()[0]), 0), checked, count=1)


def hand_figures(wall: Wall) -> list[tuple[str, str]]:
    """Whether a person looked at the reading, and what they changed in it."""
    marks, mended = wall.marks, _mended(wall.marks)
    if not marks.checked:
        looked = "no"
    elif marks.checked == reading_words(wall.readings, wall.layers, wall.grade):
        looked = "yes"
    else:
        looked = (
            f"not as it reads now, but when it read: {checked_words(one_line(marks.checked, LONGEST_TEXT))}"
        )
    return [("checked by eye", looked), *([("mended by hand", listing(mended))] if mended else [])]


def _mended(marks: Marks) -> list[str]:
    once = [
        ("scale", marks.scale_points),
        ("plumb", marks.plumb_px),
        ("soil surface", marks.surface_px),
        ("outline", marks.outline_px),
        ("floor of the loosened soil", marks.loosened_floor_px),
    ]
    often = [
        ("root struck", "roots struck", marks.roots_struck_px),
        ("root drawn", "roots drawn", marks.roots_added),
        ("root parted", "roots parted", marks.splits_px),
        ("pair of roots joined", "pairs of roots joined", marks.joins_px),
        ("stretch flattened", "stretches flattened", marks.flattened_px),
        ("stretch not flattened", "stretches not flattened", marks.not_flattened_px),
        ("layer drawn", "layers drawn", marks.layers),
        ("layer struck", "layers struck", marks.layers_struck_px),
        ("stroke painted", "strokes painted", marks.strokes),
    ]
    counted = [count(len(drawn), one, many) for one, many, drawn in often if drawn]
    return [*[word for word, drawn in once if drawn], *counted]
