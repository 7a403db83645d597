"""Shares of a whole, as people read them."""

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
