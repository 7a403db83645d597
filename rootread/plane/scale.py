"""Find the scale object, and see whether it can be believed.

Kinds are tried in the order of how much they tell: a card gives the whole
plane, a staff's long straight bands nearly so, a tape's short ticks less. A
second scale object in the photo is used to check the first.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial

import cv2
import numpy as np
from numpy.typing import NDArray

from rootread.errors import NoBelievableScale
from rootread.fieldsheet import SheetRow
from rootread.geometry import Points
from rootread.marks import Marks
from rootread.photo import Photo, to_linear
from rootread.plane.bars import Bar, find_bars
from rootread.plane.camera import CameraBelief, CameraFit
from rootread.plane.card import MARKER_IN, find_cards
from rootread.plane.parts import bars_in_parts
from rootread.plane.points import locate_points
from rootread.plane.ruled import RuledFit
from rootread.plane.staff import BAND_IN, find_staff
from rootread.plane.strips import straighten
from rootread.plane.tape import find_tape
from rootread.plane.types import ScaleKind
from rootread.threads import both, share_out
from rootread.units import length_words, shown, unit_shown

# Two scale objects that differ by more than this are said to, and by more than that contradict each
# other; each is given its own uncertainty on top.
DIFFERENCE_TOLD = 0.01
CONTRADICTION = 0.03
# A rule's sides are hardly ever fainter than those of two other bars: all are looked along only where the
# strongest few are no rule, and there is no card.
STRONGEST_BARS = 6
# A pit wall's photo shows between these many inches from side to side, from this near.
PHOTO_WIDTH_IN = (6.0, 240.0)
# Cameras that state a distance at all are seldom off by more than half as much again.
DISTANCE_DOUBTED = 1.5
DISTANCE_CONTRADICTED = 3.0


@dataclass(frozen=True, eq=False)
class Located:
    """A scale object and the plane of its front, in its own inches: z is its own down.

    The origin is the object's centre; for points it is the first of them.
    """

    kind: ScaleKind
    fit: CameraFit
    outlines_px: tuple[Points, ...]
    cautions: tuple[str, ...] = ()

    @property
    def px_per_in(self) -> float:
        """Photo pixels per inch at the origin: the root of the area ratio."""
        return px_per_in_at(self.fit, np.zeros(2))


def px_per_in_at(fit: CameraFit, place_in: NDArray[np.float64]) -> float:
    """Photo pixels per inch at a place of the plane."""
    step = 0.1
    here, right, down = fit.to_photo(place_in + np.array([[0.0, 0.0], [step, 0.0], [0.0, step]]))
    across, along = (right - here) / step, (down - here) / step
    return float(np.sqrt(abs(across[0] * along[1] - across[1] * along[0])))


def find_scale(photo: Photo, row: SheetRow | None, marks: Marks | None, belief: CameraBelief) -> Located:
    """The scale object that the marks or the sheet name, or the best that is found.

    Raises
    ------
    NoBelievableScale : none holds up, or two contradict each other.
    """
    word = row.scale if row is not None else "auto"
    unit_in = row.scale_unit_in if row is not None else None
    if word == "points" or (marks is not None and marks.scale_points):
        located = Located("points", locate_points(marks or Marks(), belief), ())
    else:
        located = _look(photo, word, unit_in, belief)
    return _with_doubts(located, photo)


def _look(photo: Photo, word: str, unit_in: float | None, belief: CameraBelief) -> Located:
    """The best scale object in the photo, checked against any other."""
    found, doubt = _all_of(photo, word, unit_in, belief)
    if found:
        return _checked(found, word)
    if doubt is not None:
        raise doubt
    raise _nothing(word, () if word == "auto" else _all_of(photo, "auto", None, belief)[0])


def _all_of(
    photo: Photo, word: str, unit_in: float | None, belief: CameraBelief
) -> tuple[list[Located], NoBelievableScale | None]:
    """Every scale object that the word allows, and the doubt about a tape where there is none."""
    grey = cv2.cvtColor(photo.rgb, cv2.COLOR_RGB2GRAY)
    light = to_linear(grey)
    bars, cards = both(
        lambda: find_bars(photo.rgb) if word != "card" else [],
        lambda: _cards(grey, light, belief, word, unit_in),
    )
    rules, doubt = _rules(light, bars[:STRONGEST_BARS], belief, word, unit_in)
    if not cards and not rules:
        rules, doubt = _rules(light, bars, belief, word, unit_in)
    if not cards and not rules and doubt is None and word != "card":
        for part_bars in bars_in_parts(photo.rgb):
            rules, doubt = _rules(light, part_bars, belief, word, unit_in)
            if rules or doubt is not None:
                break
    return [*cards, *rules], doubt


def _cards(
    grey: NDArray[np.uint8],
    light: NDArray[np.float32],
    belief: CameraBelief,
    word: str,
    unit_in: float | None,
) -> list[Located]:
    if word not in ("auto", "card"):
        return []
    cards = find_cards(grey, light, belief, unit_in or MARKER_IN)
    return [Located("card", card.fit, (card.outline_px,), card.cautions) for card in cards]


def _rules(
    light: NDArray[np.float32], bars: list[Bar], belief: CameraBelief, word: str, unit_in: float | None
) -> tuple[list[Located], NoBelievableScale | None]:
    """Staff, or else tape, among some bars; and the doubt about a tape, for where nothing else is found."""
    if not bars:
        return [], None
    strips = share_out(partial(straighten, light), bars)
    staff = None
    if word in ("auto", "staff"):
        staff = find_staff(light, strips, belief, (unit_in if word == "staff" else None) or BAND_IN)
    if staff is not None or word == "staff":
        return _as_located("staff", staff), None
    try:
        return _as_located(
            "tape", find_tape(light, strips, belief, unit_in if word == "tape" else None)
        ), None
    except NoBelievableScale as doubt:
        return [], doubt


def _as_located(kind: ScaleKind, ruled: RuledFit | None) -> list[Located]:
    return [] if ruled is None else [Located(kind, ruled.fit, (ruled.outline_px,))]


def _nothing(word: str, others: Sequence[Located]) -> NoBelievableScale:
    """What to do where the object that was asked for is not there, but perhaps one of another kind is."""
    again = (
        "the photo again with the whole scale object in frame, flat on the wall, clean and sharp; "
        "or mark two points a known distance apart (rootread desk, tool Scale)."
    )
    if word == "auto":
        return NoBelievableScale(
            "No card, staff or tape was found in the photo that holds up as a scale.", f"Take {again}"
        )
    missing = f"The sheet asks for a {word}, and no {word} was found in the photo that holds up as a scale"
    if others:
        kind = others[0].kind
        return NoBelievableScale(
            f"{missing}; but a {kind} was.",
            f"Write {kind} in the sheet's scale column, or take the photo again with the {word} in frame.",
        )
    return NoBelievableScale(
        f"{missing}.",
        f"If something else shows the scale, correct the sheet's scale column. Else take {again}",
    )


def _checked(found: list[Located], word: str) -> Located:
    """The first of what was found, with what the others say about it."""
    first = found[0]
    cautions = list(first.cautions)
    for other in found[1:]:
        # Both planes are asked for the scale at the other object's place.
        there_in = first.fit.to_plane(other.fit.to_photo(np.zeros((1, 2))))[0]
        ratio = other.px_per_in / px_per_in_at(first.fit, there_in)
        difference = abs(float(np.log(ratio)))
        if difference > CONTRADICTION and (word == "auto" or first.kind == other.kind):
            raise _contradiction(first.kind, other.kind, difference)
        if difference > DIFFERENCE_TOLD:
            cautions.append(
                f"A second scale object ({other.kind}) reads {100 * (ratio - 1):+.1f} % against the "
                f"{first.kind}: check the printed size of both, and that both lie flat on the wall."
            )
    outlines = tuple(outline for located in found for outline in located.outlines_px)
    return replace(first, outlines_px=outlines, cautions=tuple(cautions))


def _contradiction(first: ScaleKind, other: ScaleKind, difference: float) -> NoBelievableScale:
    if first == other:
        return NoBelievableScale(
            f"Two scale objects of one kind ({first}) in this photo differ by {100 * difference:.0f} %: one "
            "of them is not of the size it should be, or does not lie on the wall.",
            "Measure the check lines of both, press both flush on the wall, or take away the wrong one.",
        )
    return NoBelievableScale(
        f"The {first} and the {other} in this photo differ by {100 * difference:.0f} %: "
        "one of them is not of the size it should be.",
        "Measure the check line of the card and the bands of the staff, then name the right one in "
        "the sheet's scale column, with its size if need be, for example card:1.9 in.",
    )


def _with_doubts(located: Located, photo: Photo) -> Located:
    """Refuse what is impossible; note what is odd."""
    width_in = photo.size_px[0] / located.px_per_in
    if not PHOTO_WIDTH_IN[0] <= width_in <= PHOTO_WIDTH_IN[1]:
        raise NoBelievableScale(
            f"By the {located.kind} the photo would show {shown(width_in):.3g} {unit_shown()} of wall "
            "from side to side, which cannot be.",
            "Check the size stated for the scale object in the sheet's scale column.",
        )
    stated_in = photo.subject_distance_in
    if stated_in is None:
        return located
    ratio = float(np.exp(abs(np.log(located.fit.distance_in / stated_in))))
    told = (
        f"By the {located.kind} the camera stood {length_words(located.fit.distance_in, 0)} from the wall; "
        f"the camera itself says {length_words(stated_in, 0)}."
    )
    remedy = "Check the size stated for the scale object."
    if ratio > DISTANCE_CONTRADICTED:
        raise NoBelievableScale(told, remedy)
    if ratio > DISTANCE_DOUBTED:
        return replace(located, cautions=(*located.cautions, f"{told} {remedy}"))
    return located
