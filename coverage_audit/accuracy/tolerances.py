"""Thresholds of ``accuracy``: one home, a unit and a reason each."""

from __future__ import annotations

CLASSES = ("autonomous", "differential", "RTK float", "RTK fixed")
"""Classes of fixes, worst first."""

CLASS_OF_QUALITY = {1: 0, 2: 1, 3: 1, 4: 3, 5: 2}
"""NMEA GGA quality to class; any other code, and none, counts as autonomous."""

CLASS_SIGMA_M = (0.7, 0.28, 0.7, 0.0101)
CLASS_TIME_S = (600.0, 600.0, 400.0, 100.0)
"""Middle of what is expected of the slow error of one coordinate, and of its time constant, by class. [m], [s]
Static logs (sqrt of half the mean squared difference over 10, 60, 240 s): autonomous .06-.14, .17-.37, .35-.60 m;
RTK float .05, .20, .45 m in the open and up to five times that by buildings; slow parts of 1 500 s and more.
Differential: FAA WJHTC, WAAS Performance Analysis Report 10 (2004), static 95 % horizontal 0.61-1.06 m, which is
2.45 sigma. RTK fixed: 1.43 cm between rows, the difference of two passes and so sqrt(2) times the error of one,
Carballido et al. 2014, Appl. Eng. Agric. 30(3):361-366."""

CLASS_SIGMA_LOG_SD = (0.9, 0.9, 0.9, 0.9)
CLASS_TIME_LOG_SD = (0.9, 0.9, 0.9, 0.9)
"""By which factor e^this one receiver, sky and day differ from the middle of its class. [1] Sessions of one class
spread by a factor of e or more either way in all."""

STATED_LOG_SD = 0.8
GST_LOG_SD = 0.6
"""The same for a figure that the job file states, and for what the receiver itself tells (GST). [1] A post test in the
open is not the drive beside trees, and what is stated may be half or double of what was; receivers' own figures are
known to be off by half (common practice, no source). Stated half as large, at 0.6, 14 of 20 ranges held of what a
machine guided by an autonomous receiver sprayed twice, at 0.8 17 (second simulator, seeds 1400-1419)."""

CLASS_SHORT_M = (0.03, 0.02, 0.03, 0.01)
SHORT_LOG_SD = 1.0
SHORT_MEMORY_S = 15.0
MOST_SHORT_SHARE = 1.5
"""Error that is forgotten within seconds, by class, how far it may differ, as a factor e^this, its memory, and how
large it may be beside a slow part that was stated. [m], [1], [s], [1] RTK in motion against an inertial reference:
3.7 cm along, 4.9 across, flat after 5-10 s, an upper bound; standing in the open 0.5 cm in all: the middle lies
between. Others: multipath swings within tens of seconds (common practice, no source)."""

CLASS_NOISE_M = (0.05, 0.03, 0.02, 0.005)
"""White noise of one coordinate, by class. [m] Common practice, no source."""

USUAL_HDOP = 1.0
HDOP_RANGE = (1.0, 5.0)
"""Sigma by class holds at this HDOP and grows with it (sigma = HDOP * range error); within the
range, since beyond it a receiver's figure says "bad" rather than how bad, and below 1 no error is known to shrink.
[1]"""

MOST_TUNING_GAPS = 240
"""Most gaps by which receiver and driver are judged: enough for eight figures. [1]"""

BELIEF = 0.5
"""Power to which the likelihood of gaps and stops is raised: gaps follow each other more closely than any model of them
says, and no driver is of the kind assumed. [1]"""

BLUNDER_SHARE = 0.05
BLUNDER_M = 0.6
MOST_BLUNDERS = 6
"""Share of runs of a pass along another that were set wrong beforehand, by how much, as a standard deviation, and the
most in one job. [1], [m], [1] One pass in twenty set half a metre or so wrong; common practice, no source."""

ROUNDING_REL = 1e-12
"""Share of the errors' variance by which gaps at one place are told apart: ten thousand times the rounding of doubles,
and a quarter of a millimetre beside an error of 400 m. [1]"""

PARTICLES = 12
BLIND_PARTICLES = 64
PARTICLES_AT_FIRST = 100
PARTICLES_LATER = 60
PARTICLE_ROUNDS = 3
WEIGHT_LEAST = 12.0
"""Particles that draws are made by (more where few gaps are asked), those tried, and how many must keep their say.
[1] Each that draws costs a factoring of all gaps, each that is tried one of a few."""

SKIP_PARTICLES = 4
"""Particles by which the smallest skip is worked out. [1]"""

MEMORIES_AT_ONCE = 20.0
"""Sums that decay are taken in blocks of so many memories: weights stay below e^20, and sums keep 14 digits. [1]"""

MEMORY_RANGE_S = (20.0, 10_000.0)
"""No time constant is tried beyond this. [s]"""

HABIT_LOG_SD = (0.8, 0.7, 1.0, 0.8)
"""By which factor e^this drivers differ from the usual in wander, its length, offset and switching. [1]"""

SIDE_STEP_RAD = 0.5235987755982988
"""Sides of a stretch that turn round the field are told apart by directions so far apart: thirty degrees. [rad]"""

MOST_MOVED = 2.0
"""A log whose gaps or stops move the error's scale by more prior standard deviations than this contradicts what was
stated of it, and nothing is told. [1]"""

PROBE_REACH_WIDTHS = 0.45
"""Farthest edge that can be meant: half a boom away it may be a forgotten pass. [boom widths]"""

FENCE_DOUBT = 0.5
FENCE_DOUBT_SIGMAS = 4.0
"""Ground missed along the fence that is wider than probes reach, and no wider than so many standard deviations of the
slow error: nobody leaves so much, and no error is usually so large, so in this share of the draws it is error. [1]"""

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
Against the exact partition the difference that a shift makes then errs by 1e-5 of the target or less, where RTK draws
differ by 45e-5; half as many lines err by 3e-5."""

CROSSINGS, CROSSINGS_A_STEP, MOST_CROSSINGS = 100_000, 20, 2_000_000
"""Edges of swept steps cross the lines so often at most, and so often more for each step; the last, for all, bounds the
memory of a draw by some 200 MB. [1] The lines lie farther apart where the boom was very wide or its steps very long:
300 fixes with a boom of 100 m cross as often as the 20 000 of a field of 124 ha, 1.1 million times, and tell no more.
4 to 12 ha sprayed with 9 m have 90 000 to 150 000."""

RUN_SECTORS = 24
"""Booms within one of so many sectors are counted as one run: within 7.5 degrees of its middle the way from one side of
a run to the other is nearly straight, and so what was travelled on it. [1]"""

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

CHANCE_SIGMA_M = (0.15, 0.7)
CHANCE_POWER = (1.0, 1.6)
"""The share of draws in which a strip is real, to this power, is the chance that is told; the power grows between these
sizes of the receiver's slow error. [m], [1] No driver and no receiver is quite of the kind that is drawn, and the more
the error can move the more hangs on it: with one power for all, strips told as 0.7 to 0.9 were real in 92 % beside
base-corrected receivers and in 62 to 67 % beside autonomous ones. So told they are real in 69 to 85 % (second
simulator, seeds 1300-1339 and 3900-3999, and 2000-2031 at ten fixes a second)."""

REAL_SHARE = 0.5
"""A strip is real where at least this share of the width that looks missed truly is. [1]"""

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
USUAL_OFFSET_M = 0.06
USUAL_AHEAD_M = 0.2
"""A driver's usual wander, the way over which it changes, offset of a whole pass, and scatter of the
switching place, before anything is seen of them. [m] Common practice, no source."""

VEHICLE_SMOOTH_M = 5.0
"""Way over which a vehicle answers its steering. [m] One or two wheelbases; common practice, no source."""

MOST_MEMORIES = 500.0
"""Memories after which two errors count as this far apart: the 1e-217 that is left of the first changes no sum, and
smaller powers take several times as long to work out. [1]"""

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

FACTOR_SIGMA_M = (0.03, 0.2, 0.7)
HAND_SHIFT = (0.2, 0.0, -0.15)
HAND_BELOW, HAND_ABOVE, HAND_DOUBT = ((1.1, 1.1, 1.1), (1.2, 1.2, 1.2)), ((0.7, 0.7, 0.7), (0.7, 0.8, 0.8)), 0.35
GUIDED_SHIFT, GUIDED_DOUBT = (0.5, 0.3), 0.2
GUIDED_BELOW, GUIDED_ABOVE = ((1.0, 1.1, 1.25), (0.95, 0.95, 0.95)), ((0.7, 0.7, 0.7), (0.8, 0.8, 0.8))
"""Draws of missed and of double ground: their mean is moved by so much of its way back to what the log shows, they are
spread about it by so much, below and above; and so much of that way is doubted, which spreads them more. Triples hold
at slow errors of the first sizes. [m], [1]
Corners, ground that no gap was measured beside, and drivers of other kinds are in no model. By hand gaps take off too
little of a great error, since none is measured where passes lie far apart, and beside a small one they take swings of
the steering for error; guided, a person at the wheel sees fence and wheel marks and mends a part of what the receiver
does, most where ground would be missed: the shift is times the chance that fence and switch were kept to by eye. Draws
that show less than the log take away ground that was kept to by eye: there the shift is that by hand (of 60 jobs guided
by an autonomous receiver of 2 000 s 46 ranges of missed ground held without this, 55 with it). Of 904 jobs of a second
simulator (seeds 1300-1339 and 3900-3999, 2000-2031 at ten fixes a second) 92 % of the ranges of missed ground held so
and 91 % of those of double; of 240 more at ten fixes a second (4100-4139) 86 and 90 %."""

JITTER_STEP_S = 1.0
"""Noise is looked at in fixes so far apart, however dense the log. [s] Receivers' errors of some seconds' memory show
only so; a machine on its pass hardly steers within it."""

SMOOTH_HALVES = (2, 3, 5, 8, 12, 20, 30)
MOST_SMOOTH_S = 3.0
SMOOTH_GAIN = 0.8
"""Fixes before and after over which straight parts may be smoothed, the longest time that takes to either side, and how
much of the error a width must do away with to be taken. [1], [s], [1]"""

LEAST_DIFFERENCES = 20
SQUARE_MEDIAN = 0.4549
"""Fewest differences that show noise; median of the square of a standard normal (chi-squared of one degree). [1]"""

STRAIGHT_FIT_M = 0.05
"""A part is straight when smoothing moves its fixes by no more than noise and this. [m]"""

STRAIGHT_M, STRAIGHT_DEG = 10.0, 8.0
"""Gaps are measured where the heading changes by less than this over so long a way: contours of 70 m
radius still count, corners of headland laps do not. [m], [deg]"""


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

OUTLOOK_PASSES = 10
OUTLOOK_PASS_M = 200.0
OUTLOOK_STEP_M = 10.0
OUTLOOK_SPEED_M_S = 2.5
OUTLOOK_TURN_S = 20.0
OUTLOOK_PARTICLES = 12
"""The plain job that the look before the season is worked out for: passes of a 2 ha field of hay, common practice,
no source. [1], [m], [m], [m/s], [s], [1]"""

BY_EYE_SPREAD_M = (0.1, 0.3)
BY_EYE_CHANCE = (0.25, 0.99)
"""Gaps to the fence that spread by the first length or less are as a receiver steers, by the second or more as an eye
does; the chance that it was the eye. [m], [1] Common practice, no source. The receiver's error cannot spread the gaps
of a machine that steers by it along the fence, however large it is."""

METHOD_FREEDOM = 2.0
MOST_METHOD = 10.0
"""Degrees of freedom of what the audit itself errs by (Student's t), and the most of it. [1] Of 16 errorless jobs
at one fix a second half erred by less than 0.6e-4 of the target and three by 7e-4 and more."""

WRONG_FIX_M = 0.1
"""RTK fixed positions whose slow error is larger than this, as the log itself shows it, are wrong fixes: right ones
wander by a seventh of it. [m] Sessions marked fixed that wandered by 0.2 to 1.0 m are on record."""

JUMP_LEAST_M = 0.12
JUMP_SPREADS = 8.0
JUMP_MOST_STEP_S = 1.1
JUMP_LEAST_SPEED_M_S = 0.8
JUMP_TURN_RAD = 0.12
JUMP_ALIKE = 0.6
"""A jump sideways is so far and so many times the usual one, between fixes no farther apart, while driving at least
so fast, with the same heading before and after, and its neighbours in the third difference within this share of what a
lone jump leaves. [m], [1], [s], [m/s], [rad], [1] A driver's swing of 0.2 m in eight seconds shows 0.05 m so."""

JUMP_MOST_FORGOTTEN = 0.95
"""Share of the error that a jump makes forgotten, at most. [1]"""

REPEAT_STEP_M = 10.0
REPEAT_LEAST_PLACES = 8
REPEAT_APART_M = 60.0
REPEAT_TURN_RAD = 0.06
REPEAT_REACH_WIDTHS = 0.2
REPEAT_REACH_M = 1.5
"""A line was driven again where places so far apart along the way, so many in a row, lie beside others of the way that
are so much of it earlier, with headings that differ by no more than this, and no farther aside than the smaller of
these: passes lie a boom's width apart. [m], [1], [m], [rad], [boom widths], [m]"""

REPEAT_M = 0.1
REPEAT_OTHER_SHARE = 0.5
MOST_REPEATS = 40
"""How closely a driver keeps to wheel tracks that he sees, as a standard deviation of a run's mean, and the share of
such runs that are another line by chance; the most runs that are used, the longest. [m], [1], [1] Common practice, no
source."""
