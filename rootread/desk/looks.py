"""What of a reading needs a person's look, the most doubtful first."""

from dataclasses import dataclass
from typing import Literal

from rootread.check.photo import SCALE_SE_LOOK, SURFACE_SE_LOOK_IN
from rootread.desk.stages import Reading
from rootread.fieldsheet import depths_asked, places_asked, told_of_places
from rootread.fieldsheet.depths import told_of_depths
from rootread.report.byhand import checked_words, reading_words
from rootread.units import length_words

Part = Literal["scale", "surface", "level", "roots", "verdict", "wall"]

SCALE_SE_BAD = 0.03
"""Standard error of the scale, as a share of it, that only marked points may have."""
LEVEL_LOOK_DEG = 2.0
LOW_CONFIDENCE = 0.5
LOW_SHARE = 0.15
"""Share of root length in traces of low confidence from which the roots need a look."""


@dataclass(frozen=True)
class Look:
    """One thing to look at."""

    part: Part
    urgency: int
    """The higher, the sooner; the numbers only order."""
    says: str


def looks(reading: Reading) -> list[Look]:
    """What to look at on one wall, most urgent first; nothing where all is sure.

    What a figure is sure to holds 95 times in 100: two standard errors, as in the report.
    """
    plane, readings = reading.plane, reading.readings
    found: list[Look] = []
    share = plane.scale.px_per_in_se / plane.scale.px_per_in
    if share > SCALE_SE_LOOK:
        marked = plane.scale.kind == "points"
        remedy = "mark points farther apart." if marked else "mark two points you know the distance of."
        found.append(
            Look(
                "scale",
                70 if share > SCALE_SE_BAD else 30,
                f"Scale is sure only to {100 * 2 * share:.1f} %: {remedy}",
            )
        )
    if plane.surface.source == "assumed":
        found.append(Look("surface", 60, "No soil surface was seen: draw it, or depths mean little."))
    elif plane.surface.se_in > SURFACE_SE_LOOK_IN:
        sure = length_words(2 * plane.surface.se_in)
        says = f"The soil surface is sure only to {sure}: see whether the line fits."
        found.append(Look("surface", 35, says))
    if plane.level.se_deg > LEVEL_LOOK_DEG:
        says = f"Plumb is sure only to {2 * plane.level.se_deg:.1f} degrees: mark something that hung plumb."
        found.append(Look("level", 20, says))
    if not readings.roots:
        found.append(Look("roots", 65, "No roots were found: draw some, or paint over a few of them."))
    length_in = sum(root.length_in for root in readings.roots)
    doubtful_in = sum(root.length_in for root in readings.roots if root.trace.confidence < LOW_CONFIDENCE)
    if length_in and doubtful_in / length_in > LOW_SHARE:
        says = f"{100 * doubtful_in / length_in:.0f} % of the root length is in traces that may be none."
        found.append(Look("roots", 40, says))
    if " or " in reading.grade.verdict:
        says = f"The verdict lies on an edge: {reading.grade.verdict}. A few roots may decide it."
        found.append(Look("verdict", 50, says))
    checked = reading.marks.checked
    if checked and checked != reading_words(reading.readings, reading.layers, reading.grade):
        read = checked_words(checked)
        says = f"It was checked when it read {read}; it reads otherwise now, so check it again."
        found.append(Look("wall", 55, says))
    asked = depths_asked(reading.row, reading.seen.deepest_in, plane.surface.se_in)
    if asked:
        found.append(Look("wall", 45, told_of_depths(asked)))
    placed = told_of_places(places_asked(reading.row, reading.seen.across_in))
    found += [Look("wall", 44, told) for told in placed]
    found += [Look("wall", 25, caution) for caution in reading.seen.cautions]
    return sorted(found, key=lambda look: -look.urgency)


def urgency(found: list[Look]) -> int:
    """How soon a wall needs a look: by its most urgent point, then by how many there are."""
    return max((look.urgency for look in found), default=0) * 10 + min(len(found), 9)
