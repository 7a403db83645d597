"""How much a reading errs, as measured on made walls of training seeds.

Estimated by ``python benchmarks/calibrate.py --write``, which rewrites the
figures below; run it again when the reading changes. The held-out walls of
``benchmarks/judging.py`` say whether the intervals built on them hold.
"""

UNSEEN_SHARE = 0.02
"""Share of the wall's root length that a reading misses: what it reads is a sample with this left out."""
DESCENT_SE_DEG = 0.566
"""Error of the mean descent beyond the sample of roots, doubtful traces and the level; degrees."""
SHALLOW_SHIFT = 0.00179
"""By how much the true share of root length below the growth pattern exceeds the share that is read."""
SHALLOW_SE = 0
"""Error of that share once shifted, beyond what is derived; the same below for the other figures."""
IN_PATTERN_SHIFT = 0.00322
IN_PATTERN_SE = 0.0223
STEEP_SHIFT = -0.00682
STEEP_SE = 0.0103
TORTUOSITY_SHIFT = 0.00451
"""By how much the roots are more tortuous than their traces, which are broken or cut short."""
TORTUOSITY_SE = 0.0663
FLATTENED_SHIFT = 0.00821
"""What is flattened is mostly not found."""
FLATTENED_SE = 0.0133
LENGTH_SHIFT = 1.21
"""Length that the wall shows over the length that is read: the finest roots are not followed."""
LENGTH_SE = 0.161
"""Error of that factor's logarithm."""
SIDEWAYS_SHIFT = 1.18
SIDEWAYS_SPREAD = 1.15
"""Runs are found as by tosses: the error is this times the square root of what was read and one run more."""
GRADE_SE = 2.91
"""Error of the grade beyond the sample of roots and the level; points."""
GRADE_ROOT_SD = 10
"""How far one root would move the grade of a usual wall; points."""
GRADE_ROOTS_KNOWN = 3.5
"""As many roots more of a wall that is worth, in how sure its grade is."""
