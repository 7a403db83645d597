"""Second thoughts: where two roots were taken for each other, a small trained network says to exchange them.

The flow weighs each join by what lies about it. With whole roots at hand more
is known: how both run before and after, their widths and colours over
inches, what other roots are near. The network sees each place where
two roots may be swapped, as a picture and as facts, and says how likely it is
that they are right only when swapped. It was trained on made walls alone (see
``rootread.train.swaps``).
"""

from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rootread.follow.centreline import STEP_PX
from rootread.follow.eye import batches
from rootread.follow.limbs import FEWEST_POINTS, Limbs, course_colours, limbs, may_swap, softened, swap_facts
from rootread.follow.strands import Strands
from rootread.follow.strips import strip_layers
from rootread.follow.swap_pictures import swap_picture
from rootread.follow.swaps import Course, Swap, possible_swaps, swapped
from rootread.plane.types import Grid, Surface, WallImage
from rootread.threads import open_network, share_out

WEIGHTS = "weights/swaps.onnx"
LEAST_LOG_ODDS = 0.0
"""From which two roots are swapped."""
ROUNDS = 4
"""Swapped roots may be swapped again elsewhere, so often at most."""
BATCH = 16
"""Pictures at a time, always as many: onnxruntime keeps memory for every number it meets."""


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
        return cls(softened(image.rgb), strip_layers(strands), surface, image.grid)

    @property
    def step_in(self) -> float:
        """Distance from point to point of a course."""
        return STEP_PX / self.grid.px_per_in


class Look:
    """The courses of one wall, with what is seen along them."""

    def __init__(self, courses: list[Course], view: View) -> None:
        self.courses = [course for course in courses if len(course.line_in) >= FEWEST_POINTS]
        self.view = view
        self._colours = [course_colours(course, view.soft_rgb, view.grid) for course in self.courses]
        self._boxes = np.array([[*c.line_in.min(axis=0), *c.line_in.max(axis=0)] for c in self.courses])
        self._limbs: dict[Swap, Limbs] = {}

    def limbs(self, swap: Swap) -> Limbs:
        """The four limbs of a swap."""
        if swap not in self._limbs:
            self._limbs[swap] = limbs(swap, self.courses, self._colours, self.view.step_in)
        return self._limbs[swap]

    def worth_a_look(self) -> list[Swap]:
        """The swaps that are possible and may be right."""
        return [
            swap for swap in possible_swaps(self.courses, self.view.step_in) if may_swap(self.limbs(swap))
        ]

    def shown(self, swaps: list[Swap]) -> tuple[NDArray[np.uint8], NDArray[np.float32]]:
        """``(S, 9, 56, 128)`` pictures and ``(S, 97)`` facts of some swaps."""
        fours, view = [self.limbs(swap) for swap in swaps], self.view
        pictures = [
            swap_picture(swap, four, self.courses, self._boxes, view.layers, view.grid, view.step_in)
            for swap, four in zip(swaps, fours, strict=True)
        ]
        facts = [
            swap_facts(swap, four, view.step_in, view.surface)
            for swap, four in zip(swaps, fours, strict=True)
        ]
        return np.stack(pictures), np.stack(facts)


def with_swaps(courses: list[Course], view: View) -> list[Course]:
    """The courses with those exchanged that were taken for each other, and those joined that are one."""
    fresh = courses
    for _ in range(ROUNDS):
        look = Look(courses, view)
        swaps = [s for s in look.worth_a_look() if any(look.courses[k] in fresh for k in s.courses)]
        if not swaps:
            break
        chosen = _best_apart(swaps, log_odds(look, swaps))
        if not chosen:
            break
        gone = {k for swap in chosen for k in swap.courses}
        fresh = [course for swap in chosen for course in swapped(swap, look.courses, view.step_in)]
        courses = [course for k, course in enumerate(look.courses) if k not in gone] + fresh
    return courses


def _best_apart(swaps: list[Swap], odds: NDArray[np.float64]) -> list[Swap]:
    """The likeliest swaps, of no course more than one."""
    used: set[int] = set()
    chosen = []
    for k in np.argsort(-odds, kind="stable").tolist():
        if odds[k] <= LEAST_LOG_ODDS:
            break
        if used.isdisjoint(swaps[k].courses):
            used.update(swaps[k].courses)
            chosen.append(swaps[k])
    return chosen


def log_odds(look: Look, swaps: list[Swap]) -> NDArray[np.float64]:
    """``(S,)`` that swaps are right, by the network."""
    network = _network()

    def told(part: NDArray[np.int64]) -> NDArray[np.float32]:
        said: NDArray[np.float32] = network(*look.shown([swaps[k] for k in part.tolist()]))
        return said[:, 0]

    return np.concatenate(share_out(told, batches(len(swaps), BATCH)))[: len(swaps)].astype(float)


@lru_cache(maxsize=1)
def _network() -> Any:
    """The network that comes with the package, as a function of pictures and facts."""
    session = open_network(files("rootread.follow").joinpath(WEIGHTS).read_bytes())
    return lambda pictures, facts: session.run(["odds"], {"pictures": pictures, "facts": facts})[0]
