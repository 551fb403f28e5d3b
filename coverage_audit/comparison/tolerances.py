"""Thresholds of ``comparison``: one home, a unit and a reason each."""

from __future__ import annotations

BLOCK_LEAST = 2
"""Passes drawn together at least: the spacing of a pass depends on it and on the one before. [1]"""

BLOCK_MEMORY_S = 600.0
"""Neighbouring passes within this drift together: positions forget in minutes (time constants of 60 to
600 s are usual; from memory). [s]"""

RESAMPLES = 1000
"""Resamplings behind an interval: its ends are then known to about 2 % of its width. [1]"""

LEAST_PASSES = 6
"""With fewer passes no interval is given: three blocks of two say nothing. [1]"""

EXACT_REL = 1e-9
"""Differences smaller than this are rounding of floats. [1]"""

DRIFT_SHARE = 0.5
"""Share of the variance between passes that drifts with the receiver. [1] In 200 pairs of simulated jobs drawn alike
(drift of 0.3 m, 600 s) no measure is then called different more often than chance would."""
