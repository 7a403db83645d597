"""How much a reading errs, as measured on made walls of training seeds.

Estimated by ``python benchmarks/calibrate.py --write``, which rewrites the
figures below; run it again when the reading changes. The held-out walls of
``benchmarks/judging.py`` say whether the intervals built on them hold.
"""

UNSEEN_SHARE = 0.021
"""Share of the wall's root length that a reading misses: what it reads is a sample with this left out."""
DESCENT_SE_DEG = 0.643
"""Error of the mean descent beyond the sample of roots, doubtful traces and the level; degrees."""
SHALLOW_SHIFT = -0.000219
"""By how much the true share of root length below the growth pattern exceeds the share that is read."""
SHALLOW_SE = 0
"""Error of that share once shifted, beyond what is derived; the same below for the other figures."""
IN_PATTERN_SHIFT = 0.00382
IN_PATTERN_SE = 0.0232
STEEP_SHIFT = -0.00682
STEEP_SE = 0.00967
TORTUOSITY_SHIFT = 0.00411
"""By how much the roots are more tortuous than their traces, which are broken or cut short."""
TORTUOSITY_SE = 0.0655
FLATTENED_SHIFT = 0.00866
"""What is flattened is mostly not found."""
FLATTENED_SE = 0.0136
LENGTH_SHIFT = 1.23
"""Length that the wall shows over the length that is read: the finest roots are not followed."""
LENGTH_SE = 0.283
SIDEWAYS_SHIFT = 1.18
SIDEWAYS_SPREAD = 1.59
"""Runs are found as by tosses: the error is this times the square root of what was read and one run more."""
GRADE_SE = 3.06
"""Error of the grade beyond the sample of roots and the level; points."""
GRADE_ROOT_SD = 10
"""How far one root would move the grade of a usual wall; points."""
GRADE_ROOTS_KNOWN = 3.63
"""As many roots more of a wall that is worth, in how sure its grade is."""
