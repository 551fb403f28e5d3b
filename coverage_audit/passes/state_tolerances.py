"""Thresholds of the boom's state told from the drive alone: one home, a unit and a reason each.

The chances were read off simulated days (seeds 0 to 47 of ``tests/odd_days.py``) and three real ones, and judged on
others.
"""

CELL_WIDTHS = 1 / 16
MOST_CELLS = 4_000_000
"""Cells on which boom states are tried: so fine, and no more than these over the field. [boom widths], [1]"""

HALF_HITS = 2
"""A cell is swept when so many of the places looked at, half a cell apart, lie in it: two of four. [1]"""

UNIT_WIDTHS = 1 / 6
"""The drive is cut into bits about so long, each on or off as a whole: half a second's drive. [boom widths]"""

MOST_SAMPLES = 1_000_000
"""Places along the drive at which the cells below the boom are looked up, at most; cells are coarser where a very
narrow boom was driven far. [1] 40 km with 9 m have 40 000, with a boom of 5 cm they would have 6 million: 1 GB."""

SAMPLES_AT_ONCE = 1_000_000
"""Places on the boom looked at together: bounds the memory whatever the drive. [1]"""

APART_S = 1.0
"""Bits farther apart than this have standing or a gap between them. [s]"""

# --- legs -------------------------------------------------------------------------------------------

IDLE_SHARE = 0.1
IDLE_WEIGHT = 0.7
"""A leg is idle where less than the first share of its swath is left for it; being idle counts by the second against
ground covered by others. [1] Of legs idle over less than a third of their length 97 in 100 metres were on."""

SPEED_RATIO = 2.0
SPEED_WEIGHT = 0.3
OUTSIDE_WEIGHT = 0.3
"""A leg driven at this many times the usual speed, and one wholly outside the field, is taken to be more needless by
these. [1]"""

KEPT_NEEDLESS = 0.85
LEG_ODDS = (20.0, 0.85)
"""Legs up to this needless were on more often than not; steepness of the chance and where it is a half. [1]"""

EDGE_SHARE = 0.15
TAIL_CHANCE = 0.15
"""The tail of a leg has less than the first share of its swath left (the driver switches when the first nozzles come
to fresh ground), and is on all the same by the second. [1]"""

AMID_SHARE = 0.1
AMID_UNITS = 9
AMID_CHANCE = 0.85
"""Amid a leg ground with less than the first share left, over so many bits (one and a half boom widths) and more, is on
as often as this: hardly anybody switches there. [1]"""

# --- between legs -------------------------------------------------------------------------------------

TURN_FRESH = 0.5
TURN_ODDS = ((-7.0, 0.75), (-7.0, 0.68), (-10.0, 0.42))
"""What is fresher than the first goes with the leg beside it; steepness and half chance, by share fresh, with neither,
one and both of the neighbours on. [1]"""

CORNER_DEG = 120.0
CORNER_UNITS = 24
CORNER_CHANCE = 0.97
ROUND_DEG = 150.0
"""A bend of no more than the first, no longer than so many bits (four boom widths), between two legs that are on is a
corner of a lap: on, with this chance. Beyond the last it is turning round, where both neighbours say no more than one.
[deg], [1], [1], [deg]"""

BACK_ODDS = (-10.0, 0.25)
"""The same for backing up: over fresh ground it is mostly no backing up at all. [1]"""

LATER_UNITS = 10
SMOOTHED_UNITS = 5
"""What passes over a cell within so many bits of the drive is the same pass; shares of ground done before and after are
means over the second. [1], [1]"""

INSIDE_SHARE = 0.5
TAIL_FIRST_SHARE = 0.5
FIRST_SHARE = 0.25
LATER_SHARE = 0.25
FIRST_CHANCE = 0.65
"""A bit of a tail or a turn with at least the first share of its swath in the target comes there first when less than
the second (a tail), or the third and, done later, the fourth (a turn), was done: on as often as the last, at least. [1]
On three real days 65 to 90 in 100 of such seconds were on."""

OVER_AGAIN_SHARE = 0.9
OVER_AGAIN_CHANCE = 0.15
"""A turn over ground of which the first share was done before was on as often as the second, at most. [1]"""

DOUBT = 0.5
"""More likely than this is taken to be on. [1]"""

# --- draws --------------------------------------------------------------------------------------------

STATE_DRAWS = 200
"""Boom states drawn: the ends of nine in ten then rest on ten draws each. [1]"""

HABIT_MEAN_S = 0.2
HABIT_SD_S = 1.4
SCATTER_SD_S = 0.6
"""Drivers switch on so much late and off so much early in the mean, differ by the second, and scatter by the third from
switch to switch. [s] Two of three real days are 2 s late at either end; a hand on a switch takes half a second."""

SHARED = {"leg": 0.2, "turn": 0.3, "tail": 0.5, "amid": 0.2, "back": 0.3}
"""How alike segments of one kind are on one day: correlation of what decides each. [1] A habit holds all day."""

THROUGH_CHANCE = 0.1
THROUGH_ON = 0.9
"""One driver in ten sprays through his turns, nearly all of them. [1] Common practice, no source."""

RANGE_TAILS = 0.04
RANGE_MARGIN = 0.04
"""Share of the draws left out at either end, and how far a range goes beyond the rest, as a share of the figure: cells
and bits of the drive are coarser than what they stand for. [1]"""

EXACT_SWITCHING = 0.16
"""A driver who switches with the middle of the boom over a slanted headland, and not with its first nozzle, sprays so
much less twice. [share of the double ground] Read off days whose driver does."""

UNSURE_CHANCE = 0.1
"""A segment surer than this, either way, is recognised. [1]"""

VOLUME_SD = 0.08
LEAST_WEIGHED = 20.0
"""Litres used over litres wanted on a hectare say how much was sprayed, within this; when fewer draws than the second
(by the sum of weights squared, Kish 1965, from memory) fit, they are not weighed. [1]"""

NINETY_SD = 1.645
"""Nine in ten of a normal error lie within so many standard deviations. [1]"""
