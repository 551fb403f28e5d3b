"""Thresholds of ``touchup``: one home, a unit and a reason each."""

from __future__ import annotations

CLEARANCE_M = 1.0
"""The boom's centre keeps so far from fences and no-spray ground when it is not spraying: half the
track of a light tractor. [m] Common practice, no source."""

EXACT_STRIPS = 12
"""Up to so many strips worth a visit the order is found exactly: 2^12 sets fill some megabytes. [1]"""

LIBRARY_SOLUTIONS = 150
"""Neighbouring orders that the optimiser library may accept beyond ``EXACT_STRIPS``. [1] A count, not a
time, so that the same job gives the same plan on every machine."""

LIBRARY_MOST_S = 300
"""The optimiser library stops here even if it has accepted fewer; sixty strips take seconds. [s]"""

LIBRARY_UNIT = 1e6
"""Costs are handed to the optimiser library as whole numbers, relative to the largest, times this. [1]"""

GRID_CELL_M = 0.5
GRID_MOST_CELLS = 4_000_000
"""Ground that may be driven on is looked up in cells of this size, larger ones on huge fields. [m], [1]
A cell counts only when all of it lies ``CLEARANCE_M`` inside, so a coarse cell costs way, not safety."""

WAY_SAMPLE_M = 1.5
"""Ways are looked up about so often: round the sharpest corner a chord of this length strays by a third of
the clearance. [m]"""

SAMPLES_AT_ONCE = 500_000
"""Places looked up at a time: bounds the memory whatever the number of strips. [1]"""

PAIRS_AT_ONCE = 500_000
"""Pairs of places of which it is asked at a time whether they lie near each other: bounds the memory. [1] A field of
2 km square has 4 000 such places."""

HUB_SPACING_M = 25.0
HUB_REACH_M = 60.0
STRIP_REACH_M = 120.0
"""Places to pass by lie so far apart along the headland and the old passes; they are joined to each other,
and to strips, when the shortest turn between them is no longer than this. [m]"""

OFF_TRACK_SHARE = 0.25
"""A metre off the old wheel tracks costs so much more, as it lays down standing crop. [1] A preference in
money: a quarter keeps the way on the tracks unless that takes a quarter longer."""

TRACK_HALF_M = 1.0
"""The boom's centre within this of an old pass runs in its wheel tracks. [m] A tyre's width and the
steering of a second drive."""

PART_BEND_DEG = 30.0
PART_SIMPLIFY_M = 0.5
"""A strip is entered anew where its middle line, kept within the second, bends by more than the first: a
corner of a headland lap. [deg], [m]"""

LEAST_PART_M = 1.0
"""Shorter parts of a strip are no pass of their own. [m]"""

STRAIGHT_M = 0.1
"""A part whose middle line keeps this close to its chord is driven as a straight line. [m]"""

CURVE_STEP_M = 4.0
"""Curvature of a part is told from three points so far apart. [m] Nearer ones show noise."""

ROUND_SLACK = 1.01
"""Ground within a distance of a way is sought so much farther: the circle round its ends is drawn with 32 corners, and
its sides fall short by half a hundredth. [1]"""

JOIN_ON_M = 4.0
"""A section stays open over a gap shorter than this along the pass: at 2 m/s a valve has two seconds. [m]"""

LEAST_SPRAY_M = 0.25
"""A section is not opened for less than this along the pass. [m]"""

WIDTH_SLACK_M = 0.02
"""A strip this much wider than the boom or the open sections counts as covered by them: rounding. [m]"""

SHY_M = (0.05, 0.2, 0.5)
"""Where a crooked edge of the target keeps the boom off, it is laid so much farther from the strip's edge. [m]"""

WHOLE_SHARE = 0.9
"""... unless so much of the strip is cured without. [1]"""

STEER_SLACK_M = 0.3
"""The open sections reach so far beyond the strip on both sides where they can: a person steers no
better without guidance. [m] Common practice, no source."""

SAME_PLACE_M = 1e-6
"""Points of a way nearer than this are one. [m]"""

MOST_CORNERS_LAID = 100_000
LEAST_WAYS_TRIED = 6
"""Corners of a strip and of the target near it, times the ways to lay the boom over it, but at least so many ways. [1]
An outline of 100 corners is tried every way; one of 2 000 random ones took 10 ms a way, 175 ways for each of a
hundred parts."""

MOST_RUNS_TRIED = 24
MOST_SECTIONS_TRIED = 600
LEAST_RUNS_TRIED = 3
"""A strip is tried with so many runs of sections at most, spread evenly over the boom, and fewer when they
hold more than so many sections together: usual booms have up to 24, and every run of them is tried. [1]"""

EQUAL_SHARE = 0.01
"""Ways to lay a pass whose cured (sprayed again) areas differ by less, of the strip, are equal. [1]"""

LEAST_AGAIN_M2 = 0.1
"""Ground that would be sprayed again counts against a limit from this size on; less is rounding of
outlines. [m2]"""

SHUT_MARGIN_M = 0.25
SHUT_ROUNDS = 8
"""Where a bend swings the boom beyond the target, sections are shut so much earlier, and again if that is not
enough; a pass that still goes beyond is given up. [m], [1]"""

LIMIT_SLACK = 1e-6
"""A dose breaks a limit when it is more by this share; less is rounding. [1]"""

MEASURES_L = (0.1, 0.5, 1.0, 5.0, 10.0)
"""Steps of a measuring jug, a bucket and a tank's scale, in litres... [L]"""

MEASURES_GAL = (0.05, 0.1, 0.25, 1.0, 5.0)
"""...and in US gallons. [gal]"""

MEASURE_SHARE = 0.05
"""Mix is rounded up to the largest of those steps that is at most this share of it. [1]"""

SPEED_M_S = 2.0
"""Speed of the touch-up when the job shows none. [m/s] 7.2 km/h, within the usual 5 to 11 (from memory)."""

SPOT_DEFAULT_M2_S = 0.25
"""Ground that one person sprays with a wand. [m2/s] 900 m2 an hour; common practice, no source."""

VALUE_DEFAULT_M2 = 0.05
LABOUR_DEFAULT_S = 30.0 / 3600
MIX_COST_DEFAULT_L = 0.3
TURNING_RADIUS_DEFAULT_M = 5.0
RESERVE_DEFAULT = 0.1
"""What the plan takes when the job file does not say: worth of cleaning ground 500 a hectare [1/m2], labour
30 an hour [1/s], mix 0.30 a litre [1/L], a light tractor's radius [m], a tenth of the mix [1]. Assumed; the
report marks them so."""

PATH_STEP_M = 2.0
"""Points of the planned way in the files, at most so far apart on its arcs. [m]"""
