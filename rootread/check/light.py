"""Exposure and shadow edges on the wall."""

from rootread.check.types import Finding, State
from rootread.find.network import unusual_light
from rootread.find.shadow import REMEDY, TOLD_LENGTH_IN, shadow_edge_length_in
from rootread.plane import WallImage
from rootread.units import length_words

CLIPPED_LOOK, CLIPPED_BAD = 0.02, 0.10
"""Shares of the wall that are burnt out or black."""


def exposure(image: WallImage) -> Finding:
    """Parts of the wall without any tone left, and a wall that is dark or bright all over."""
    tones = image.rgb[image.soil]
    burnt = float((tones.max(axis=1) >= 254).mean())
    black = float((tones.max(axis=1) <= 6).mean())
    share, what, remedy = (
        (burnt, "burnt out", "Expose for the brightest soil, or shade the wall.")
        if burnt >= black
        else (black, "black", "Expose longer, or lighten the wall with a white sheet.")
    )
    state: State = "bad" if share > CLIPPED_BAD else "look" if share > CLIPPED_LOOK else "good"
    seen = f"{100 * share:.0f} % of the wall is {what}" if share >= 0.005 else "tones all over the wall"
    if state != "good":
        return Finding("exposure", state, seen, remedy)
    # The measure from which a reading's caution comes; it asks here on a few walls more.
    unusual = unusual_light(image)
    if unusual is None:
        return Finding("exposure", "good", seen)
    word, remedy = unusual
    return Finding("exposure", "look", f"{seen}, but {word} for a wall", remedy)


def shadow_edges(image: WallImage) -> Finding:
    """Sharp changes of light across the wall: the edge of a shadow."""
    length_in = shadow_edge_length_in(image)
    if length_in < TOLD_LENGTH_IN:
        return Finding("shadow edges", "good", "even light")
    return Finding(
        "shadow edges",
        "look",
        f"about {length_words(length_in, 0)} of shadow edge on the wall",
        REMEDY,
    )
