"""Thresholds of ``accuracy``: one home, a unit and a reason each."""

from __future__ import annotations

CLASSES = ("autonomous", "differential", "RTK float", "RTK fixed")
"""Classes of fixes, worst first."""

CLASS_OF_QUALITY = {1: 0, 2: 1, 3: 1, 4: 3, 5: 2}
"""NMEA GGA quality to class; any other code, and none, counts as autonomous."""

CLASS_SIGMA_M = (0.9, 0.35, 0.2, 0.0143)
"""Wandering error of one coordinate, by class. [m]
Autonomous: pass-to-pass "about 1 m or worse" within 15 minutes is sigma * 1.25 at 600 s (from memory).
Differential: FAA WJHTC, WAAS Performance Analysis Report 10 (2004), static 95 % horizontal 0.61-1.06 m,
which is 2.45 sigma: 0.25-0.43 m. RTK float: between the two (from memory). RTK fixed: 1.43 cm between
rows, Carballido et al. 2014, Appl. Eng. Agric. 30(3):361-366."""

CLASS_NOISE_M = (0.05, 0.03, 0.02, 0.005)
"""White noise of one coordinate, by class. [m] Common practice, no source."""

CLASS_TIME_S = (600.0, 600.0, 300.0, 100.0)
"""Time constant of the wandering error, by class. [s] 60-600 s, slow terms tens of minutes (from
memory); RTK's multipath changes within minutes."""

USUAL_HDOP = 1.0
HDOP_RANGE = (0.6, 5.0)
"""Sigma by class holds at this HDOP and grows with it (sigma = HDOP * range error); within the
range, since beyond it a receiver's figure says "bad" rather than how bad. [1]"""

MOST_TUNING_GAPS = 450
"""Most gaps by which the driver's habits are judged: enough for five figures. [1]"""

PROBE_REACH_WIDTHS = 0.45
"""Farthest edge that can be meant: half a boom away it may be a forgotten pass. [boom widths]"""

FACING = 0.99
FACING_AHEAD = 0.5
"""Edges face each other when their normals oppose by more than this: within 8 degrees between
passes, within 60 degrees ahead of the boom, where headlands slant. [cos]"""

END_INSET_SHARE = 0.02
"""Tips look ahead from so far inside the boom's ends, clear of the neighbouring pass. [boom widths]"""

MEAN_GAP_M = 0.5
"""Drivers' own mean overlap or gap, before anything is seen of it. [m] Common practice, no source."""

KNOT_STEP_M = 10.0
"""Error is applied to boom lines at least this often; in between it goes straight. [m] In the
four seconds that this takes, wandering error changes by a tenth of itself."""

SCAN_LINES = 500
MOST_SCAN_STEP_M = 1.0
"""Replicates are counted along parallel lines: so many over a square target, at most so far apart. [1], [m]
Against the exact partition the difference that a shift makes then errs by 1e-5 of the target or less."""

MOST_CROSSINGS = 2_000_000
"""Edges of swept steps cross the lines so often at most: the lines lie farther apart where the boom was very wide
or its steps very long, which bounds the memory of a draw by some 200 MB. [1]"""

MOST_SWEEPS = 1_000_000
"""Sweeps over parts of lines that are looked at in one go, where ground was swept hundreds of times. [1]"""

MOST_PAIRS = 100_000
"""Pairs of cut and step that are looked at in one go: bounds the memory where the error is large. [1]"""

SCAN_DIRECTIONS = 60
"""Directions that are tried for those lines: every three degrees. [1]"""

CLUSTER_SKIPS = 24
"""Places at which the smallest detectable skip is worked out; their median is told. [1]"""

SKIP_LENGTH_M = 30.0
"""Length of the skip whose width is told. [m]"""

SURE = 0.9
"""A skip is detectable when it is likelier than this to be real. [1]"""

CROSS_CUTS = 9
"""Cuts across a strip at which it is looked at in every replicate: odd, so that half is clear. [1]"""

CUT_REACH_SIGMAS = 3.0
"""Cuts reach this many standard deviations of the error beyond the strip on either side. [1]"""

MOST_SIGMA_M = 100.0
"""Errors count as no larger than this: nothing can be told of a boom's width then, whatever they are. [m]"""

LEAST_DRAWS = 20
"""Fewer draws say nothing of nine chances in ten. [1]"""

MOST_AT_ONCE = 250
"""Draws whose errors are held at once: a 12 ha job at 10 Hz then needs some 30 MB for them. [1]"""

TOO_WIDE_TARGET = 0.5
TOO_WIDE_ESTIMATE = 2.0
"""Nothing can be told when the 90 % range is wider than this share of the target, or than this many
times the estimate. [1] (requirement)"""

OUTLIER_SPREADS = 3.5
"""Gaps farther from the median than this many standard deviations (by the median absolute
deviation) are mistakes, or meant so. [1] Of even work one in two thousand is."""

USUAL_WANDER_M = 0.15
USUAL_WANDER_LENGTH_M = 30.0
USUAL_OFFSET_M = 0.04
USUAL_AHEAD_M = 0.2
"""A driver's usual wander, the way over which it changes, offset of a whole pass, and scatter of the
switching place, before anything is seen of them. [m] Common practice, no source."""

VEHICLE_SMOOTH_M = 5.0
"""Way over which a vehicle answers its steering. [m] One or two wheelbases; common practice, no source."""

TUNING_STEP_M = 15.0
"""Gaps by which the driver's habits are judged are at least so far apart. [m] Closer ones show how smoothly the
vehicle goes and what the receiver's jitter leaves, and there are so many that they would outvote the rest."""

SLANT = 0.035
SLANT_M = 1.0
"""A pass is askew to an edge when its gap changes faster than this, and by more than this in all. [1], [m]
Two degrees; drivers wander a quarter as much."""

RUN_BREAK_STEPS = 2.5
SIDE_TURN = 0.09
SHORT_RUN = 3
"""Gaps belong to one run while no two are farther apart than so many steps and the edge does not turn by more
than this (five degrees); fewer than so many do not show that a pass runs along it. [1]"""

HABIT_PRIOR_LOG_SD = 1.0
"""How far, as a factor e^this, drivers differ from the usual. [1]"""

HABIT_CURVE_STEP = 0.2
"""Step, in logarithms of the habits, over which the curvature of their likelihood is taken. [1]"""

HABIT_SEARCH = (0.5, 0.02)
"""Habits are searched, in logarithms, with a first step of so much, until nothing moves by more than so little. [1]"""

HAND_SPREAD = 1.1
"""Draws of the hand-steered regime are spread about their mean by so much: passes set wrong, and corners, are not in
the model of the driver. [1] 70 simulated jobs a class (seeds 1450-1489, 1510-1539) gave 1.0 (RTK) to 1.15."""

STRAIGHT_FIT_S = 3.0
STRAIGHT_FIT_M = 0.05
"""Straight parts are smoothed over so long before and after, and a part is straight when that moves
its fixes by no more than noise and this. [s], [m] At 2.5 m/s a wander 40 m long keeps 99 % of its size."""

STRAIGHT_M, STRAIGHT_DEG = 10.0, 8.0
"""Gaps are measured where the heading changes by less than this over so long a way: contours of 70 m
radius still count, corners of headland laps do not. [m], [deg]"""

HABIT_GROUPS = 10
"""Groups of draws, each under its own habits: more would cost a factoring each and change nothing. [1]"""

PAIR_SPREADS = 2.5
PAIR_LEAST = 5
"""Pairs of passes, measured at so many places or more, whose mean gap is farther from the median of so
many pairs or more than this many standard deviations: one was set wrong. Of even pairs one in eighty is. [1]"""

STAND_M = 3.0
STAND_SIDE_S = 15.0
STAND_WHOLE = 0.05
"""A machine stands where it moves by no more than this from so long before to so long after: a tenth of a metre a
second, which no receiver's error keeps up and every drive exceeds. A log that moves in no more than this share of its
fixes is of a receiver left in one place. [m], [s], [1]"""

LEAST_STAND_S = 90.0
"""Shorter stands say nothing of an error that wanders over minutes. [s]"""

STAND_STEP_S = 5.0
MOST_STANDING_FIXES = 1200
"""Fixes of a stand are used so far apart, and no more of them than this in all. [s], [1] What changes within
seconds is then the short part, whatever its own memory."""

PACE_GRID_M = (3e-5, 3.0)
TIME_GRID_S = (15.0, 10_000.0)
STAND_NOISE_M = (0.0003, 10.0)
GRID_POINTS = 15
GRID_LOOKS = (0.05, 0.3, 1.0)
GRID_MASS = 1e-4
"""Bounds and steps of the figures that are tried, and the chance below which a value is left out of the next, closer
look; there the chances, which a coarse grid may meet beside its peak, are raised to these powers.
[m/sqrt(s)], [s], [m], [1], [1], [1]"""

TIME_MIDDLE_S = 600.0
TIME_LOG_SD = 1.2
"""Time constant before anything is seen of it, as a factor e^this about it. [s], [1] A receiver's slow parts show
150 to 2 000 s and more."""

NOISE_SHARE = 0.1
NOISE_LOG_SD = 1.5
"""Short part before anything is seen of it, as a share of the slow one, and how far that may be off, as a factor
e^this. [1] Over the classes the share goes from 0.05 to 0.35."""

ENOUGH_STANDING_S = 1500.0
ENOUGH_FACTOR = 5.0
"""A post test is enough when it lasts so long and its 90 % range of the scale spans no more than this factor. [s], [1]
Half an hour shows an error forgotten over ten minutes three times in each of two coordinates."""
