"""Second thoughts: whole roots at hand, which of their limbs are of one root?

The flow weighs each join by what lies about it. Once roots are followed more
is known: how they run before and after an encounter, their widths and colours
over inches, what other roots are near. A small trained network sees each
encounter, as a picture and as facts, and says of each two limbs how likely
they are of one root; roots are linked anew where that promises more right
links. It was trained on made walls alone (see ``rootread.train.encounters``).
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from itertools import compress, islice
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rootread.follow.centreline import STEP_PX
from rootread.follow.encounter_facts import encounter_facts
from rootread.follow.encounter_pictures import ACROSS, CHANNELS, LENGTH, Pieces, draw_encounter
from rootread.follow.encounters import (
    FEWEST_POINTS,
    LINKS,
    PLANS,
    Course,
    Encounter,
    possible_encounters,
)
from rootread.follow.eye import batches
from rootread.follow.limbs import KnownLimbs, Limbs, course_colours, limbs, may_regroup, softened
from rootread.follow.relink import relinked
from rootread.follow.strands import Strands
from rootread.plane.types import Grid, Surface, WallImage
from rootread.threads import open_network, share_out

WEIGHTS = "weights/encounters.onnx"
LOOSE_COST = 0.2
"""What a limb without a link costs, in links: a root that begins or ends is rarer than one that goes on."""
LEAST_GAIN = 0.2
"""Roots are linked anew where that is worth so many right links more."""
ROUNDS = 4
"""Roots that were linked anew are looked at again, so often at most."""
MOST_COURSES = 300
"""Made walls full of roots have up to 220. More are a crowd or a net, which takes long enough without."""
MOST_LOOKS = 1_500
"""Of a wall full of roots, in all rounds; those of the longest limbs are looked at first."""
CROWD = 230
MOST_LOOKS_AT_A_CROWD = 800
"""The same, of a wall with more courses than this: all else takes longer there."""
BATCH = 4
"""Pictures at a time, always as many: onnxruntime keeps memory for every number it meets. Few leave little to
fill up with, and cores share them evenly; what the network says of each is the same."""


@dataclass(frozen=True, eq=False)
class View:
    """What is seen of a wall."""

    soft_rgb: NDArray[np.uint8]
    layers: NDArray[np.uint8]
    """What strips are cut from, too."""
    surface: Surface
    grid: Grid

    @classmethod
    def of(cls, image: WallImage, strands: Strands, surface: Surface) -> "View":
        """Of a flat wall."""
        return cls(softened(image.rgb), strands.layers, surface, image.grid)

    @property
    def step_in(self) -> float:
        """Distance from point to point of a course."""
        return STEP_PX / self.grid.px_per_in


class SeenCourses:
    """The courses of one wall, with what is seen along them."""

    def __init__(self, courses: list[Course], view: View, before: "SeenCourses | None" = None) -> None:
        self.courses = [course for course in courses if len(course.line_in) >= FEWEST_POINTS]
        self.view = view
        known: dict[Course, NDArray[np.float64]] = {}
        if before is not None:
            known = dict(zip(before.courses, before._colours, strict=True))
        self._fresh = {k for k, course in enumerate(self.courses) if course not in known}
        self._colours: list[NDArray[np.float64]] = [
            known[course] if course in known else course_colours(course, view.soft_rgb, view.grid)
            for course in self.courses
        ]
        self._pieces = Pieces.of(self.courses)
        self._limbs: dict[Encounter, Limbs] = {}
        self._known_limbs: KnownLimbs = {}

    def limbs(self, encounter: Encounter) -> Limbs:
        """The four limbs of an encounter."""
        if encounter not in self._limbs:
            self._limbs[encounter] = limbs(
                encounter, self.courses, self._colours, self.view.step_in, self._known_limbs
            )
        return self._limbs[encounter]

    def worth_a_look(self, most: int = MOST_LOOKS) -> list[Encounter]:
        """Where roots may be linked otherwise, but for where nothing has changed since the look before."""
        possible = [
            encounter
            for encounter in possible_encounters(self.courses, self.view.step_in)
            if not self._fresh.isdisjoint(encounter.courses)
        ]
        points = [min(encounter.longest_limbs(self.courses)) for encounter in possible]
        longest_first = np.argsort(-np.array(points), kind="stable").tolist()
        # Asked one after the other, so that of a thicket's many few are.
        worth = (k for k in longest_first if may_regroup(self.limbs(possible[k])))
        return [possible[k] for k in sorted(islice(worth, most))]

    def pictures(self, encounters: list[Encounter]) -> NDArray[np.uint8]:
        """``(S, 11, 96, 192)`` of some encounters."""
        view = self.view
        drawn = np.zeros((len(encounters), CHANNELS, ACROSS, LENGTH), np.uint8)
        for picture, encounter in zip(drawn, encounters, strict=True):
            four = self.limbs(encounter)
            draw_encounter(
                picture, encounter, four, self.courses, self._pieces, view.layers, view.grid, view.step_in
            )
        return drawn

    def facts(self, encounters: list[Encounter]) -> NDArray[np.float32]:
        """``(S, 97)`` what is known of some encounters."""
        view = self.view
        return np.stack(
            [
                encounter_facts(encounter, self.limbs(encounter), view.step_in, view.surface)
                for encounter in encounters
            ]
        )


def regrouped(courses: list[Course], view: View) -> list[Course]:
    """The courses, linked anew where they were likely taken for each other, parted or overlooked."""
    for _, _, after in looks(courses, view):
        courses = after
    return courses


def looks(courses: list[Course], view: View) -> Iterator[tuple[SeenCourses, list[Encounter], list[Course]]]:
    """Look after look at the courses: each with the encounters it looks at, and the courses after it."""
    if len(courses) > MOST_COURSES:
        return
    look, left = None, MOST_LOOKS if len(courses) <= CROWD else MOST_LOOKS_AT_A_CROWD
    for _ in range(ROUNDS):
        look = SeenCourses(courses, view, look)
        encounters = look.worth_a_look(left)
        if not encounters:
            return
        left -= len(encounters)
        there = np.array([[limb is not None for limb in look.limbs(e)] for e in encounters])
        chosen = _best_apart(encounters, *best_plans(log_odds(look, encounters), there))
        if chosen:
            gone = {k for encounter, _ in chosen for k in encounter.courses}
            courses = [course for k, course in enumerate(look.courses) if k not in gone]
            for encounter, plan in chosen:
                courses += relinked(encounter, plan, look.courses, view.step_in)
        yield look, encounters, courses
        if not chosen or left == 0:
            return


def best_plans(
    odds: NDArray[np.float64], there: NDArray[np.bool_]
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """``(S,)`` the best of ``PLANS`` for each encounter, and how much more it is worth than what there is.

    A link is worth its chance of being right less that of being wrong.

    Parameters
    ----------
    odds : ``(S, 4)`` log-odds that the limbs of each link are of one root.
    there : ``(S, 4)`` which limbs there are.
    """
    plans = np.array(PLANS)
    possible = np.stack([there[:, head] & there[:, tail] for head, tail in LINKS], axis=1)
    # tanh(x / 2) = p - (1 - p) where x are the log-odds of p.
    worth = np.where(possible, np.tanh(odds / 2), 0.0)
    has_link = np.array(
        [[any(limb in link for link in compress(LINKS, plan)) for limb in range(4)] for plan in PLANS]
    )
    loose = (there[:, None] & ~has_link).sum(axis=2)
    total = np.where((plans & ~possible[:, None]).any(axis=2), -np.inf, worth @ plans.T) - LOOSE_COST * loose
    # Roots as they are: links of one course each, where both its limbs are there.
    linked = np.repeat(possible[:, :2], 2, axis=1)
    now = worth[:, :2].sum(axis=1) - LOOSE_COST * (there & ~linked).sum(axis=1)
    best = total.argmax(axis=1)
    return best, total[np.arange(len(best)), best] - now


def _best_apart(
    encounters: list[Encounter], best: NDArray[np.int64], gain: NDArray[np.float64]
) -> list[tuple[Encounter, tuple[bool, ...]]]:
    """Those by which most is gained, with their plans; of no course more than one."""
    used: set[int] = set()
    chosen = []
    for k in np.argsort(-gain, kind="stable").tolist():
        if gain[k] <= LEAST_GAIN:
            break
        if used.isdisjoint(encounters[k].courses):
            used.update(encounters[k].courses)
            chosen.append((encounters[k], PLANS[best[k]]))
    return chosen


def log_odds(look: SeenCourses, encounters: list[Encounter]) -> NDArray[np.float64]:
    """``(S, 4)`` that the limbs of each link are of one root, by the network."""
    network = _network()
    # All facts first: what limbs keep of them is small and stays, and would break up the room of pictures.
    facts = look.facts(encounters)

    def told(part: NDArray[np.int64]) -> NDArray[np.float32]:
        pictures = look.pictures([encounters[k] for k in part.tolist()])
        said: NDArray[np.float32] = network(pictures, facts[part])
        return said

    return np.concatenate(share_out(told, batches(len(encounters), BATCH)))[: len(encounters)].astype(float)


@lru_cache(maxsize=1)
def _network() -> Any:
    """The network that comes with the package, as a function of pictures and facts."""
    session = open_network(files("rootread.follow").joinpath(WEIGHTS).read_bytes())
    return lambda pictures, facts: session.run(["odds"], {"pictures": pictures, "facts": facts})[0]
