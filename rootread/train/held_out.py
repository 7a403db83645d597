"""What training never sees, so that checkpoints and benchmarks can be told by it."""

HELD_OUT_SOILS = ("purple_shale", "olive_till", "ash_white")
"""Soils that no training scene has; held-out scenes have these alone."""
CHECKPOINT_SEEDS = 800_000
"""Scenes from this seed to 899,999 choose between checkpoints; from 900,000 on they are for benchmarks."""
