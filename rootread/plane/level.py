"""Which way is down: what the scale object, the photo and the ground say, weighed together.

Angles are degrees by which gravity is turned from the object's own down
towards its right. Each witness is either right to within a small error or
crooked, with a chance of each; the answer is the posterior mean over all, its
standard deviation the uncertainty that enters every descent figure.
"""

from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from rootread.plane.camera import ROTATION, CameraFit
from rootread.plane.points import MARKING_SE_PX
from rootread.plane.sightings import Floats
from rootread.plane.types import Level, LevelSource

# A string with a weight hangs plumb to about this in a breath of wind.
PLUMB_LINE_SE_DEG = 0.3
GRID_DEG = np.arange(-30.0, 30.0, 0.05)


@dataclass(frozen=True)
class Witness:
    """One thing that shows the plumb direction."""

    source: LevelSource
    down_deg: float
    """Where it says gravity points."""
    se_deg: float
    """Its error when it is as it should be ..."""
    crooked_deg: float
    """... and when it is not."""
    crooked_chance: float

    def likelihood(self, angle_deg: NDArray[np.float64]) -> NDArray[np.float64]:
        """Chance density of what it says if gravity were at each angle."""
        off = angle_deg - self.down_deg
        right = np.exp(-0.5 * (off / self.se_deg) ** 2) / self.se_deg
        crooked = np.exp(-0.5 * (off / self.crooked_deg) ** 2) / self.crooked_deg
        return (1 - self.crooked_chance) * right + self.crooked_chance * crooked


def card_says() -> Witness:
    """A card hung from its hole is plumb, unless wind, a root or a hand holds it askew."""
    return Witness("card", 0.0, 0.4, 3.0, 0.25)


def staff_says() -> Witness:
    """A staff is set against the wall by eye; it counts only where the sheet says so."""
    return Witness("staff", 0.0, 1.0, 5.0, 0.1)


def photo_says(fit: CameraFit) -> Witness:
    """A camera is held level by eye to a degree or two."""
    return Witness("photo", photo_down_deg(fit.values), 1.5, 5.0, 0.1)


def surface_says(slope_deg: float, se_deg: float) -> Witness:
    """Field ground slopes by a degree or two."""
    return Witness("surface", slope_deg, float(np.hypot(1.5, se_deg)), 5.0, 0.15)


def marked(fit: CameraFit, plumb_px: ArrayLike) -> tuple[float, Level]:
    """Gravity in the plane from two places of the photo on a plumb line, the upper one first.

    A person's word needs no weighing: it stands alone.
    """
    ends_px = np.asarray(plumb_px, dtype=float)
    x_in, z_in = np.diff(fit.to_plane(ends_px), axis=0)[0]
    # Each end is marked to a pixel or two across the line: sqrt(2) of it over the length.
    by_hand_deg = np.degrees(np.sqrt(2) * MARKING_SE_PX / np.hypot(*np.diff(ends_px, axis=0)[0]))
    level = Level("marks", float(np.hypot(PLUMB_LINE_SE_DEG, by_hand_deg)))
    return float(np.degrees(np.arctan2(x_in, z_in))), level


def photo_down_deg(values: Floats) -> float:
    """Gravity in the plane for a camera without roll.

    The wall holds the plumb line, and a camera without roll sees it in its own
    vertical plane: g is the direction of the wall with no component along the
    camera's x, g = n x e_x.
    """
    rotation, _ = cv2.Rodrigues(values[ROTATION])
    down = np.cross(rotation[:, 2], [1.0, 0.0, 0.0])
    down = down * np.sign(down[1])
    return float(np.degrees(np.arctan2(down @ rotation[:, 0], down @ rotation[:, 1])))


def weigh(
    witnesses: list[Witness], told: Literal["auto", "card", "staff", "photo", "surface"]
) -> tuple[float, Level]:
    """The plumb direction in degrees from the object's own down, and how sure it is.

    ``told`` names one witness to follow alone; ``auto`` weighs all but a staff.
    """
    if told != "auto":
        chosen = next((witness for witness in witnesses if witness.source == told), None)
        if chosen is not None:
            return chosen.down_deg, Level(chosen.source, chosen.se_deg)
    heard = [witness for witness in witnesses if witness.source != "staff"]
    grid = GRID_DEG + np.median([witness.down_deg for witness in heard])
    posterior = np.prod([witness.likelihood(grid) for witness in heard], axis=0)
    posterior = posterior / posterior.sum()
    mean = float(np.sum(posterior * grid))
    se = float(np.sqrt(np.sum(posterior * (grid - mean) ** 2)))
    # The witness that the answer rests on: the one that would be least surprised by it.
    nearest = max(heard, key=lambda witness: witness.likelihood(np.array([mean]))[0])
    return mean, Level(nearest.source, se)
