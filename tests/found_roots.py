"""How much of the true roots was found, and how much of what was found is root."""

from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt
from skimage.morphology import skeletonize

NEAR_IN = 0.1


def recall_and_precision(mask: NDArray, root: NDArray, px_per_in: float) -> tuple[float, float]:
    """Shares of the skeletons' length within 0.1 in of each other."""
    found, true = skeletonize(mask), skeletonize(root)
    near_px = NEAR_IN * px_per_in
    return (
        float((distance_transform_edt(~found)[true] < near_px).mean()),
        float((distance_transform_edt(~true)[found] < near_px).mean()),
    )
