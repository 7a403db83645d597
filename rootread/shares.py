"""Shares of a whole and probabilities, as people read them."""

import math


def percent(share: float) -> str:
    """``27 %``; a dash where there is no figure.

    What is there and rounds to nothing is not said to be nothing.

    >>> percent(0.268), percent(0.004), percent(0.0)
    ('27 %', 'under 1 %', '0 %')
    """
    if not math.isfinite(share):
        return "–"
    return "under 1 %" if 0 < share < 0.005 else f"{100 * share:.0f} %"


def odds(p_value: float) -> str:
    """A probability as ``1 time in 250``, or ``8 times in 10``."""
    if not p_value > 0:
        return "almost never"
    if p_value >= 0.95:
        return "nearly every time" if p_value < 1 else "every time"
    return (
        f"about {10 * p_value:.0f} times in 10" if p_value > 0.4 else f"about 1 time in {round(1 / p_value)}"
    )
