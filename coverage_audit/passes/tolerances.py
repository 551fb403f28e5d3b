"""Thresholds of ``passes``: one home, a unit and a reason each."""

from __future__ import annotations

END_TOUCH_SHARE = 0.5
"""A strip is late on (early off) when it lies along this share of the boom line of a switch-on
(-off) ... [boom widths]"""

END_AREA_SHARE = 0.5
"""... and when this share of it lies straight beyond that line. [1]"""

EDGE_SHARE = 0.3
"""A strip with this share of its outline on the field edge lies at the field edge. [1]"""

ACROSS_DEG = 20.0
"""Driven at more than this to the main direction is headland work; hand steering wanders less. [deg]"""

HEADLAND_WIDTHS = 2.0
"""The headland: this far in from the field edge; one and a half to two passes are usual
(common practice, no source). [boom widths]"""

EDGE_BAND_M = 0.02
"""Outlines this close to an edge lie on it; also how far switching lines are moved onto the
ground beside them. More than rounding, less than any finding. [m]"""

DRAWN_PATH_M = 0.3
"""Lines driven without spraying are drawn this closely; no figure rests on them. [m]"""

ALIKE_NOISES = 1.05
"""Scatters along and across travel are both noise when they differ by less than this factor. [1]"""

MOST_PAUSE_S = 600.0
MOST_WAY_STEPS = 4_000_000
"""The even grid of the way leaves out what of a pause goes beyond this, and has no more steps than this: it holds
some ten columns, 0.3 GB at the most. [s], [1]"""

WAY_STEP_M = 0.5
"""Grid of the smoothed way: turns of a light vehicle are ten times as long. [m]"""

WAY_HEADING_RAD = 0.04
"""The way is smoothed until noise swings its direction by less than this (2.3 degrees). [rad]"""

WAY_MIN_WINDOW_M = 1.2
WAY_MAX_WINDOW_M = 7.0
"""Half-width of the smoothing window: below it nothing is gained, above it turns of 4 m radius
(a half circle is 12.6 m long) melt into the passes. [m]"""

BEND_RADIUS_M = 20.0
"""Tighter than this is a turn; passes and contour lines are gentler. [m] Common practice, no source."""

BEND_MIN_DEG = 35.0
"""... when the direction changes by as much: avoiding a hole in the ground changes it less. [deg]"""

SLIGHT_RADIUS_M = 60.0
SLIGHT_BEND_DEG = 15.0
LEG_ODD_M = 1.5
"""A leg that strays from its best parabola by more than ``LEG_ODD_M`` (root mean square) goes round
something; it is cut where it bends tighter than ``SLIGHT_RADIUS_M`` by ``SLIGHT_BEND_DEG``. [m], [deg]"""

LEG_MIN_M = 6.0
"""Shorter legs are part of a turn: a point row shorter than two tractor lengths is one turn. [m]"""

LEG_END_FIT_M = 25.0
"""The end of a pass is found by the line through so much of it; drivers correct over longer ways. [m]"""

SHORTEST_PASS_M = 1e-3
"""A shorter pass tells no direction but that of its ends; its line is drawn so long. [m] A millimetre of fixes that
only turn the boom about themselves."""

LEG_END_OFF_M = 0.4
LEG_END_NOISES = 4.0
"""Off that line by this, or this many standard deviations of the noise, the turn has begun. [m], [1]"""

CORNER_MIN_DEG = 20.0
CORNER_MAX_DEG = 150.0
"""Change of direction at a corner of a headland lap; turning round between passes is more. [deg]"""

CORNER_WIDTHS = 4.0
"""Longest way round a corner, from one side's line to the next one's. [boom widths]"""

HUG_DEG = 4.0
HUG_WIDTHS = 4.0
"""Along the field's edge: parallel to it within this, and no farther in. [deg], [boom widths]"""

FAMILY_DEG = 8.0
"""Passes within this of a common direction belong to one AB direction. [deg] Edges of fields that
are driven as different blocks differ by more; hand steering wanders by 2 degrees."""

FAMILY_LEAST_SHARE = 0.08
"""An AB direction is one only with this share of the length driven in straight legs. [1]"""

DIRECTION_TRIM = 0.06
"""Share of a pass left out at each end when its direction is fitted. [1]"""

STRAY_SPREADS = 4.0
STRAY_LEAST_DEG = 0.02
"""A pass whose direction is off the median of its block by more than so many standard deviations (by the median
absolute deviation), and by more than this, has no say in the AB direction. [1], [deg]"""

ON_SHARE = 0.5
OFF_SHARE = 0.15
"""A part counts as sprayed from the first share of its length on, as unsprayed below the second. [1]"""

BACKING_SHARE = 0.5
"""A leg driven backwards by more than this share of its time is no pass. [1]"""

RUN_IN_M = 15.0
"""A run-in to a pass is shorter than this; a third of it is left when a longer way is cut off. [m]"""

AGAIN_WIDTHS = 0.35
AGAIN_SHARE = 0.7
"""Driven again: within this of another pass, over this share of its length. [boom widths], [1]"""

NEIGHBOUR_WIDTHS = 2.6
"""Passes no farther apart than this are neighbours: one forgotten pass may lie between. [boom widths]"""

TURN_WIDTHS = 4.0
"""Longest turn between passes beyond a bulb: round some passes to an open one. [boom widths]"""

CURVED_SAGITTA_M = 1.0
CURVED_GAIN = 0.6
"""A pass that bows by more than the first, and lies closer to a parabola by the second, is a curve;
hand steering wanders by a quarter of a metre. [m], [1]"""

CURVE_DEGREE = 6
"""Degree of the smooth curve: it follows an arc of 60 degrees within 3 cm and no wobble shorter than a
third of the pass. [1]"""

STEERING_STEP_M = 2.0
"""Deviation and spacing are taken about so often: steering swings over longer ways. [m]"""

NEIGHBOUR_LEAST_M = 8.0
"""Passes are neighbours when they run side by side for so long. [m]"""

NEIGHBOUR_MIN_WIDTHS = 0.3
"""Nearer than this is the same pass driven again. [boom widths]"""

SPACED_WIDTHS = 1.6
"""Wider apart is no spacing: a pass between the two was left out. [boom widths]"""

PASS_TO_PASS_S = 900.0
LONG_TERM_S = 3600.0
"""Pass-to-pass error: passes driven within 15 minutes; long-term: more than an hour apart (ISO 12188-1,
as restated in the literature; the standard's text was not at hand). [s]"""

CELL_BEYOND_WIDTHS = 0.25
CELL_STEPS = 13
"""The ground of a pass reaches so far beyond its ends, and follows its bends in so many steps; beyond
that it is the headland's. [boom widths], [1]"""

LAP_PIECE_M = 100.0
LAP_CELL_WIDTHS = 0.6
"""Headland laps are cut into pieces so long, each with the ground this far to either side: half a boom
and some spacing. [m], [boom widths]"""

EDGE_OPEN_WIDTHS = 0.25
"""Ground narrower than twice this is no place for a pass: it lies between headland laps. [boom widths]"""

EDGE_PART_M = 2.0
EDGE_CUT_SHARE = 0.05
"""Shorter crossings of the inner ground are corners that the boom just cuts; so is what only the
outermost share of it crosses, which lies within the overlap. [m], [1]"""

SWITCH_LEAD_S = 15.0
"""A switching belongs to the pass that begins or ends within this; a turn takes longer. [s]"""

CAUSE_WIDTHS = 1.6
CAUSE_PASSES = 4
"""A finding is laid to passes whose lines are no farther from it than this, the nearest few of them.
[boom widths], [1]"""

PARALLEL_DEG = 25.0
"""Passes that made a strip between them run along each other within this. [deg]"""

CROSSED_SHARE = 0.5
"""A pass (a gap of the log) runs over a finding when so much of its line, in widths of the finding, lies on it. [1]"""

ELONGATED = 2.0
"""From this ratio of length to mean width on a finding has a direction, and its cause has to fit it. [1]"""

SPACED_SHARE = 0.5
SPACED_SLACK_M = 0.25
"""Two passes made a finding between them when they lie too far apart (too close) there by as much as it is wide,
within this share and what the simplified lines of two passes may be off. [1], [m]"""

SECTION_WIDTHS = 0.45
"""Missed ground whose middle lies nearer to the line of a pass than this was under the boom, so a section was shut:
the middle of the outermost section of ten lies there. [boom widths]"""

OVER_WIDTHS = 0.55
"""A pass whose line is nearer than this went over the finding. [boom widths]"""

SWITCHED_WELL_M = 0.5
"""Overlap with the headland by less than this is no fault of switching. [m]"""


SWITCHED_SHARE = 0.4
"""A strip that fills this share of the boom's width along its length comes from switching. [boom widths]"""

LEFT_OUT_WIDTHS = 0.6
LEFT_OUT_LENGTH_WIDTHS = 2.0
"""Missed ground that nothing was driven over is a pass left out when it is so wide and so long: what is narrower comes
from spacing, what is shorter is a corner. [boom widths] Common practice, no source."""

LEFT_OUT_NEAR_WIDTHS = 2.6
"""A pass left out lies between two passes when both are as near as this; else beside one. [boom widths]"""

EDGE_STEP_M = 4.0
"""The gap to the outline is looked at so often along a headland lap. [m] Much shorter than a side of any field."""

EDGE_ASKEW_DEG = 20.0
"""Where the lap runs more askew to the side than this it is in a corner, or driven round something. [deg]"""

EDGE_BLOCK_M = 20.0
"""Gaps within so much of a lap are one gap: a driver's swings are about as long. [m]"""

EDGE_TRIMMED = 4.0
"""Blocks whose gap is so many usual deviations off are no part of a shift: a tree driven round, a gate. [1]"""

EDGE_SIGMAS = 4.0
"""A shift is told when it is so many of its standard errors long. [1]"""

EDGE_EXPLAINED = 0.6
"""A shift is told when it takes away this share of the variance of the gaps. [1] What is left is steering."""

EDGE_LEAST_M = 1.0
"""A shorter shift is not told... [m] A side drawn by hand on a picture is seldom nearer."""

EDGE_RECEIVER = 2.5
"""...nor one within so many standard deviations of the receiver's own wandering. [1]"""

# --- spacing by the drive alone -----------------------------------------------------------------------

DRIVEN_STEP_M = 6.0
"""The drive is looked at in steps so long: a metre of noise then turns it by less than the next. [m]"""

DRIVEN_AXIS_RAD = 0.2
"""Steps within this of the main direction are along it. [rad] Passes that follow a bend gently still are."""

DRIVEN_RUN_M = 30.0
"""Runs at least so long are passes; shorter ones may be turns. [m]"""

DRIVEN_SCAN_M = 10.0
"""Passes are cut by lines across them so far apart. [m] Steering wanders over longer ways."""

DRIVEN_LEAST_M = 0.5
"""Ways closer than this are the same way driven twice. [m] No boom that is driven is so narrow."""

DRIVEN_PASSES = 6
DRIVEN_ALIKE = 0.15
DRIVEN_SHARE = 0.6
"""With so many passes, and so much of all distances within the second share of one of them: that is the spacing.
[1], [1], [1] Laps and blocks askew make the rest."""
