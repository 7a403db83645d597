"""CIE L*a*b* of sRGB pictures (CIE 15:2004, for the white of sRGB itself; numbers from memory).

OpenCV's own conversion looks its values up in a coarse table: it errs by up to 0.4, and making the
table takes longer than converting ten large photos this way.
"""

import cv2
import numpy as np
from numpy.typing import NDArray

from rootread.photo.linear import to_linear

# Linear sRGB to XYZ (IEC 61966-2-1), each row divided by its sum: white is 1, 1, 1.
_TO_XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
_TO_SHARES = _TO_XYZ / _TO_XYZ.sum(axis=1, keepdims=True)
# L* = 116 f(Y) - 16, a* = 500 (f(X) - f(Y)), b* = 200 (f(Y) - f(Z)).
_TO_LAB = np.array([[0.0, 116.0, 0.0, -16.0], [500.0, -500.0, 0.0, 0.0], [0.0, 200.0, -200.0, 0.0]])
# Below the knee f goes on straight, with the slope that the cube root has there.
_KNEE = np.float32((6 / 29) ** 3)
_SLOPE = np.float32((29 / 6) ** 2 / 3)


def to_lab(rgb: NDArray[np.uint8]) -> NDArray[np.float32]:
    """``(M, N, 3)`` sRGB codes to L* 0-100, a* and b*."""
    xyz = cv2.transform(to_linear(rgb), _TO_SHARES)
    root = np.cbrt(np.maximum(xyz, _KNEE))
    root += _SLOPE * np.minimum(xyz - _KNEE, np.float32(0))
    return np.asarray(cv2.transform(root, _TO_LAB), dtype=np.float32)
