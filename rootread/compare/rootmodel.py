"""A model of single roots that knows which wall and pit each belongs to.

    figure of a root = mean + treatment + pit + wall + what is the root's own

with pit and wall as random: drawn, like the roots, from all that could have
been dug. So a hundred roots of one wall tell much about that wall and little
about its treatment. Fitted by restricted maximum likelihood (statsmodels).
"""

import math
import warnings
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import stats

from rootread.compare.measures import Measure, Row
from rootread.compare.units import block_of, text

COUNTED_WIDTH_IN = 0.05
"""Thinner roots do not count, as in the figures of the wall."""
MOST_ROOTS = 20_000
"""The fit slows down with the square of the roots in a pit; so many say all there is to say."""


@dataclass(frozen=True)
class RootModel:
    """The first treatment less the second, of the mean root."""

    effect: float
    se: float
    low: float
    high: float
    p_value: float
    """Student's t with as many degrees of freedom as the walls, not the roots, leave."""
    roots: int
    walls: int
    alike: float
    """Share of the spread of roots that lies between pits and walls: 0 if walls are all the same."""


def root_frame(
    walls: Sequence[Row], roots: pd.DataFrame, by: str, pair: str, measure: Measure
) -> pd.DataFrame:
    """One row a root that counts: ``value, treatment, pit, wall``.

    Parameters
    ----------
    walls : rows of ``walls.csv``.
    roots : rows of ``roots.csv``; with a column ``folder`` where the walls have one.
    """
    known = pd.DataFrame(
        [(text(wall, "folder"), text(wall, "wall"), text(wall, by), block_of(wall, pair)) for wall in walls],
        columns=["folder", "name", "treatment", "pit"],
    )
    found = pd.DataFrame(
        {
            "folder": roots["folder"].astype(str).str.strip() if "folder" in roots else "",
            "name": roots["wall"].astype(str).str.strip(),
            "value": _numbers(roots, measure.root_column),
            "width_in": _numbers(roots, "width_in"),
        }
    )
    if measure.root_column == "descent_deg":
        # Of a trace that was followed from its tip: descent is read on the way down.
        found["value"] *= np.where(_numbers(roots, "tip_z_in") < _numbers(roots, "base_z_in"), -1.0, 1.0)
    counted = found[(found["width_in"] >= COUNTED_WIDTH_IN) & np.isfinite(found["value"])]
    frame = counted.merge(known[known["treatment"] != ""], on=["folder", "name"])
    frame["wall"] = (frame["folder"] + " " + frame["name"]).str.strip()
    return frame[["value", "treatment", "pit", "wall"]]


def _numbers(table: pd.DataFrame, column: str) -> pd.Series:
    """A column as numbers; NaN where it is missing or blank."""
    if column not in table:
        return pd.Series(np.nan, index=table.index)
    return pd.to_numeric(table[column], errors="coerce").astype(float)


def fit_roots(frame: pd.DataFrame, first: str, second: str) -> RootModel | None:
    """Fit two treatments; None where walls or roots are too few, or the fit does not settle."""
    import statsmodels.api as sm

    data = frame[frame["treatment"].isin([first, second])].copy()
    walls, pits = data["wall"].nunique(), data["pit"].nunique()
    sides = data.groupby("treatment")["wall"].nunique()
    if len(sides) < 2 or sides.min() < 2 or len(data) > MOST_ROOTS or data["value"].std() == 0:
        return None
    data["treated"] = (data["treatment"] == first).astype(float)
    # The fit settles best on figures of about 1; the spread is put back below.
    spread = float(data["value"].std())
    data["value"] /= spread
    several = walls > pits
    within = data.groupby("pit")["treatment"].nunique().max() > 1
    free = data.groupby(["pit", "treatment"]).ngroups - pits - 1 if within else pits - 2
    if free < 1:
        return None
    # One wall a pit: pit and wall are one and the same, and one of them is enough.
    walls_in_pits = {"wall": "0 + C(wall)"} if several else None
    with warnings.catch_warnings():
        # A variance estimated as nothing is a fair outcome here, not a fault to warn of.
        warnings.simplefilter("ignore")
        model = sm.MixedLM.from_formula(
            "value ~ treated", data, re_formula="1", vc_formula=walls_in_pits, groups="pit"
        )
        try:
            # These two need no slope, which at a variance of nothing misleads.
            fit = model.fit(reml=True, method=["powell", "nm"])
        except (np.linalg.LinAlgError, ValueError):
            return None
    effect, se = spread * float(fit.params["treated"]), spread * float(fit.bse["treated"])
    if not (fit.converged and math.isfinite(se) and se > 0):
        return None
    between = float(fit.cov_re.iloc[0, 0]) + float(np.sum(fit.vcomp))
    reach = float(stats.t.ppf(0.975, free)) * se
    return RootModel(
        effect=effect,
        se=se,
        low=effect - reach,
        high=effect + reach,
        p_value=float(2 * stats.t.sf(abs(effect / se), free)),
        roots=len(data),
        walls=walls,
        alike=between / (between + float(fit.scale)),
    )
