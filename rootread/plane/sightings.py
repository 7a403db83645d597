"""What was located on a scale object: places known in one direction each."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from rootread.geometry import Points

Floats = NDArray[np.float64]

NO_GLARE = -1


@dataclass(frozen=True, eq=False)
class Sightings:
    """Places on a scale object found in the photo, each known in one direction.

    A place on an edge is known only across the edge, so it counts along its
    unit ``normal``; a corner is two sightings with two normals.
    """

    object_in: Points
    """``(N, 2)``; for an object of unknown width, x is in half widths."""
    photo_px: Points
    """``(N, 2)``."""
    normal: Points
    """``(N, 2)`` unit vectors in the photo; across a printed edge they point from dark to light."""
    se_px: Floats
    """``(N,)`` expected error along the normal."""
    glare_group: NDArray[np.int64]
    """``(N,)`` printed edges that glare pushes towards the dark alike; ``NO_GLARE`` for others. Lines that
    blur turns alike are one such group, see ``turned_alike``."""

    def __len__(self) -> int:
        """How many there are."""
        return len(self.object_in)

    def keep(self, chosen: NDArray[np.bool_]) -> "Sightings":
        """The chosen ones."""
        return Sightings(
            self.object_in[chosen],
            self.photo_px[chosen],
            self.normal[chosen],
            self.se_px[chosen],
            self.glare_group[chosen],
        )

    @classmethod
    def of_points(cls, object_in: Points, photo_px: Points, se_px: float) -> "Sightings":
        """Places known in both directions."""
        count = len(object_in)
        return cls(
            np.repeat(np.asarray(object_in, dtype=float), 2, axis=0),
            np.repeat(np.asarray(photo_px, dtype=float), 2, axis=0),
            np.tile(np.eye(2), (count, 1)),
            np.full(2 * count, se_px),
            np.full(2 * count, NO_GLARE),
        )

    @classmethod
    def on_lines(
        cls,
        object_in: Points,
        photo_px: Points,
        normal: Points,
        se_px: Floats,
        glare_group: NDArray[np.int64],
    ) -> "Sightings":
        """Two places each on ``E`` straight edges: ``(E, 2, 2)`` places, the rest one an edge."""
        return cls(
            object_in.reshape(-1, 2),
            photo_px.reshape(-1, 2),
            np.repeat(normal, 2, axis=0),
            np.repeat(se_px, 2),
            np.repeat(glare_group, 2),
        )

    def turned_alike(self) -> "Sightings":
        """Thin lines, two places each, that may all be turned a little by the same blur.

        A shaken camera draws a short line's two ends out, one to each side of it, by as much on every line.
        That is glare along normals of which every second one is turned round.
        """
        way = np.tile([[1.0], [-1.0]], (len(self) // 2, 1))
        return replace(self, normal=self.normal * way, glare_group=np.zeros(len(self), dtype=np.int64))

    @classmethod
    def joined(cls, parts: "list[Sightings]") -> "Sightings":
        """Several lists as one."""
        return cls(
            np.concatenate([part.object_in for part in parts]),
            np.concatenate([part.photo_px for part in parts]),
            np.concatenate([part.normal for part in parts]),
            np.concatenate([part.se_px for part in parts]),
            np.concatenate([part.glare_group for part in parts]),
        )
