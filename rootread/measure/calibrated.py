"""How much a reading errs, as measured on made walls of training seeds.

Estimated by ``python benchmarks/calibrate.py --write``, which rewrites the
figures below; run it again when the reading changes. The held-out walls of
``benchmarks/judging.py`` say whether the intervals built on them hold.
"""

UNSEEN_SHARE = 0.0203
"""Share of the wall's root length that a reading misses: what it reads is a sample with this left out."""
DESCENT_SE_DEG = 1.08
"""Error of the mean descent beyond the sample of roots, doubtful traces and the level; degrees."""
SHARE_SE = 0.0536
"""The same for the shares of root length below, in and above the growth pattern."""
TORTUOSITY_SHIFT = -0.00256
"""By how much the roots are more tortuous than their traces, which are broken or cut short."""
TORTUOSITY_SE = 0.101
FLATTENED_SE = 0.0214
LENGTH_SHIFT = 1.35
"""Length that the wall shows over the length that is read: the finest roots are not followed."""
LENGTH_SE = 0.273
SIDEWAYS_SHIFT = 1.42
SIDEWAYS_SE = 1.64
GRADE_SE = 5.72
"""Error of the grade beyond the sample of roots and the level; points."""
