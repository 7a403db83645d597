"""What a picture shows at a list of places, however long the list is.

``cv2.remap`` is made for whole pictures and refuses one of 32,767 rows or more; a root may have
more points than that.
"""

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

MOST_ROWS = 30_000
"""Rows of places looked up at a time."""


def seen_at(
    picture: NDArray[np.float32], places_px: NDArray[np.float32], beyond: float | None = None
) -> NDArray[np.float32]:
    """``(N, K)`` values of a picture at ``(N, K, 2)`` places, column and row, linear between its pixels.

    Parameters
    ----------
    picture : ``(M, L)``.
    places_px : fewer than 32,767 to a row; of rows as many as there are.
    beyond : what lies beyond the picture; its rim goes on there when left out.
    """
    rim: dict[str, Any] = (
        {"borderMode": cv2.BORDER_REPLICATE}
        if beyond is None
        else {"borderMode": cv2.BORDER_CONSTANT, "borderValue": beyond}
    )
    values = np.empty(places_px.shape[:2], np.float32)
    for first in range(0, len(places_px), MOST_ROWS):
        rows = slice(first, first + MOST_ROWS)
        values[rows] = cv2.remap(picture, places_px[rows], None, cv2.INTER_LINEAR, **rim)
    return values
