"""Thresholds of ``drive``: one home, a unit and a reason each."""

from __future__ import annotations

MAX_FIELD_DISTANCE_M = 100_000.0
"""A boundary farther than this from the track belongs to another place. [m]"""

GAP_STEPS = 3.0
"""A step is a gap only when it is also longer than this many median steps. [1]"""

MAX_SPEED_M_S = 25.0
"""Faster than this is no field work and no farm track, so the fix is wrong. [m/s] = 90 km/h."""

SPIKE_ACCELERATION_M_S2 = 8.0
"""A light vehicle on soil neither brakes nor turns harder than tyres grip (about 0.8 g). [m/s2]"""

SPIKE_NOISE_M = 1.0
"""Fixes may scatter this much beyond what acceleration explains before one is a spike. [m]"""

SPIKE_SCATTERS = 5.0
"""... or this many times the typical distance off the line, in a log that scatters more: white
noise goes beyond it once in ten million fixes. [1]"""

SPIKE_SHADOW = 0.3
"""The neighbours of a lone jump lie half as far off their lines; noise leaves at least this. [1]"""

ISLAND_S = 10.0
"""Fixes that stand apart from the rest of the track, for less than this, are a jump. [s]"""

ALONE_S = 600.0
"""... and fixes that stand apart in time by more than this (ten minutes) on every side, for less than that,
have a wrong clock: they sprayed nothing that could be told. [s]"""

CLOCK_NOISE_S = 0.02
"""Logged times jitter by this much, as writing and reading take their turns. [s] 1 to 7 ms were seen at 23 Hz."""

MOVED_FIXES = 5
"""A track of at least so many fixes that stands in the wrong place of its file is put in time order. [1]"""

STAND_WINDOW_S = 3.0
"""Standing is judged over this time: short enough for a stop at a gate, long against noise. [s]"""

STAND_SPEED_M_S = 0.1
"""Slower than this over the window is standing (design: volume let out below 0.1 m/s). [m/s]"""

SCATTER_WINDOWS_S = (6.0, 12.0, 20.0, 60.0, 180.0)
"""Fixes that scatter more than standing speed allows over the window are judged over these: in 180 s that speed goes
18 m, as far as a phone in a cab wanders; creeping faster goes farther. [s]"""

SCATTER_MIDDLE_S = 20.0
"""A stand's first and last place are the middles of its fixes over so long: receivers drift. [s]"""

SCATTER_NOISES = 3.0
"""... and may always lie so many times the white noise of the log off it: one in a hundred lies farther. [1]"""

SCATTER_SHARE = 0.8
"""Fixes beside a stand belong to it as far as this share of those between lies within its scatter. [1]"""

HEADING_NOISE_SHARE = 0.25
"""A stand whose moves have more than this share of the square of the least move with a direction is restless:
some of them look like driving. [1] Half of that speed, 0.075 m/s; a good receiver's noise makes 0.03."""

SCATTER_REACH = 1.5
"""The first and last fixes of a stand may lie so many times as far off its place as the farthest of the others,
but no farther than that farthest one beyond ``JITTER_M``. [1]"""

TIP_NOISE_M = 0.02
"""Smoothing is widened until white noise swings the boom's tip by less than this. [m]"""

MAX_SMOOTHING_S = 0.75
"""Half-width of the widest smoothing window: longer ones would round off real steering. [s]"""

MIN_WINDOW_FIXES = 5
"""Fewest fixes in a smoothing window; below it (1 Hz logs) positions are taken as they are. [1]"""

EVEN_STEP_SHARE = 0.005
"""Steps of time this close to the median count as even: at 3 m/s and 10 Hz, 1.5 mm. [1]"""

STANDING_STEP_M = 0.002
"""A step shorter than this has no direction of its own. [m]"""

CUSP_ANGLE_DEG = 120.0
"""Course change that tells reversing from turning (design, section 2). [deg]"""

TURNING_RADIUS_M = 2.0
"""No light vehicle turns tighter; a sharper change of course at a point is a reversal. [m]"""

CUSP_SAMPLE_S = 0.5
"""Reversals are looked for on chords at least this long in time, to see past noise. [s]"""

CUSP_CHORD_M = 0.15
"""Shorter chords have no trustworthy direction. [m]"""

SAME_WAY_DEG = 60.0
"""Chords that turn by less go on as one leg of a drive. [deg]"""

JITTER_M = 1.0
"""Legs shorter than this are taken for the scatter of a standing vehicle. [m]"""

REVERSE_COST_M = 25.0
SWITCH_COST_RAD = 0.3
"""Driving so far in reverse is as unlikely as turning on the spot by a radian; so is reversing at
all by this much: a vehicle mostly goes forwards. Common practice, no source. [m], [rad]"""

COURSE_AGREES_DEG = 3.0
"""The receiver's own course is believed when its median difference from the path is less. [deg]"""

COURSE_SPEED_M_S = 0.7
"""Below this speed a receiver's course is noise. [m/s] Common practice, no source."""

HEADING_SPEED_M_S = 0.15
HEADING_NOISES = 4.0
MOST_HEADING_SPEED_M_S = 1.0
"""Below this speed, or so many times what scatter alone makes of it (but never above the last), the
heading is carried over from the neighbouring fixes. [m/s], [1], [m/s]"""

REFINE_TURN_DEG = 1.5
"""Largest change of heading between path points: a tip 15 m out is cut by 1 mm. [deg]"""

REFINE_DEVIATION_M = 0.005
"""Largest distance between the curved path and its straight steps. [m]"""

EARLIEST_JOB_S = 0.0
"""A job lies in 1970 at the earliest, where a clock that was never set begins. [s since 1970]"""

ZONE_QUARTERS = 56
ZONE_SLACK_S = 600.0
"""Clocks that differ by whole quarters of an hour, up to 14 h, within ten minutes (a job begins a
little after its log) differ by a time zone. [quarters of an hour], [s]"""

REMEMBERED_AT_S = 600.0
REMEMBERED_OFF_M = 100.0
"""A remembered place with a time is looked for within the first of it; one farther than the second from the drive is
a slip. [s], [m]"""

LENGTH_WITHIN = 0.25
"""A remembered distance or duration is right to within this share of it, nine times in ten. [1] A guess, no source."""

TYPED_MINUTE_S = 60.0
RECALLED_ROW_WITHIN_S = (60.0, 10.0)
"""Moments of a remembered row that lie on a whole minute are right to within the first, others to within the second,
nine times in ten, where nobody says. [s] A guess, no source."""

CLOCK_STEP_S = 1.0
CLOCK_WINDOW_S = 6.0
CLOCK_STRAIGHT_RAD = 0.2
"""The drive is looked at this often; it is straight where its heading changes by less than the last over the second.
[s], [s], [rad]"""

CLOCK_PAUSE_S = 1800.0
CLOCK_MOST_S = 200_000.0
"""Longer pauses of the log tell nothing, be they a refill, a night or a wrong clock; of a drive longer than the
last nothing is told, since each clock that is tried costs time with its length. [s]"""

CLOCK_QUARTERS = range(-56, 57)
CLOCK_MINUTES = range(-10, 11)
"""Clocks that are tried: off by so many quarters of an hour (zones reach 14 h) and by so many minutes. [1]"""

CLOCK_MISFITS = 0.25
CLOCK_FITS = 0.4
CLOCK_GAIN = 0.25
CLOCK_CLEAR = 0.08
"""On-times that are correlated with the work by no more than the first fit when moved if that gives the second, the
third more than unmoved, and the last more than any other move. [1] On simulated days right clocks gave more than the
first, wrong ones less; the least gain was found on seeds below 2000 of ``tests/odd_days.py``."""

TWO_PLACES_M = 30.0
TWO_PLACES_S = 60.0
TWO_PLACES_SHARE = 0.05
"""A log that at the same times is in places farther apart than this, for so long in all and for such a share of its
fixes, holds two machines. [m], [s], [1] Two loggers on one machine lie a few metres apart; receivers err by less."""

OTHER_DRIVES_M_S = 0.3
"""Places that a log jumps to and back from are another machine's where they go on at this pace at least. [m/s] A phone
without satellites in view gives the same wrong place again and again, or one anywhere."""

BACK_STEP_S = 1.0
BACK_SMOOTH_M = 0.2
BACK_WINDOW_S = 6.0
"""Ways to and fro are looked for in a place every second, the mean of so many fixes as leave this much of their jitter,
but no more than fit into this time. [s], [m], [s]"""

BACK_BASE_M = 5
BACK_SHARPLY = 0.7
"""A way turns back where the chords of the first before and behind a point, each of that length at most, have a scalar
product below minus the second of its square. [m], [1] Round a half circle of 2 m radius it is half of that."""

LEAST_BACK_M = 10
BACK_REACH_M = 20
BACK_SHARE = 0.5
"""A way goes back over the one before when both are so long at least, and it does so as far as the second, or for that
share of the shorter one: who backs up at a corner goes elsewhere after a few metres. [m], [m], [1]"""

BACK_NEAR_M = 6
BACK_OFF_M = 1.0
BACK_FAR_M = 2.0
BACK_WITHIN = 0.8
BACK_NOISES = 2.0
"""So near to the turning point it lies no farther off than the second, so that no turn fits in; the share of all that
is looked at lies within the third, as a receiver drifts; both may be more by so many times the jitter left. [m], [m],
[m], [1], [1]"""

READ_ALIKE = 0.9
"""A way is read as it should be where so much of it is. [1]"""

BACK_BY_LENGTH = 2.0
BACK_BY_BOOM = 4.0
BACK_BY_SPEED = 2.0
BACK_SPEEDS = 1.5
BACK_BY_BEGIN = 1.5
BACK_BY_END = 0.5
BACK_SURE = 3.1
"""How much speaks for ways being those driven forwards: this times the logarithm of their length over that of the
others; so much that they alone were sprayed; so much that they are faster than the others by such a ratio; so much
that the log begins with one, or ends. Less than the last in all cannot tell. [rad], as turning on the spot costs its
angle. Common practice, no source: a vehicle sprays forwards, and is slower in reverse."""
