"""What training walls look like to the network: ``python -m rootread.train.familiar [OUT.npz]``.

Mean and covariance of the deepest features over pieces of made walls with the
soils of training, for ``rootread.find.familiar``.
"""

import argparse
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rootread.find import familiar
from rootread.find.familiar import PIECE_CELLS, Familiar, Pieces, pieces_of
from rootread.find.session import shipped
from rootread.find.tiles import STRIDE_PX, run_in_tiles
from rootread.scene import draw_training_scene, render_crop
from rootread.train.feed import PX_PER_IN, soils_of

SEEDS = range(600_000, 600_900)
"""Of training soils, but scenes that no run has drawn."""
AROUND_CELLS = 1
"""Cells about each piece, so that its features know what lies beyond its edge."""
SHRINKAGE = 0.05
"""Share of a round covariance mixed in: fewer pieces than features squared."""
FAR_SHARE = 0.95
"""Training pieces are made harder and odder on purpose than any one wall is as a whole."""


def training_pieces(seeds: range) -> Pieces:
    """One piece of each seed's wall, its place and scale at random."""
    inner = np.s_[AROUND_CELLS * STRIDE_PX : (AROUND_CELLS + PIECE_CELLS) * STRIDE_PX]
    cells = np.s_[AROUND_CELLS : AROUND_CELLS + PIECE_CELLS]
    side = (PIECE_CELLS + 2 * AROUND_CELLS) * STRIDE_PX
    soil = np.ones((PIECE_CELLS * STRIDE_PX,) * 2, dtype=bool)
    found = []
    for seed in seeds:
        rng = np.random.default_rng(seed)
        scene = draw_training_scene(rng, soils_of(seed))
        centre = (float(rng.uniform(4, scene.width_in - 4)), float(rng.uniform(3, scene.depth_in - 3)))
        rgb, *_ = render_crop(scene, side, float(rng.uniform(*PX_PER_IN)), rng, centre)
        deep = run_in_tiles(rgb, shipped()).deep
        found.append(pieces_of(rgb[inner, inner], deep[cells, cells], soil))
    return Pieces(np.concatenate([f.deep for f in found]), np.concatenate([f.traits for f in found]))


def statistics(pieces: Pieces) -> Familiar:
    """Mean, whitener, and how far training pieces themselves lie.

    Distances are of pieces left out of the covariance they are measured by: half of
    them against the other half.
    """
    first, second = pieces.deep[::2], pieces.deep[1::2]
    far = []
    for kept, left in ((first, second), (second, first)):
        mean, whitener = _fit(kept)
        far.append(Familiar(mean, whitener, 0.0, mean, mean).distance(left))
    mean, whitener = _fit(pieces.deep)
    limit = float(np.quantile(np.concatenate(far), FAR_SHARE))
    return Familiar(mean, whitener, limit, pieces.traits.mean(axis=0), pieces.traits.std(axis=0))


def _fit(deep: NDArray[np.float32]) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Mean and whitener of ``(K, F)`` features, their covariance shrunk toward a round one."""
    covariance = np.cov(deep, rowvar=False)
    count = len(covariance)
    round_one = np.trace(covariance) / count * np.eye(count)
    values, vectors = np.linalg.eigh((1 - SHRINKAGE) * covariance + SHRINKAGE * round_one)
    return deep.mean(axis=0), (vectors / np.sqrt(values)).astype(np.float32)


def write(fit: Familiar, out: Path) -> None:
    """The numbers in half precision, which is finer than they are known."""
    numbers: dict[str, Any] = {name: np.asarray(value, np.float16) for name, value in vars(fit).items()}
    np.savez_compressed(out, **numbers)


def main() -> None:
    """Draw the walls, fit, write."""
    parser = argparse.ArgumentParser(description=__doc__)
    shipped_file = Path(familiar.__file__).parent / familiar.STATISTICS
    parser.add_argument("out", type=Path, nargs="?", default=shipped_file)
    fit = statistics(training_pieces(SEEDS))
    write(fit, parser.parse_args().out)
    print(f"1 piece in 20 lies farther than {fit.far:.2f}")


if __name__ == "__main__":
    main()
