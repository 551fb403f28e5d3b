"""Thresholds of ``recipe``: one home, a unit and a reason each."""

from __future__ import annotations

TOWED_BACKING_WIDTHS = 1.0
"""A towed boom backed up farther than this earns a caution (design, section 2). [boom widths]"""

IDLE_RECALL_S = 0.1
"""What is remembered changes nothing when it differs for less time from what it is laid over. [s]"""

COARSE_SHARE = 0.9
"""More than this share of them and it is told. [1]"""

CROSS_CHECK_REL = 5e-4
"""Largest difference between the partition and the raster count, of the field (design). [1]"""

LAP_TURN_DEG = 135.0
"""A part of the drive that turns farther has no one heading: passes, even curved ones, turn less and laps at
least two corners. [deg]"""

FAR_FIXES_M = 5.0
"""Fixes farther apart than this while spraying are too few for switching places and skips. [m]"""

LONG_PAUSE_S = 3 * 86_400.0
"""A log that stands still for so long may hold two treatments: rain or a night puts the rest of one off by a day or
two. [s] Common practice, no source."""

MUCH_DOUBLE = 0.5
"""More of the target than this sprayed twice points to a wrong boom width. [1]"""

PASS_LINE_M = 0.05
LINE_STEP_M = 1.0
"""How closely the line of a pass is kept for the map and for causes, and how far apart the fixes are
that it is made from; steering uses them all. [m]"""


ASSUMED_ERROR_M = {4: 0.05, 5: 0.3, 2: 0.33, 9: 0.33}
ASSUMED_ERROR_ELSE_M = 1.0
"""Usual pass-to-pass error by the GGA quality code: RTK fixed, RTK float, differential (15 to 33 cm);
about 1 m for all else, a phone's own positions included. [m] Usual classes from memory, no source at hand."""

WIDTH_OFF = (0.07, 0.03)
WIDTH_ALIKE = 0.75
WIDTH_SPACINGS = 6
WIDTH_SURE = 4.0
"""The middle of so many spacings or more is off the boom's width by the first share where the passes lie closer, by the
second where they lie farther apart, and by so many standard errors; and the share of WIDTH_ALIKE of them are off the
same way, by a quarter of it at least: the width stated is not the one driven by. [boom widths], [1], [1], [1] Overlap
on purpose is 3 to 5 %, and nobody leaves gaps on purpose: common practice, no source."""

WIDTH_FAR_OFF = 0.2
"""Passes told from the drive alone that lie so much closer or farther apart than the boom is wide. [boom widths] Passes
matched by the wrong width are then no neighbours."""

TWO_WIDTHS = 0.15
"""Earlier and later passes lie so differently far apart when two machines, or a boom folded in part, drove them.
[boom widths] Steering and overlap on purpose change by less."""

TYPED_WRONG = (0.88, 1.04)
"""A width was typed in the wrong unit where the passes lie so far apart, by the boom in the other unit. [1] Passes
overlap."""

RATE_CLOSURE = 1e-3
"""Spray on the ground and spray let out agree within this (0.1 %), else a caution. [1]"""

PROFILE_POINTS = 600
"""Points of the drawn speed: more than the pixels of the chart. [1]"""

PROBE_STEP_M = 5.0
"""Gaps are measured this often along the boom's way. [m] Steering wanders over longer ways."""

MOST_GAPS = 600
"""Most gaps that enter at once; the work grows with the cube, the memory with the square. [1]"""

REPLICATE_THIN_SIGMAS = 0.15
REPLICATE_THIN_M = (0.005, 0.05)
"""Boom lines of replicates are thinned to this share of the wandering error, within the range; what it
shifts the areas by is put back. [1], [m] Coarser, small overlaps of accurate logs would be blurred."""

UNASKED_REPLICATES = 100
"""Draws when nobody said anything of accuracy: half for each regime, quick, and enough to show how wide it is. [1]"""

METHOD_REL = 0.6e-4
"""Scale of what an audit's areas err by with errorless fixes one second apart, of the target: between such fixes the
way in turns and swings is not known. [1] No bias is taken off: three measurements of it disagree even in sign."""

MOST_STRIPS = 24
"""Strips planned for, the most valuable ones: a page of stops. Who has more of them sprays the field again. [1]"""

MOST_CORNERS_LAID = 500_000
"""Corners near strips, times ways to lay the boom over them, in one plan: ten seconds' work. [1] Forty strips along an
outline of fifty corners may be tried every way; one of 2 000 random corners took 12 ms a way in a bend."""

MOST_BOOM_WAY_M = 20_000.0
"""Longest way of the boom over one strip that is still a touch-up, two hours at a walking pace: more ground than
that is a job of its own. [m]"""

BACK_RADII = (1.0, 2.0)
"""How far a vehicle backs up along a strip that ends at the fence, in turning radii beyond the place where
it is clear of it: a quarter turn needs one, a turn to a lap along the fence up to two. [turning radii]"""

LEAST_BEYOND_M2 = 2e-4
"""Ground beyond the target counts from this size on: along 100 m of fence less is two micrometres. [m2]"""

TIE_SHARE = 1e-4
"""A plan that saves less than this share of leaving everything is a tie, and all is left. [1] Areas are no
more certain."""

BRANCHES = 200
"""Combinations of boom passes tried when two that overlap would together break a limit. [1] The first plan
that keeps to all limits is found within a few."""

WAND_REACH_M = (0.0, 1.0, -1.0, 2.0, -2.0, 3.0, -3.0)
"""Sideways places from which a person with a wand works along a strip, the first that is clear. [m]"""

MAX_ENTRY_M = 2000.0
"""An entry farther from the field than this is a slip of the pen: two miles of walking and more. [m]"""

STANDING_STEP_S = 30.0
"""Fixes farther apart than this show nothing of how a standing receiver wanders within minutes. [s]"""

CUT_LOOK_S = 5.0
MOVING_SHARE = 0.5
"""A log that ends with the machine still going at this share of its usual speed over so long was cut off; who is done
stops first. [s], [1] Common practice, no source."""

SURE_CHANCE = 0.95
"""Chance from which on a strip counts as surely missed. [1]"""

LIKELY_CHANCE = 0.5
"""A place likelier missed than this, and worth a walk, is never passed over as nothing. [1]"""

NARROWEST_ERRORS = 2.0
"""Without draws: skips narrower than so many usual errors cannot be told from them. [1]"""

SWITCH_ERROR_S = {"marked": 3.0}
"""How far the moments of switching may lie off where a person marked them; a logged switch errs by less than a fix, and
draws carry what memory errs by. [s] Common practice, no source."""

WORTH_M2 = 100.0
WORTH_SHARE = 0.01
"""Surely missed ground from which on one goes back when nobody said what ground is worth and labour costs, or this
share of the target if that is less. [m2], [1] A quarter of an hour of work; common practice, no source."""

DRIVEN_SHARE = 0.5
"""Ground driven over by more than this, with the boom assumed to be off, may have been sprayed. [1]"""

LEAST_WALK_M2 = 2.0
"""A place smaller than this is not worth a walk of its own. [m2] Less than a nozzle wets in two seconds."""

NINETY_SIGMAS = 1.645
"""Half a normal range of nine in ten, in standard deviations (quantile of the normal distribution at 0.95). [1]"""

LEAST_STOP_SHARE = 0.2
"""A sure strip of less than this share of what is worth the trip is no stop of its own. [1] Common
practice, no source."""

LEAST_BOOM_WAY_M = 3.0
"""A boom pass shorter than this is none: at walking pace valve and hand take a second or two. [m] Common practice, no
source."""

MUCH_OUTSIDE = 0.3
"""More sprayed outside than this share of the target is no overspray at the edges: the log holds another field. [1]"""

EDGE_TIME_CONSTANT_S = 600.0
"""How long a receiver's wander lasts, where the job does not say. [s] Ten minutes, the usual of such receivers, from
memory."""

NEVER_DRIVEN_PART = 0.15
NEVER_DRIVEN_WIDTHS = 1.0
"""So much of the target in one piece, farther than the second from all driving, hints at a log that is missing. [1],
[boom widths]"""

TOLD_S = 1.0
"""What is remembered of a whole pause of the log may begin and end this far inside it. [s] It is told to the second."""

OPPOSITE_DEG = 15.0
OFFSET_TOLD_OF = 4
OFFSET_SURE = 4.0
"""Passes this close to opposite are opposite; an offset is told from so many on either hand, when it is so many of its
standard errors large. [deg], [1], [1]"""

BESIDE_LEAST_M = 0.2
BESIDE_LEAST_WIDTHS = 0.03
"""An antenna less beside the boom's middle than either is not told: a driver's seat is no better centred. [m], [boom
widths]"""

LAG_LEAST_M = 2.0
LAG_LEAST_S = 1.5
LAG_ALIKE = 0.75
"""Switches later, or earlier, at both ends by less than either are a driver's; of the passes this share shows half of
it at least. [m], [s], [1] A hand on a switch takes half a second."""

PLACE_CELLS, PLACE_REACH = 96, 1
PLACE_FULL, PLACE_HOLDS, PLACE_GAINED, PLACE_AS_GOOD = 0.9, 0.75, 0.15, 0.998
"""A field's longer side is cut into so many cells, and looked for as many sides away as the second. It lies elsewhere
where it would be full to the first share, would hold the second of all ground that was worked over, turns beyond the
edge among it, and be fuller by the third than where it lies; places full to the fourth of the best are alike. [1] A log
of two fields fills one and is not held by it.
"""

ELSEWHERE_WIDTHS = 2.0
ELSEWHERE_HALF_SWATH = 0.6
ELSEWHERE_OPENED = 1.15
ELSEWHERE_PART = 0.1
"""Farther than the first outside the field three passes beside each other are another field: swaths a little wider than
the boom, so that passes touch, opened by the third, make more than the last of the target. [boom widths], [boom
widths], [boom widths], [1]"""

EDGE_HOLDS = 0.9
"""A lap told from what was probably on goes round at least this share of all ground worked. [1] Elsewhere it goes round
one block of several."""

NOTHING_LEFT_SHARE = 1e-6
"""Where other machines left less of the field than this, none is left. [1] Edges that two computations put a hair
apart: areas themselves are good to as much."""

ANTENNA_AHEAD_M = (2.0, 2.5)
"""How far ahead of the boom an antenna stands that nobody measured, mean and standard deviation. [m] Common practice,
no source: a phone in the cab or at the bars, two or three metres ahead of a boom at the rear; some stand above the
boom, a few behind one at the front."""

HAND_LATE_S = (0.25, 0.4)
"""How late a hand throws a switch against where it should, mean and standard deviation of drivers. [s] No source: a
reaction takes half a second, and most people see the edge come."""

ANTENNA_BESIDE_M, HAND_BESIDE_M, GUIDED_BESIDE_M = 0.3, 0.08, 0.2
"""How far to one side of the boom's middle an antenna stands that nobody measured; how far a driver holds the boom to
one side, which looks alike; how far the first is where he steers by it and would have seen passes lie unevenly:
standard deviations. [m] Common practice, no source: a phone stands at the windscreen or hangs at the bars."""

SPACINGS_SPREAD_M = 0.3
"""How unevenly passes are set by hand and logged at the least, where a few look more alike. [m] Common practice, no
source."""

PLACES_TO_SIDE = (1, 4, 7, 2, 6, 3, 0, 5)
"""Draws take eight places of the antenna ahead of the boom, and with them those to the side in this order, which goes
with neither. [1]"""

AXLE_PLACES = 4
BOOM_BEHIND_AXLE_M = 0.5
MOST_AXLE_M = 2.0
"""Where the fixed axle is not stated, draws take so many places of it: from the antenna back to so far ahead of a boom
that hangs behind it, but no farther back than the last. [1], [m], [m] Common practice, no source: the boom hangs clear
of the rear wheels, and the antenna stands over the bonnet, the bars or the cab."""

UNSURE_WAY_M = 10.0
"""Ways of which the log does not tell whether they were driven in reverse matter from so much sprayed on. [m]"""
