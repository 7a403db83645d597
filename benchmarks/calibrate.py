"""Estimate how much a reading errs, on made walls of training seeds.

usage: python benchmarks/calibrate.py [--each 12] [--stale] [--cache DIR] [--write]

For each figure the error that roots, level and scale do not account for is
found: enough for its intervals to hold the truth on 95 % of walls like these.
--write puts the figures into rootread/measure/calibrated.py.
"""

import argparse
import re
from collections.abc import Callable
from pathlib import Path

import numpy as np
from judging import Judged, judge, judged_walls
from made_walls import TRAINING_SEED, cache_folder
from scipy.spatial import cKDTree

import rootread.judge.grade as grade_module
import rootread.measure.descent as descent_module
import rootread.measure.intervals as intervals_module
from rootread.measure import calibrated

NORMAL_95 = 1.96
HOLD = 0.95
SURE = 0.95
SURE_OF_SIDEWAYS = 0.6
"""Few walls have much root run sideways, so that a surer figure would be that of the one worst wall."""
RESAMPLES = 400
LEAST_RUN_IN = 5.0
"""Walls with less sideways root say nothing about the share of it that is read."""
NEAR_IN = 0.10
PLACE = Path(calibrated.__file__)


def estimate(judged: list[Judged]) -> dict[str, float]:
    """Every figure of ``calibrated``; the walls were judged with all errors at nothing."""
    figures = {"UNSEEN_SHARE": float(np.median([_unseen(one) for one in judged]))}

    def pairs(name: str) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Truth, reading, and the standard error that roots, level and scale give it."""
        held = [one.intervals()[name] for one in judged]
        truth = np.array([true for _, true in held])
        value = np.array([sure.value for sure, _ in held])
        half = np.array([max(sure.high - sure.value, sure.value - sure.low) for sure, _ in held])
        return truth, value, half / NORMAL_95

    truth, value, se = pairs("descent")
    figures["DESCENT_SE_DEG"] = least_error(truth - value, se)
    names = ("shallow_share", "in_pattern_share", "steep_share")
    shares = [np.concatenate(column) for column in zip(*(pairs(name) for name in names), strict=True)]
    figures["SHARE_SE"] = least_error(shares[0] - shares[1], shares[2])
    truth, value, se = pairs("tortuosity")
    figures["TORTUOSITY_SHIFT"] = float(np.median(truth - value))
    figures["TORTUOSITY_SE"] = least_error(truth - value - figures["TORTUOSITY_SHIFT"], se)
    truth, value, se = pairs("flattened_share")
    figures["FLATTENED_SE"] = least_error(truth - value, se)
    for name, label in (("root_length_in", "LENGTH"), ("sideways_in", "SIDEWAYS")):
        truth, value, se = pairs(name)
        some = value > (LEAST_RUN_IN if label == "SIDEWAYS" else 0.0)
        ratio = truth[some] / value[some]
        figures[f"{label}_SHIFT"] = float(np.median(ratio))
        sure = SURE_OF_SIDEWAYS if label == "SIDEWAYS" else SURE
        figures[f"{label}_SE"] = least_error(ratio - np.median(ratio), se[some] / value[some], sure)
    truth, value, se = pairs("grade")
    figures["GRADE_SE"] = least_error(truth - value, se)
    return figures


def least_error(off: np.ndarray, se: np.ndarray, sure: float = SURE) -> float:
    """The error that, beside ``se``, makes 95 % intervals hold: ``|off| <= 1.96 hypot(se, error)``.

    A few dozen walls show the tail of errors badly, so the walls are drawn again
    with replacement, and the error is one that is enough in a share ``sure`` of the draws.
    """
    needed = np.sqrt(np.maximum((off / NORMAL_95) ** 2 - se**2, 0.0))
    again = np.random.default_rng(1).integers(0, len(needed), (RESAMPLES, len(needed)))
    return float(np.quantile(np.quantile(needed[again], HOLD, axis=1), sure))


def _unseen(one: Judged) -> float:
    """Share of the length that a reading must find which no trace lies on."""
    wanted = np.concatenate([root.seen[root.needed] for root in one.wall.truth.roots])
    traces = [root.trace.points for root in one.readings.roots]
    if not traces:
        return 1.0
    found = one.wall.truth.from_photo(one.wall.plane.to_photo_px(np.concatenate(traces)))
    return float((cKDTree(found).query(wanted)[0] >= NEAR_IN).mean())


def _without_errors(run: Callable[[], list[Judged]]) -> list[Judged]:
    """Judge with every calibrated error at nothing, so that only what is derived counts."""
    places = [
        (descent_module, "DESCENT_SE_DEG", 0.0),
        (descent_module, "SHARE_SE", 0.0),
        (grade_module, "GRADE_SE", 0.0),
        *((calibrated, f"{name}_SE", 0.0) for name in ("TORTUOSITY", "FLATTENED", "LENGTH", "SIDEWAYS")),
        (calibrated, "TORTUOSITY_SHIFT", 0.0),
        (calibrated, "LENGTH_SHIFT", 1.0),
        (calibrated, "SIDEWAYS_SHIFT", 1.0),
    ]
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
    for name, value in figures.items():
        text, count = re.subn(rf"^{name} = .*$", f"{name} = {value:.3g}", text, flags=re.M)
        assert count == 1, name
    PLACE.write_text(text, encoding="utf-8")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--each", type=int, default=12, help="walls of each kind")
    parser.add_argument("--stale", action="store_true")
    parser.add_argument("--cache", type=Path, default=cache_folder())
    parser.add_argument("--write", action="store_true")
    options = parser.parse_args()

    def read() -> list[Judged]:
        walls = judged_walls(TRAINING_SEED, options.each, options.cache, options.stale)
        return [one for one in walls if not isinstance(one, tuple)]

    judged = _without_errors(read)
    # The share that is missed enters all other intervals, so it is set first.
    intervals_module.UNSEEN_SHARE = float(np.median([_unseen(one) for one in judged]))
    walls = [one.wall for one in judged]
    judged = _without_errors(lambda: [judge(wall) for wall in walls])
    figures = estimate(judged)
    print(f"{len(judged)} walls")
    for name, value in figures.items():
        print(f"{name} = {value:.3g}")
    if options.write:
        write(figures)


if __name__ == "__main__":
    main()
