"""Settings of a training run; a run writes them beside its weights."""

from dataclasses import dataclass


@dataclass(frozen=True)
class TrainSettings:
    """One run."""

    seed: int = 20
    minutes: float = 8.5
    """Learning time; the rate falls along a cosine over it, so a run ends finished."""
    progress_from: float = 0.0
    progress_to: float = 1.0
    """A run may go through a part of the cosine only, and a resumed one through the rest."""
    batch: int = 128
    made_side: int = 352
    """Side of a wall in the pool, px."""
    side: int = 320
    """Side of a picture learnt from, px."""
    pool: int = 3072
    """Walls of each source held at a time."""
    made_every: int = 6
    """Steps from one batch of fresh made walls to the next."""
    scene_share: float = 0.6
    """Share of the batch that comes from rendered scenes."""
    scene_faults: float = 0.5
    """Share of the rendered scenes that gets camera faults beyond its own."""
    scene_workers: int = 14
    learning_rate: float = 3e-3
    weight_decay: float = 0.01
    average_keep: float = 0.998
    """The weights that are shipped are the running mean of the last ~500 steps."""
    validate_every: int = 500
    checkpoint_seconds: float = 60.0
    widths: tuple[int, ...] = (16, 48, 96, 128, 192)


TINY = TrainSettings(
    minutes=0.05,
    batch=2,
    made_side=96,
    side=64,
    pool=8,
    scene_workers=1,
    validate_every=2,
    checkpoint_seconds=1.0,
    widths=(16, 16, 16, 16, 16),
)
"""The same way in miniature, for trying a change on a CPU."""
