"""A chance fitted to what was seen: ridge logistic regression, as weight and mean of every feature."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

SHRINK = 3.0
"""Ridge penalty on standardised weights: a prior of sd 0.6, so that no feature rules."""


def fitted_chance(
    names: Sequence[str], values: NDArray[np.float64], truth: NDArray[np.bool_]
) -> dict[str, list[float]]:
    """Weight and mean of every feature; "always", which is 1, is the constant.

    Parameters
    ----------
    names : of the features.
    values : ``(T, F)`` what was seen.
    truth : ``(T,)`` whether it was so.
    """
    is_constant = np.array([name == "always" for name in names])
    mean = np.where(is_constant, 0.0, values.mean(axis=0))
    spread = np.where(is_constant, 1.0, np.maximum(values.std(axis=0), 1e-9))
    scaled = (values - mean) / spread

    def loss(weight: NDArray[np.float64]) -> tuple[float, NDArray[np.float64]]:
        score, shrunk = scaled @ weight, SHRINK * np.where(is_constant, 0.0, weight)
        return (
            float((np.logaddexp(0, score) - truth * score).sum() + weight @ shrunk / 2),
            scaled.T @ (1 / (1 + np.exp(-score)) - truth) + shrunk,
        )

    weight = minimize(loss, np.zeros(len(names)), jac=True).x
    print_weights(names, weight)
    return {
        name: [round(float(w / s), 5), round(float(m), 5)]
        for name, w, s, m in zip(names, weight, spread, mean, strict=True)
    }


def print_weights(names: Sequence[str], weight: NDArray[np.float64]) -> None:
    """Standardised weights, the largest first."""
    print("standardised weights:")
    for name, size in sorted(zip(names, weight, strict=True), key=lambda item: -abs(item[1])):
        print(f"  {name:20s} {size:6.2f}")
