"""How much a reading errs, as measured on made walls of training seeds.

Estimated by ``python benchmarks/calibrate.py --write``, which rewrites the
figures below; run it again when the reading changes. The held-out walls of
``benchmarks/judging.py`` say whether the intervals built on them hold.
"""

UNSEEN_SHARE = 0.0269
"""Share of the wall's root length that a reading misses: what it reads is a sample with this left out."""
DESCENT_SE_DEG = 2.05
"""Error of the mean descent beyond the sample of roots, doubtful traces and the level; degrees."""
SHARE_SE = 0.0689
"""The same for the shares of root length below, in and above the growth pattern."""
TORTUOSITY_SHIFT = -0.00308
"""By how much the roots are more tortuous than their traces, which are broken or cut short."""
TORTUOSITY_SE = 0.0892
FLATTENED_SE = 0.0209
LENGTH_SHIFT = 1.36
"""Length that the wall shows over the length that is read: the finest roots are not followed."""
LENGTH_SE = 0.31
SIDEWAYS_SHIFT = 1.37
SIDEWAYS_SE = 0.37
GRADE_SE = 4.5
"""Error of the grade beyond the sample of roots and the level; points."""
