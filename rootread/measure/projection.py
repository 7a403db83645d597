"""What a flat photo does to the descent of roots that leave the wall plane.

A root that descends at d and leaves the plane of the wall by an angle p seen
from above advances ``cos p`` in the wall for each inch it goes, while it
sinks as before. So it looks steeper than it is:

    tan d_apparent = tan d / cos p

An excavated face shows best the roots that run near it, and a root that
leaves it soon ends or goes into the soil. Still, apparent descents are upper
bounds of true ones, and the figures here say by how much at most.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

LEAVING_DEG = 30.0
"""A root that leaves the face by more than this is lost from it within a few inches: at 30 degrees it is
an inch and a half behind the face after three inches."""


def true_descent(apparent_deg: ArrayLike, leaving_deg: float = LEAVING_DEG) -> NDArray[np.float64]:
    """How steep roots are if they leave the wall plane by ``leaving_deg``, degrees: the least they can be."""
    apparent = np.radians(np.asarray(apparent_deg, dtype=float))
    return np.degrees(np.arctan2(np.sin(apparent) * np.cos(np.radians(leaving_deg)), np.cos(apparent)))
