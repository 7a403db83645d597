"""What to do next, in sentences a grower understands, each tied to its evidence.

The rules are few and open: run about an inch below a layer that turned roots,
no deeper, and only where the soil there is dry enough to fracture (common
practice); leave a wall alone that shows nothing restricting; look again where
too little was read. Every sentence says how sure the wall makes it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from rootread.fieldsheet import SheetRow
from rootread.judge.spacing import SPACINGS, spacing_by_sheet
from rootread.judge.types import Grade, Layer
from rootread.measure.types import Readings
from rootread.shares import odds
from rootread.units import length_words, shown, unit_shown

Kind = Literal["run deeper", "leave", "closer shanks", "look again"]

BELOW_LAYER_IN = 1.0
"""How far under a layer points are run: far enough to lift it, no deeper than it takes (common practice)."""
FEWEST_ROOTS, SHORTEST_ROOT_LENGTH_IN = 8, 60.0
"""With fewer roots that are thick enough to count, or less root in all, nothing is advised."""
SURE_P_VALUE = 0.01
"""A layer that chance gathers less often has turned roots; another one seems to have."""
DEEPEST_POINTS_IN = 20.0
"""Points of the usual deep tillage tools go no deeper than this (common practice)."""
HELD_EVENNESS = 60.0
"""Score of the part evenness from which slots and berms are alike enough to leave the shanks as they are."""

CAUTIONS = (
    "Dig and feel before you decide: soil that is too wet smears and packs instead of fracturing.",
    "One wall is one place; open a second pit before changing a whole field.",
    "Stay within what the tractor and the implement are built for.",
    "Have buried lines marked before digging and before any deep pass.",
)
"""What holds for every piece of advice."""


@dataclass(frozen=True)
class Advice:
    """One sentence of advice and what it rests on."""

    kind: Kind
    text: str
    evidence: str


def advise(
    readings: Readings, layers: Sequence[Layer], grade: Grade, row: SheetRow | None
) -> tuple[Advice, ...]:
    """Advice for one wall, the most important first.

    A depth of the tool that cannot be is not in ``row`` (``without_doubtful_tool``).
    """
    counted = [root for root in readings.roots if root.width_in >= readings.counted_width_in]
    if len(counted) < FEWEST_ROOTS or readings.root_length_in < SHORTEST_ROOT_LENGTH_IN:
        return (_look_again(len(counted), readings.root_length_in),)
    if not layers:
        return (_leave(grade),)
    holding = [layer for layer in layers if layer.shown_by_roots or layer.held > layer.crossed]
    if not holding:
        return (_leave_marked(layers[0]),)
    given = [_about_layer(holding[0], row.tool_depth_in if row is not None else None)]
    given += [_deeper_layer(layer) for layer in holding[1:2]]
    spacing = _about_spacing(grade, row)
    return tuple(given + ([spacing] if spacing else []))


def _look_again(roots: int, length_in: float) -> Advice:
    counted = f"{roots} root" if roots == 1 else f"{roots} roots"
    return Advice(
        "look again",
        "Too few roots were read to advise on; clean the face, expose more roots and take the photo again.",
        f"{counted} thick enough to count, {length_words(length_in, 0)} in all.",
    )


def _leave(grade: Grade) -> Advice:
    if "open" in grade.verdict.split(" or "):
        text = "Nothing restricting was found, so there is no reason here for a deeper pass."
    else:
        text = (
            "Roots did poorly, but at no one depth; look for causes other than a layer, such as wetness, "
            "sidewall smear or planting, before running deeper."
        )
    return Advice("leave", text, f"No gathering of turns or stops; verdict {grade.verdict}.")


def _leave_marked(layer: Layer) -> Advice:
    """Where a person marked a layer that most roots cross, or that none comes to."""
    return Advice(
        "leave",
        f"The layer marked by hand at {_where(layer)} held few roots or none, so they give no reason here "
        "for a deeper pass.",
        f"{layer.held} of {layer.reached} roots that reached {_reached(layer)} were turned or stopped there.",
    )


def _about_layer(layer: Layer, tool_depth_in: float | None) -> Advice:
    low, high = _passage_words(layer)
    sure = "turned roots" if layer.p_value < SURE_P_VALUE else "seems to have turned roots"
    chance = (
        f"chance alone would gather as many {odds(layer.p_value)}"
        if layer.shown_by_roots
        else "marked by hand, for chance alone would gather as many"
    )
    evidence = (
        f"{layer.held} of {layer.reached} roots that reached {_reached(layer)} "
        f"were turned or stopped there; {low} to {high} of 100 get through; {chance}."
    )
    lowest_in = layer.depth_range_in[1]
    run_in = lowest_in + BELOW_LAYER_IN
    within = 2.0 * layer.depth_se_in
    if run_in > DEEPEST_POINTS_IN:
        text = (
            f"A layer at {_where(layer)} {sure}, deeper than points are run; leave it, and look at drainage "
            "and at roots that find their own way down."
        )
        return Advice("leave", text, evidence)
    # A floor that the pass itself left lies about as deep as it ran, by no more than either is known.
    at_tool = tool_depth_in is not None and abs(tool_depth_in - layer.depth_in) <= max(within, 1.0)
    if tool_depth_in is not None and not at_tool and tool_depth_in >= run_in - within:
        text = (
            f"A layer at {_where(layer)} {sure} although the pass ran at "
            f"{_about(tool_depth_in)}, so that more depth would hardly help. Look at moisture when it was "
            "run, shank spacing and worn points."
        )
        return Advice("leave", text, evidence)
    floor = " It lies where the last pass ran, so the tool itself may have made it." if at_tool else ""
    text = (
        f"A layer at {_where(layer)} {sure}.{floor} If it is dry enough to fracture there, run "
        f"points at about {_about(lowest_in, BELOW_LAYER_IN)} (give or take {shown(max(within, 0.5)):.1f}), "
        f"{_below()} below {'its deepest place' if layer.line.shape != 'level' else 'it'}, and no deeper."
    )
    return Advice("run deeper", text, evidence)


def _deeper_layer(layer: Layer) -> Advice:
    low, high = _passage_words(layer)
    return Advice(
        "look again",
        f"A second layer at {_where(layer)} held the roots that got so far; open the upper one "
        "first and look again next season.",
        f"{layer.held} of {layer.reached} roots held there; {low} to {high} of 100 get through.",
    )


def _about_spacing(grade: Grade, row: SheetRow | None) -> Advice | None:
    spacing = spacing_by_sheet(row)
    if row is None or not row.shanks_at_in or spacing is None:
        return None
    evenness = next((part.score for part in grade.parts if part.name == "evenness"), 100.0)
    _, _, most = SPACINGS[0]
    if spacing.working_depths <= most or evenness >= HELD_EVENNESS:
        return None
    return Advice(
        "closer shanks",
        f"Slots and berms differ, and the shanks stood {spacing.working_depths:.1f} working depths apart; "
        f"plain points loosen all the soil between them up to about {most:.1f}, so closer shanks or "
        "wings may even it out.",
        f"Evenness {evenness:.0f} of 100; shanks {length_words(spacing.apart_in)} apart, "
        f"run {length_words(spacing.tool_depth_in)} deep.",
    )


def _passage_words(layer: Layer) -> tuple[str, str]:
    interval = layer.passage_interval
    return f"{100 * interval.low:.0f}", f"{100 * interval.high:.0f}"


def _reached(layer: Layer) -> str:
    """Its depth as it was measured, where it has but one."""
    return length_words(layer.depth_in) if layer.line.shape == "level" else "it"


def _where(layer: Layer) -> str:
    """Its depth, or both depths where it slopes or steps."""
    if layer.line.shape == "level":
        return _about(layer.depth_in)
    return " to ".join(_about(depth) for depth in layer.depth_range_in)


def _about(length_in: float, below_in: float = 0.0) -> str:
    """To the half inch or the centimetre: no implement is set finer.

    What lies ``below_in`` under it is added to the rounded depth, so that what is said adds up.
    """
    finest = {"in": 0.5, "cm": 1.0}[unit_shown()]
    rounded = round(shown(length_in) / finest) * finest
    return f"{rounded + round(shown(below_in), 1):g} {unit_shown()}"


def _below() -> str:
    return "an inch" if unit_shown() == "in" else length_words(BELOW_LAYER_IN)
