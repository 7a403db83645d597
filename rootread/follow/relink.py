"""What roots there are when the limbs of an encounter are linked as planned."""

from itertools import compress

import numpy as np
from scipy.spatial import cKDTree

from rootread.follow.centreline import least_energy_curve
from rootread.follow.encounters import FEWEST_POINTS, LINKS, NEAR_IN, Course, Encounter
from rootread.geometry import arc_length, resample_polyline

OVER_IN = 0.1
"""A root goes over into another's course from so far before where both are parted to so far behind."""
MOST_TRIMMED = 3
"""No more than a third of a limb is given up for that."""
SAME_LINE_IN = 0.06
"""Lines nearer to each other than this, or than a step, are of one root seen."""
LEAST_BESIDE_IN = 0.4
"""So much of a root must be seen beside the other for what is left of it to be one."""


def relinked(
    encounter: Encounter, plan: tuple[bool, ...], courses: list[Course], step_in: float
) -> list[Course]:
    """The roots of an encounter with links as planned; limbs without a link are roots of their own.

    Where one limb has two links, two roots run along it, of which one alone has been seen: in the newly
    linked one that limb is inferred. Nothing that no one has seen is a root by itself, nor what is left of a
    stretch along which both touch, unless it was seen beside the other.
    """
    parts = (encounter.first, encounter.second)
    roots = [courses[part.course].turned() if part.turned else courses[part.course] for part in parts]
    parted = _parted(encounter, *roots)
    found: list[Course] = []
    links = list(compress(LINKS, plan))
    used = [limb for limbs in links for limb in limbs]
    for head, tail in links:
        one, other = head // 2, tail // 2
        if one == other:
            found.append(roots[one])
            continue
        before, after = roots[one].before(parted[one]), roots[other].after(parted[other])
        if used.count(head) > 1:
            before = before.unseen()
        if used.count(tail) > 1:
            after = after.unseen()
        found.append(led_over(before, after, encounter.is_gap, step_in))
    for limb in sorted({0, 1, 2, 3} - set(used)):
        part, root, place = parts[limb // 2], roots[limb // 2], parted[limb // 2]
        left = root.before(place) if limb % 2 == 0 else root.after(place)
        is_limb = (part.until if limb % 2 == 0 else len(root.line_in) - part.onward) >= FEWEST_POINTS
        if is_limb or _is_beside(left, roots[1 - limb // 2], step_in):
            found.append(left)
    return [course for course in found if len(course.line_in) >= FEWEST_POINTS and not course.inferred.all()]


def _is_beside(left: Course, other: Course, step_in: float) -> bool:
    """Whether what is left of a stretch along which two roots touch was seen beside the other, not as it."""
    if len(left.line_in) < FEWEST_POINTS:
        return False
    away_in = cKDTree(other.line_in).query(left.line_in)[0]
    is_beside = away_in > max(SAME_LINE_IN, step_in)
    return bool((is_beside & ~left.inferred).sum() * step_in > LEAST_BESIDE_IN)


def _parted(encounter: Encounter, first: Course, second: Course) -> tuple[int, int]:
    """Where each root is parted: in the middle of where both touch.

    A root that begins or ends there is parted at that end of it, and the other beside it, so that nothing of
    it is lost.
    """
    one, other = encounter.first, encounter.second
    if one.until == one.onward:
        # A gap, or an end that lies beside the other root.
        return one.until, other.until
    for part, root, opposite, facing in ((one, first, other, second), (other, second, one, first)):
        place = None
        if part.until < FEWEST_POINTS:
            place = 0
        elif len(root.line_in) - part.onward < FEWEST_POINTS:
            place = len(root.line_in)
        if place is not None:
            beside = _nearest(root, place, opposite.until, opposite.onward, facing)
            return (place, beside) if part is one else (beside, place)
    middle = (one.until + one.onward) // 2
    return middle, _nearest(first, middle, other.until, other.onward, second)


def _nearest(root: Course, place: int, until: int, onward: int, facing: Course) -> int:
    """The place along where both touch at which the other root is nearest."""
    point = root.line_in[min(place, len(root.line_in) - 1)]
    return until + int(np.hypot(*(facing.line_in[until:onward] - point).T).argmin())


def led_over(head: Course, tail: Course, is_gap: bool, step_in: float) -> Course:
    """The head of one root, led over into the tail of another."""
    apart_in = float(np.hypot(*(tail.line_in[0] - head.line_in[-1])))
    if not is_gap:
        # Roots lie side by side here: the farther, the longer it takes to go over.
        trimmed = round(max(OVER_IN, apart_in) / step_in)
        head = head.before(len(head.line_in) - min(trimmed, len(head.line_in) // MOST_TRIMMED))
        tail = tail.after(min(trimmed, len(tail.line_in) // MOST_TRIMMED))
    bridge = least_energy_curve(head.line_in, tail.line_in, step_in)
    line = np.concatenate([head.line_in, bridge, tail.line_in])
    width = np.linspace(head.width_in[-1], tail.width_in[0], len(bridge))
    is_unseen = np.full(len(bridge), is_gap or apart_in > NEAR_IN)
    even, at = resample_polyline(line, step_in)
    along = arc_length(line)
    nearest = np.searchsorted(along, at).clip(0, len(along) - 1)
    return Course(
        even,
        np.interp(at, along, np.concatenate([head.width_in, width, tail.width_in])),
        np.concatenate([head.inferred, is_unseen, tail.inferred])[nearest],
    )
