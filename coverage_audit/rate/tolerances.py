"""Thresholds of ``rate``: one home, a unit and a reason each."""

from __future__ import annotations

RATE_CELL_M = 0.25
"""Cell over which the rate is averaged. [m] Half the usual nozzle spacing (common practice)."""

LARGEST_RATE_CELL_M = 4.0
"""Cells are doubled up to this side when the sprayed ground needs too many; if even they are too many,
no rate is told. [m] A coarser mean says nothing about a boom's width."""

MOST_RATE_CELLS = 12_000_000
"""Most cells in tiles: 75 ha by the finest ones, and some 1 GB. [1]"""

MOST_TILE_PLACES = 10_000_000
"""Most entries of the tables that find tiles. [1]"""

MOST_QUADS = 1_500_000
"""Most parts of the boom in all steps: some 60 times those of a 12 ha job, and 1 GB. [1]"""

MOST_CUTS = 40_000_000
"""Most pieces of their edges between lines of the grid: some ten seconds of work. [1]"""

CUTS_AT_ONCE = 50_000
"""Pieces of edges worked on at a time, some 40 MB. [1]"""

TILE_CELLS = 32
"""Cells are kept in square tiles of this side, only where something was sprayed. [cells]"""

STEP_M = 2.0
LONGEST_STEP_M = 6.0
"""Spray is spread evenly over steps of the boom this long at most when nothing else cuts them:
longer ones in noisy logs, never beyond the second. [m]"""

STEP_TURN_DEG = 2.5
"""Most turn in a step: its chord cuts off 0.03 % of the ground of an arc. [deg]"""

STEP_SPEED_SHARE = 0.04
"""Most change of speed in a step, at the centre or a tip: its mean is then within 2 %. [1]"""

SPEED_WINDOW_S = 0.5
"""Speeds that decide where steps end are taken over this long before and after. [s] Braking of
1 m/s2 changes a walking pace by a third in it; noise of 2 cm is 2 cm/s."""

TIP_RATE_NOISE = 0.012
"""Steps grow until white noise of the fixes leaves less than this at the tips: 1.2 % (one sigma)
keeps 99.99 % of the ground within 5 % of its true rate. [1]"""

NOISE_TURNS = 10.0
"""A step turns by at least this many standard deviations of the heading's noise. [1]"""

PART_SPEED_SHARE = 0.05
"""The boom is cut across into parts whose speeds differ by less than this. [1]"""

NARROW_STEP_M = 1e-4
"""A boom that moves less than this in a step, or about a point within a part, wets a line and not
ground: its spray is laid into the cells under it. [m]"""

LEAST_SLOPED_CELLS = 0.1
"""A part of the boom narrower than this has one rate: no cell shows how it slopes. [cells]"""

SWEPT_SHARE = 1e-6
"""A cell of which less than this was swept is rounding. [1]"""

BAND_SLACK = 1e-6
"""Rates this close to the edge of a band lie inside it: rounding of areas. [1]"""

DISAGREEMENT = 0.05
"""Sources of the volume that differ by more are told: 5 % is the accuracy asked of an application
(USDA and EPA advice, cited by E. Ozkan, Ohio State, in The Daily Record 2012). [1]"""

LEAST_RATE_PLACE_M2 = 1.0
"""Smaller places above the label's most are totalled, not named. [m2] Sixteen cells; positions
are seldom known better."""

MOST_PLACE_CELLS = 50_000_000
"""A place whose bounds hold more cells is drawn run by run, which is slower and takes less memory. [1]"""

MOST_RATE_PLACES = 100
"""Places named, the largest first: more make no list, and the page too large. [1]"""

START_S = 4.0
"""Ground sprayed within this of switching on counts as the start. [s] A tractor is up to speed by then."""

STAND_S = 1.0
"""Shorter stands are not listed: a driver's hesitation. [s]"""

RATING_SHARE = 0.10
AVERAGE_SHARE = 0.05
OTHER_AVERAGE_SHARE = 0.10
"""A nozzle more than 10 % off its maker's rating, or 5 % off the boom's average, is named (R. N. Klein,
Univ. Nebraska-Lincoln; Alberta Agdex 606-1). Another published rule replaces only beyond 10 % of the
average (Florida exam preparation, p. 213). [1]"""

LONG_STOP_S = 120.0
"""A stop with the boom off for this long may be a refill. [s] Filling 300 L through a hose at
100 L/min takes three minutes (common practice, no source)."""

LOAD_SLACK = 0.01
"""A load counts as run dry only when more than this was let out beyond it: marks on a tank are not
read closer. [1]"""
