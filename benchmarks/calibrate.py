"""Estimate how much a reading errs, on made walls of training seeds.

usage: python benchmarks/calibrate.py [--each 24] [--each-kept 24] [--each-twisted 24] [--each-hindered 24]
       [--stale] [--cache DIR] [--write]

For each figure the error that roots, level and scale do not account for is
found: enough for its intervals to hold the truth on 95 % of walls like these.
How often they would on walls they were not estimated on is said too: each
fifth of the walls is held against intervals made from the other four.
--write puts the figures into rootread/measure/calibrated.py.
"""

import argparse
import re
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

import numpy as np
from judging import Judged, judge, judged_walls
from made_walls import KEPT_SEED, SETTINGS, TRAINING_SEED, WAVY_SEED, cache_folder, hindered_list, wall_list
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.spatial import cKDTree
from scipy.special import digamma, polygamma

import rootread.judge.grade as grade_module
import rootread.measure.intervals as intervals_module
from rootread.fieldsheet import default_row
from rootread.judge.grade import spread_of_roots
from rootread.measure import calibrated

NORMAL_95 = 1.96
HOLD = 0.95
SURE = 0.9
RESAMPLES = 400
LITTLE_IN = 10.0
"""Walls with less root read say little about the share of it that is read."""
ALL_ALIKE = 2.0
"""Where a root moves the grade by fewer points, all stand at an end of the scale and say nothing of it."""
FOLDS = 5
NEAR_IN = 0.10
PLACE = Path(calibrated.__file__)

Values = NDArray[np.float64]

SHIFTED = {
    "shallow_share": "SHALLOW",
    "in_pattern_share": "IN_PATTERN",
    "steep_share": "STEEP",
    "tortuosity": "TORTUOSITY",
    "flattened_share": "FLATTENED",
}
"""Figures whose interval is moved by what readings err as a rule."""
UNSHIFTED = {"descent": "DESCENT_SE_DEG", "grade": "GRADE_SE"}
FACTORS = {"root_length_in": "LENGTH"}
"""Figures that err by a factor: their logarithms stand in place of them here."""
SUMS = {"sideways_in": "SIDEWAYS"}
"""Figures of pieces that are found or missed, so that their errors grow as the square root of them."""


class Compared(NamedTuple):
    """One figure of all walls."""

    truth: Values
    read: Values
    se: Values
    """What roots, level and scale make it unsure by."""

    def of(self, walls: NDArray[np.intp]) -> "Compared":
        return Compared(self.truth[walls], self.read[walls], self.se[walls])


def compared(judged: list[Judged]) -> dict[str, Compared]:
    """Every figure; the walls were judged with all errors at nothing."""
    held = [one.intervals() for one in judged]
    return {
        name: _column([intervals[name] for intervals in held], np.log if name in FACTORS else np.asarray)
        for name in held[0]
    }


def _column(pairs: list, scale: Callable[[Values], Values]) -> Compared:
    rows = np.array([(true, sure.value, sure.low, sure.high) for sure, true in pairs], dtype=float)
    true, value, low, high = scale(rows).T
    return Compared(true, value, np.maximum(high - value, value - low) / NORMAL_95)


def estimate(figures: dict[str, Compared]) -> dict[str, float]:
    """Every error and shift of ``calibrated`` that intervals need."""
    found = {}
    for name, label in UNSHIFTED.items():
        one = figures[name]
        found[label] = least_error(one.truth - one.read, one.se)
    for name, label in SHIFTED.items():
        one = figures[name]
        found[f"{label}_SHIFT"] = shift = float(np.median(one.truth - one.read))
        found[f"{label}_SE"] = least_error(one.truth - one.read - shift, one.se)
    for name, label in FACTORS.items():
        one = figures[name]
        shift = float(np.median(one.truth - one.read))
        found[f"{label}_SHIFT"] = float(np.exp(shift))
        found[f"{label}_SE"] = least_error(one.truth - one.read - shift, one.se)
    for name, label in SUMS.items():
        one = figures[name]
        much = one.read > LITTLE_IN
        found[f"{label}_SHIFT"] = shift = float(np.median(one.truth[much] / one.read[much]))
        root = np.sqrt(one.read + intervals_module.USUAL_PIECE_IN)
        found[f"{label}_SPREAD"] = least_error((one.truth - shift * one.read) / root, one.se / root)
    return found


def holds(figures: dict[str, Compared], errors: dict[str, float]) -> dict[str, NDArray[np.bool_]]:
    """For each figure, the walls whose interval holds the truth with these errors."""
    held = {}
    for name, one in figures.items():
        if name in UNSHIFTED:
            centre, error = one.read, np.full(len(one.read), errors[UNSHIFTED[name]])
        elif name in SHIFTED:
            label = SHIFTED[name]
            centre, error = one.read + errors[f"{label}_SHIFT"], np.full(len(one.read), errors[f"{label}_SE"])
        elif name in FACTORS:
            label = FACTORS[name]
            centre = one.read + np.log(errors[f"{label}_SHIFT"])
            error = np.full(len(one.read), errors[f"{label}_SE"])
        else:
            label = SUMS[name]
            centre = one.read * errors[f"{label}_SHIFT"]
            error = errors[f"{label}_SPREAD"] * np.sqrt(one.read + intervals_module.USUAL_PIECE_IN)
        half = NORMAL_95 * np.hypot(one.se, error)
        low, high = np.minimum(centre - half, one.read), np.maximum(centre + half, one.read)
        held[name] = (low <= one.truth) & (one.truth <= high)
    return held


def crossed_coverage(figures: dict[str, Compared]) -> dict[str, float]:
    """Share of walls whose interval holds the truth when made from the other four fifths of the walls."""
    count = len(next(iter(figures.values())).truth)
    fold = np.arange(count) % FOLDS
    held: dict[str, list[NDArray[np.bool_]]] = {name: [] for name in figures}
    for k in range(FOLDS):
        others, own = np.flatnonzero(fold != k), np.flatnonzero(fold == k)
        errors = estimate({name: one.of(others) for name, one in figures.items()})
        for name, ones in holds({name: one.of(own) for name, one in figures.items()}, errors).items():
            held[name].append(ones)
    return {name: float(np.concatenate(ones).mean()) for name, ones in held.items()}


def least_error(off: Values, se: Values) -> float:
    """The error that, beside ``se``, makes 95 % intervals hold: ``|off| <= 1.96 hypot(se, error)``.

    A hundred walls show the tail of errors badly, so the walls are drawn again
    with replacement, and the error is one that is enough in a share ``SURE`` of the draws.
    """
    needed = np.sqrt(np.maximum((off / NORMAL_95) ** 2 - se**2, 0.0))
    again = np.random.default_rng(1).integers(0, len(needed), (RESAMPLES, len(needed)))
    return float(np.quantile(np.quantile(needed[again], HOLD, axis=1), SURE))


def _unseen(one: Judged) -> float:
    """Share of the length that a reading must find which no trace lies on."""
    wanted = np.concatenate([root.seen[root.needed] for root in one.wall.truth.roots])
    traces = [root.trace.points for root in one.readings.roots]
    if not traces:
        return 1.0
    found = one.wall.truth.from_photo(one.wall.plane.to_photo_px(np.concatenate(traces)))
    return float((cKDTree(found).query(wanted)[0] >= NEAR_IN).mean())


def usual_spread(sd: Values, roots: Values) -> tuple[float, float]:
    """How far a root moves the grade on a usual wall, and how many roots more of a wall that is worth.

    The moments of log variances (Smyth 2004, Statistical Applications in
    Genetics and Molecular Biology 3:3; from memory): with d = n - 1 degrees of
    freedom of each wall, e = log s^2 - psi(d / 2) + log(d / 2) spreads by
    trigamma(d / 2) by chance; what is more is trigamma(d0 / 2).

    Parameters
    ----------
    sd, roots : ``(W,)`` as ``spread_of_roots`` gives them.
    """
    s2 = sd**2 * roots**2 / (roots - 1.0)
    apart = s2 >= ALL_ALIKE**2
    s2, half = s2[apart], (roots[apart] - 1.0) / 2.0
    e = np.log(s2) - digamma(half) + np.log(half)
    more = float(e.var(ddof=1) - polygamma(1, half).mean())
    known = 2.0 * brentq(lambda x: polygamma(1, x) - max(more, 1e-3), 1e-3, 1e4)
    return float(np.exp((e.mean() + digamma(known / 2) - np.log(known / 2)) / 2)), float(known)


def _spreads(judged: list[Judged]) -> tuple[Values, Values]:
    found = [
        spread_of_roots(one.readings, one.layers, default_row(f"{one.wall.name}.jpg"), SETTINGS.judge)
        for one in judged
    ]
    sd, roots = np.array([pair for pair in found if pair[1] > 1.5]).T
    return sd, roots


def _without_errors(run: Callable[[], list[Judged]]) -> list[Judged]:
    """Judge with every calibrated error at nothing, so that only what is derived counts."""
    names = [name for name in vars(calibrated) if name.isupper() and name != "UNSEEN_SHARE"]
    factors = [f"{label}_SHIFT" for label in (*FACTORS.values(), *SUMS.values())]
    places = [(calibrated, name, 1.0 if name in factors else 0.0) for name in names]
    places.append((grade_module, "GRADE_SE", 0.0))
    before = [(module, name, getattr(module, name)) for module, name, _ in places]
    for module, name, value in places:
        setattr(module, name, value)
    try:
        return run()
    finally:
        for module, name, value in before:
            setattr(module, name, value)


def write(figures: dict[str, float]) -> None:
    """Put the figures in their places; everything else of the file stays."""
    text = PLACE.read_text(encoding="utf-8")
    for name, found in figures.items():
        text, count = re.subn(rf"^{name} = .*$", f"{name} = {found:.3g}", text, flags=re.M)
        assert count == 1, name
    PLACE.write_text(text, encoding="utf-8")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--each", type=int, default=24, help="walls of each kind")
    parser.add_argument("--each-kept", type=int, default=24, help="the same, of seeds kept from following")
    parser.add_argument("--each-twisted", type=int, default=24, help="the same, of twisted roots")
    parser.add_argument("--each-hindered", type=int, default=24, help="blocked walls that hinder most")
    parser.add_argument("--stale", action="store_true")
    parser.add_argument("--cache", type=Path, default=cache_folder())
    parser.add_argument("--write", action="store_true")
    options = parser.parse_args()

    def read() -> list[Judged]:
        walls = [
            *wall_list(TRAINING_SEED, options.each),
            *wall_list(KEPT_SEED, options.each_kept),
            *wall_list(WAVY_SEED, options.each_twisted),
            *hindered_list(options.each_hindered),
        ]
        judged = judged_walls(walls, options.cache, options.stale)
        return [one for one in judged if not isinstance(one, tuple)]

    judged = _without_errors(read)
    # The share that is missed and the usual spread of roots enter other intervals, so they are set first.
    intervals_module.UNSEEN_SHARE = float(np.median([_unseen(one) for one in judged]))
    sd, known = usual_spread(*_spreads(judged))
    grade_module.GRADE_ROOT_SD, grade_module.GRADE_ROOTS_KNOWN = sd, known
    walls = [one.wall for one in judged]
    judged = _without_errors(lambda: [judge(wall) for wall in walls])
    figures = compared(judged)
    errors = {
        "UNSEEN_SHARE": intervals_module.UNSEEN_SHARE,
        **estimate(figures),
        "GRADE_ROOT_SD": sd,
        "GRADE_ROOTS_KNOWN": known,
    }
    print(f"{len(judged)} walls")
    for name, value in errors.items():
        print(f"{name} = {value:.3g}")
    for name, share in crossed_coverage(figures).items():
        print(f"Interval of {name}: holds the truth on {share:.0%} of walls it was not made from.")
    if options.write:
        write(errors)


if __name__ == "__main__":
    main()
