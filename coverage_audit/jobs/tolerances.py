"""Thresholds of ``jobs``: one home, a unit and a reason each."""

from __future__ import annotations

MAX_BOOM_M = 100.0
"""Widest boom. [m] Field booms end near 60 m."""

MIN_BAND_M = 0.05
"""Narrowest boom, section or distance between nozzles. [m] A nozzle held low wets a decimetre; less is a slip of the
unit, and finer than any of the work is laid out."""

MAX_SECTIONS = 200
"""Most sections, and so the largest section number. Single-nozzle control of a wide boom has about 120."""

MAX_NOZZLES = 1000
"""Most nozzles on a boom. 100 m at 0.1 m spacing."""

MAX_LEVER_M = 50.0
"""Longest antenna offset, drawbar or axle distance. [m]"""

MAX_STRIP_M = 1000.0
"""Widest setback, growth of a boundary or least width of a listed strip. [m]"""

MIN_STRIP_WIDTH_M = 0.01
"""Least `report.min_width`. [m] Below it the width of a strip is rounding, not ground."""

MAX_DELAY_S = 60.0
"""Longest valve delay, early or late. [s] Real ones are below 3 s."""

MAX_CLOCK_OFFSET_S = 2 * 1024 * 7 * 86_400.0
"""Largest `track.clock_offset`. [s] Two rollovers of the 1024-week counter."""

MAX_GAP_S = 3600.0
"""Largest `track.max_gap`. [s]"""

MAX_RATE_L_HA = 100_000.0
"""Highest rate. [L/ha] 10 mm of liquid: a flood, not a spray."""

MAX_FLOW_L_MIN = 10_000.0
"""Highest flow of a whole boom. [L/min]"""

MAX_PRESSURE_BAR = 100.0
"""Highest spraying pressure. [bar] Orchard sprayers end near 50."""

MAX_APPLIED_L = 10_000_000.0
"""Largest volume of one job. [L]"""

WIDTH_AGREEMENT_M = 0.01
"""Widths from `width`, `sections` and `nozzles` agree within this. [m] (job-file contract)"""

MACHINE_WIDTH_M = 0.1
"""A width that is typed and the one that a machine states agree within this. [m] People round to the decimetre; a
nozzle more or less is 0.25 m and more."""

MAX_TEXT_CHARACTERS = 10_000
"""Longest text under one key: five pages of notes. [1]"""

MOST_BRIDGED_SHARE = 0.05
"""No proof may rest on more bridged ground than this, whatever the job file says. [1]"""

MAX_TANK_L = 100_000.0
"""Largest tank or load. [L]"""

MAX_PRODUCT_HA = 100_000.0
"""Largest product rate: a slip of the pen beyond it. [L/ha or kg/ha]"""

MAX_INTERVAL_DAYS = 3660.0
"""Longest PHI, grazing or re-entry interval. [days]"""

MAX_SIGMA_M = 1000.0
"""Largest error of a position that a job file may state. [m] Beyond it the unit is wrong."""

MAX_TIME_CONSTANT_S = 86_400.0
"""Longest time constant that a job file may state: a day. [s]"""

MAX_REPLICATES = 10_000
"""Most replicates: enough for a hundredth of a percent. [1]"""

MAX_MONEY = 1e9
MAX_SPEED_M_S = 15.0
MAX_RADIUS_M = 100.0
MAX_SPOT_M2_S = 100.0
MAX_TIME_S = 86_400.0
"""Largest amounts that a job file may hold: beyond them a slip of the pen. [money], [m/s], [m], [m2/s], [s]"""

FIELDS_OVERLAP = 0.05
"""Two kept fields share at most so much of the smaller one. [1] (requirement) Outlines drawn by hand from pictures lie
a few metres amiss; more is the same ground under two names."""

MAX_REMEMBERED_M = 20_000.0
"""Longest way that a remembered state may have lasted. [m] A day's work is longer, and nobody remembers it so."""

MINUTE_WITHIN_S = 60.0
SECOND_WITHIN_S = 10.0
PLACE_WITHIN_M = 20.0
"""How far off a remembered start may be, nine times in ten, where nobody says: told to the minute, to the second,
or as a place. [s], [s], [m] A minute by the clock, and two or three boom widths on the ground: a guess, no source."""
