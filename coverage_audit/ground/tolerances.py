"""Thresholds of ``ground``: one home, a unit and a reason each."""

from __future__ import annotations

import math

BRIDGE_TURN_DEG = 10.0
"""A gap is bridged only when the heading changes by less across it (design, section 2). [deg]"""

BRIDGE_WIDTHS = 5.0
"""... and it is shorter than this many boom widths (design, section 2). [boom widths]"""

MOST_AXLE_BEHIND_M = 12.0
MOST_AXLE_AHEAD_M = 6.0
"""Farthest that a fixed axle lies behind the antenna (a long machine with the antenna on its nose) and ahead of it
(an antenna over a boom that is carried behind). Common practice, no source. [m]"""

SLIDING_DEG = 10.0
SLIDING_M = 2.0
SLIDING_SHARE = 0.01
"""An axle rolls; one whose vehicle would be dragged backwards, by more than this beyond square to its way, over more
than this distance and this share of the way, does not lie where it is said to. [deg], [m], [1]"""

LEAST_TARGET_M = 0.02
"""Ground to spray that is narrower than this on the whole is no field: two sides of an outline that lie on each other,
or what an area has left over. [m]"""

THIN_M = 0.003
"""Boom lines within this of the interpolated one are left out: a turn at 10 m radius with a
9 m boom loses 3e-4 of the area swept in the turn, a straight pass nothing. [m]"""

THIN_NOISE_SHARE = 1.0
MAX_THIN_M = 0.02
"""With noisy fixes boom lines are thinned to this share of the noise, but never beyond two
centimetres: holding the path closer than it is known only costs time. [1], [m]"""

MOST_THIN_WIDTHS = 2.5e-3
"""... nor beyond this share of the boom: two centimetres beside 3 m are a two-thousandth of a field of 500 m2, which is
what the two counts of the ground may differ by. [1]"""

THIN_WIDTH_M = 3.0
"""A boom narrower than this is thinned by as much less: 3 mm at both sides are a hundredth of half a metre. [m]"""

THIN_STRIDE = 16
"""Every so manieth boom line is kept from the start of thinning. [1]"""

CHUNK_TURN_DEG = 45.0
"""Ground is cut into pieces in which the heading stays within this of the first one, so that
no spot of a piece can be swept twice. [deg]"""

ONE_PIVOT_M = 1e-9
"""Pivots closer together than this are one place, told apart by rounding alone. [m]"""

NODE_GRID_M = 1e-6
"""Outlines are noded on a grid this fine when the faces do not add up without one: edges that run
within rounding of each other can lose a crossing, and two faces become one. [m]"""

MAX_NEAR_PAIRS = 3_000_000
"""Most pairs of edges near each other that the partition nodes. [1] Jobs of 12 to 50 ha have 0.1 to 0.2 million;
turning on the spot again and again with everything on reaches 1.2 million, which takes 3 s and 0.2 GB; at 6
million it is minutes and over 2 GB."""

FEW_PAIRS_SHARE = 0.0625
"""Ways of the tips with no more of these pairs than this share are not looked at closer: pieces have
some ten times as many. [1]"""

PIECES_AT_ONCE = 32
"""Pieces whose faces are looked for in one go: a wide boom's box holds most faces of a job, 100 000 at most. [1]"""

MAX_CROSSINGS = 500_000
"""Most of them that may cross. [1] A forage harvester's day of 5 000 fixes has 0.18 million; a boom that whirled
over the same spot for half a minute had 0.45 million, which took 20 s, and 0.9 million took over 1 GB."""

FINE_SHARE = 0.9
"""Share of the last two that is counted as it is: the rest is room for the outline of the field. [1]"""

COARSER = ((8.0, 0.5), (32.0, 0.5))
MOST_COARSE_M = 0.04
"""Where more cross, cuts lie this many times as far apart, and boom lines may be off their interpolation by as much
more, up to so far, if that leaves no more than a share of what can be noded: half a million crossings take most of a
minute. [1], [1], [m] Ten circles of 4 m with a boom of 10 m have 3 million pairs as ever, 0.4 million and 0.1 million;
their double ground changes by less than 0.1 m2 of 251 m2."""

ONE_PIVOT_REL = 1e-9
"""... and the pivots of a piece that turns about itself are one place where that changes its ground by less than this
share of the field: five hundred such pieces are within ``CLOSURE_REL``. [1]"""

SPOT_WIDTHS = 1.5
"""A spot that is gone round over and over lies within this of its middle: circles of half a boom do, and the way to
them and from them does not. [boom widths]"""

KEPT_TURN_RAD = 2 * math.pi
"""Where all rounds of such a spot are too many, so much turning is counted at its begin and as much at its end: a round
each, by which its ground is covered twice, also where the rounds drift. [rad]"""

MOST_SPOTS = 5
MOST_LEFT_OUT_SHARE = 0.5
"""Rounds are left out at no more spots, and for no larger share of the way with the boom on: beyond that it is not the
spots that are wrong, but the log or the boom's width. [1]"""

MOST_GROWN_CROSSINGS = 100_000
"""Most crossings among the sides of an outline, each moved outward by ``field.grow``. [1] A field driven round at 10 Hz
with 2 cm of jitter and moved by 3 m has 0.03 million, which takes half a second; 0.1 million take 6 s and 0.6 GB, and
memory grows with them: 0.4 million took a minute and 5 GB."""

VISIT_WIDTHS = 1.5707963267948966
"""Sweeps of one spot within this much travel of the boom's centre are one visit (design,
section 1): pi/2, since a boom that pivots about its end comes round to no spot sooner. [boom widths]"""

BUSY_TURN_DEG = 90.0
"""Ground is cut finely where the heading turns by more than this within one visit's travel with
the boom on: only then can sweeps meet again so soon. [deg]"""

POINTS_A_VISIT = 16
"""Whether it does is looked at from points of the way so close that this many make the travel of one visit. [1]"""

LEAST_BACK_M = 0.5
"""A boom that goes back by less only trembles: the border between one visit and two moves by no more. [m]"""

CUT_STEP_M = 0.15
"""Cuts there lie this close, so the border between one visit and two is off by half of it at most. [m]"""

CUT_BORDER_REL, MOST_FINE_CUTS = 1.5e-4, 300
"""... and closer where a width of that is more than this share of the field, up to so many: in a garden of 500 m2
the border would else be off by more than the two counts of the ground may differ. [1] A field of 1 ha sprayed with 9 m
is cut as ever; so many that all cross each other, and the ways of the tips besides, are within what can be counted."""

LINE_CUTS_PER_FIX = 30
LEAST_LINE_CUTS = 4_000
MOST_LINE_CUTS = 30_000
"""... and where so many for each fix, at least and at most, would not do for a job, as with fixes that leap about,
they lie farther apart. [1] A fix each 4 m, as of a phone at speed, needs 27 in a turn."""

CLOSURE_REL = 1e-6
"""Sums that must close exactly do so within this share of the field; the rest is rounding. [1]"""

RASTER_CELL_M = 0.1
"""Cell of the raster count. [m]"""

RASTER_TURNS_DEG = (14.0, -14.0, 19.0)
RASTER_ALONG_DEG = 2.0
"""The raster is turned by one of the first from the commonest line of travel, so that booms, which lie square to it,
cross rows of cells: by the first at which least of the outline lies nearer to a row than the last. [deg]"""

RASTER_STEP_M = 0.5
RASTER_STEP_WIDTHS = 0.1
RASTER_STEP_DEG = 2.0
RASTER_STEP_REACH_M = 15.0
"""The raster count keeps a boom line at least this often: a wheel-wide wiggle of steering is
longer, and between lines 2 degrees apart a tip 15 m out is cut by 2 mm; a narrow boom more often, in the second of boom
widths. [m], [1], [deg], [m]"""

RASTER_ALL_LINES = 200
"""...and every boom line of a stretch that has no more: the tips of a boom of 100 m that wags by a degree go to and fro
by a metre between two that are kept. [1]"""

RASTER_STEPS_A_VISIT = 16
"""...and where ground may be swept again, a step is cut so that this many make the travel of one visit. [1] Each
part has one travel for all its cells: the border between one visit and two is then off by a 32nd of it at most."""

RASTER_BORDER_REL = 3e-4
RASTER_MOST_RUNS = 10_000_000
"""...and so that a part sweeps no more than this share of the target. [1] With a boom of 60 m in a garden of 0.2 ha a
border that is off by a quarter of a metre would be 0.1 % of it, twice of what the counts may differ by. Parts are cut
so short only while they cross no more rows of cells than the last, which takes a second. [1]"""

RASTER_MOST_PARTS = 1_000_000
"""...but no more of them in all. [1] 100 km with 20 sections of a boom of 36 m have 0.6 million."""

RASTER_CELLS_ACROSS = 20
"""A boom is at least so many cells wide... [1] Each edge of a pass is then rounded by less than a fortieth of it."""

RASTER_CELLS_ALONG = 1_000
"""...and a target is as large as a square of so many by so many. [1] In a garden of 100 m2 the edges would else
round by more than the two counts may differ; so would, with half as many, one pass edge of 50 m that happens to
lie along a row."""

RASTER_FINEST_M = 0.001
"""...but a cell is never finer than this. [m] A hundredth of the narrowest nozzle's band."""

RASTER_STEPS_AT_ONCE = 10_000
"""Steps whose runs of cells are found at once where ground may be swept again: some tens of megabytes. [1]"""

RASTER_TILE_CELLS = 1024
"""Side of the square tiles in which cells are laid out. [1] Bounds the memory whatever the size of the field."""

RASTER_MOST_CROSSINGS = 5_000_000
"""...nor so fine that the outline crosses more rows of cells. [1] Ten seconds' work; 5 km of outline at the finest."""

RASTER_BAND_CROSSINGS = 2_000_000
"""Places where a row of cells meets the outline, counted at a time. [1] Bounds the memory likewise."""

RASTER_MAX_TILES = 6_000
"""Most tiles that a job's boom lines touch. [1] A boom of 36 m that covers 500 ha in single passes, each in
ground of its own, touches 3 000; every tile takes about 10 ms."""

RASTER_MOST_TILED = 5_000_000
"""...and most pairs of a tile and a step that touches it. [1] A step lies in one or two tiles; only steps of hundreds
of metres, thousands of them, come near, and the pairs would fill gigabytes."""

SPRAYED_WIDTHS = 1.0
"""A polygon counts as sprayed when the boom's centre sprayed inside it over this length; a
neighbour's field that only caught the boom's tip does not. [boom widths]"""

NEAREST_TOLD_M = 0.5
"""A boom nearer to a field than this is not told as so many metres away from it. [m]"""

MITRE_LIMIT = 2.0
"""Corners sharper than 60 degrees are cut off when strips are opened; they are narrower than
the least width anyway. [1]"""

NECK_AREA_M2 = 1e-4
"""Crumbs that cutting at necks leaves; a hand's breadth square is 0.01 m2. [m2]"""

INSCRIBED_M = 0.02
"""How closely lengths and widths of strips are found; areas are exact. [m]"""

SIDE_SLACK_M = 0.05
"""A strip's side may turn back by this much and still run along it: the noise of fixes. [m]"""

CUTS_PER_WIDTH = 6.0
MOST_CUTS = 2000
"""Cuts across a strip per mean width, and at most: an inscribed circle between cuts a sixth of a
width apart is off by (1/6)^2 / 2 of its radius, 1.4 %. [1 / width], [1]"""

MIDDLE_LINE_SLICES = 24
"""Slices across a straight strip; its middle line bends no more often than a driver steers. [1]"""

STRAIGHT_STRIP_RATIO = 4.0
STRAIGHT_STRIP_SLOPE = 0.1
"""A strip is straight when its smallest rectangle is at most this many mean widths wide, or this
share of its length: then no part of it slants so much that slices are longer than 1 %. [1], [1]"""

SLIT_SHARE = 0.001
"""Half the width of the slit by which a ring is opened to find the way along it, in mean widths. [1] No figure is
told of it."""

MIDDLE_LINE_SPACING = 0.75
"""Spacing of outline points for the axis of crooked ground, in mean widths: wider ones make it
zigzag. [1]"""

BUFFER_QUAD_SEGS = 64
"""Segments of a quarter circle in buffers: the default of 8 loses 0.64 % of a disc, 64 loses 0.01 %. [1]"""

STOOD_WIDTHS = 0.5
"""A log that pauses and goes on within this of the same place: the machine stood still meanwhile. [boom widths] A
turn to the next pass ends a whole boom width away."""

STRAIGHT_ON = 1.3
"""A pause was driven straight across when the usual speed would have led no farther than this many times the way.
[1] A turn round on the spot and back takes far more; slowing by a quarter is common practice, no source."""

REACH_QUAD_SEGS = 24
"""Corners of a quarter of the ground that can be reached in a pause; cuts off 0.1 % of it. [1]"""

CUT_INSIDE_WIDTHS = 1.0
"""A log that ends while spraying, farther inside the target than this, was cut: drivers finish a pass at its end.
[boom widths]"""

CUT_WIDE_SHARE = 0.5
"""What is left to do where a log was cut is at least so wide; narrower ground was passed by before. [boom widths]"""

HOLE_SHARE = 0.5
"""Missed ground at least so wide is a hole that a boom switched off leaves; a skip between passes is narrower. [boom
widths] Steering and receiver err by less, for any boom that is worth auditing. Common practice, no source."""

HOLE_TIMES = 2.0
TAIL_WIDTHS = 1.0
"""A narrow tail is a finding of its own when the hole is on average so many times wider, and the tail is at least so
long. [1], [boom widths] Shorter ones are the ragged edge of the hole."""

# --- the edge driven ----------------------------------------------------------------------------------

EDGE_STEP_WIDTHS = 0.2
"""The drive is looked at in steps so long, when a lap is looked for. [boom widths]"""

EDGE_CLOSE_WIDTHS = 3.0
EDGE_CLOSE_M = 20.0
"""A lap is closed where its ends lie as near as the larger of these: a gate and its way in. [boom widths], [m]"""

EDGE_LEAST_WIDTHS = 2.5
"""Ground that a lap goes round measures more than this across. [boom widths]"""

EDGE_GRID_M = 1e-3
"""A lap is noded on a grid this fine: its own crossings then never defeat the noding. [m]"""

EDGE_ROUNDS = (0.85, 1.15)
"""A lap goes round once. [1]"""

EDGE_WANDER = 1.25
"""... and is no longer than this, against the shortest way round it: bays and loops at corners make it longer, passes
many times so. [1]"""

EDGE_FULL_SHARE = 0.6
"""... and goes round so much of its own hull: what runs to and fro goes round little. [1]"""

EDGE_NARROW_WIDTHS = 2.2
"""... and nowhere else narrower than two passes beside each other. [boom widths]"""

EDGE_WORK_SHARE = 0.75
"""... and holds as much of the drive: a way round by the road does not. [1]"""

EDGE_TRIES = 60
EDGE_ALIKE = 0.995
"""So many laps are looked at, out of fifty times as many loops, the largest first; those that go round at least the
second of the most are alike. [1], [1]"""

WORKED_APART_WIDTHS = 1.0
"""Ways that leave less than this between their swaths lie beside each other. [boom widths]"""

EDGE_HABIT_M = 0.25
"""Drivers keep the boom's end as near to the fence as they mean to, but for this, all the way round: one standard
deviation. [m] A guess, no source."""

EDGE_DRAWS = 64
"""Laps drawn with the receiver's wander: its effect on the area is then known to a tenth. [1]"""

CORNER_ARC_WIDTHS = 3.0
CORNER_TURN_RAD = (0.35, 2.6)
"""A corner is a turn of at least the first within so long a way; beyond the second (150 degrees) a sharp corner would
reach out without end, and no more than it is counted. [boom widths], [rad]"""

ISLAND_LEAST_WIDTHS = 0.3
ISLAND_ACROSS_WIDTHS = 0.6
ISLAND_ROUND = 0.8
"""Ground driven round is at least so wide (narrower is a skip), as large as a square of the second (smaller is what
turns leave), and is gone round by at least this much of a full turn. [boom widths], [boom widths], [1]"""

NINETY_SD = 1.645
"""Nine in ten of a normal error lie within so many standard deviations. [1]"""
