"""Thresholds of ``days``: one home, a unit and a reason each."""

from __future__ import annotations

FIELD_ERRORS = 3.0
"""A field is widened by half the boom and this many standard deviations of the receiver's error. [1] (requirement)"""

TURN_S = 120.0
"""An absence from the field up to this is a turn outside it, not the end of a visit. [s] Turns take 10 to 40 s; a
gate that has to be opened takes longer. Common practice, no source."""

PAUSE_S = 180.0
"""Spraying that stops for longer is looked at in two parts: the second may go over the first. [s] Above any turn."""

NIGHT_S = 3 * 3600.0
LONGEST_PAUSE_S = 12 * 3600.0
"""Spraying goes on another day when the local date has changed over a pause of the first, or after one of the second.
[s] Work past midnight has no such pause; refills take under an hour. Common practice, no source."""

AGAIN = 0.5
AGAIN_LEAST = 0.2
"""Spraying is another job when more than the first share of its ground was sprayed in the job before, and it is
at least the second share of that job's ground. [1], [1] A field is gone over twice in a day for another product alone;
mending and overlaps are far less, a second product far more."""

OVERSHOOT_WIDTHS = 5.0
"""A shorter part of a stretch that lies over the edge belongs to the field of the rest. [boom widths] A swath
overshoots by a second or two, some 5 m; a pass is longer than this."""

LEAST_SPRAYED_WIDTHS = 2.0
"""A visit with less of a way sprayed is none for spraying. [boom widths] A boom tried out at the gate."""

LEAST_VISIT_S = 60.0
"""A visit without spraying is told when it lasts this long. [s] Less is a turn on a neighbour's ground, or driving
by."""

LEAST_OVER_EDGE_M2 = 10.0
"""Ground sprayed on a neighbour is told from this on. [m2] Below it is the receiver's error along one pass."""

LEAST_UNKNOWN_WIDTHS2 = 10.0
LEAST_UNKNOWN_M2 = 300.0
"""Ground sprayed outside all fields is offered as a field from these on. [boom widths squared], [m2] A boom
rinsed in the yard, or tried out, wets less."""

UNKNOWN_APART_WIDTHS = 3.0
"""Ground sprayed outside all fields is one piece up to this distance. [boom widths] A pass left out, and some."""

LEAST_SEGMENTS = 5
TURNING_SEGMENTS = 0.2
"""Track segments are the boom's state when there are at least so many, and at most this share of them turns right
round. [1], [1] A logger that loses its satellites cuts the track anywhere, a boom is off in turns."""

TURN_STEP_M = 5.0
TURN_WAY_M = 40.0
TURN_RAD = 2.6
"""A track turns right round when its direction, over steps of the first length, changes by the last within the second.
[m], [m], [rad] 150 degrees; half a circle of 12 m radius is 38 m long."""

PARALLEL_RAD = 0.21
BESIDE_WIDTHS = (0.4, 1.7)
BESIDE_SHARE = 0.5
AMID_WIDTHS = 1.5
LEAST_PASSES = 3
LEAST_PASSES_UNKNOWN = 4
FASTEST_PASS_M_S = 8.0
"""Where no boom state was logged, legs are passes when they run side by side: within 12 degrees, so many widths apart
over half of the shorter one, at so many places across (more where no field is known), no faster than 29 km/h; legs up
to so many widths from them belong to them. [rad], [boom widths], [1], [boom widths], [1], [1], [m/s] Common practice,
no source. A road driven to and fro has two places across."""
