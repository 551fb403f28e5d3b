"""Every threshold of the package: one home, a unit and a reason each."""

# --- refusals and limits at the doors -------------------------------------------------------

MAX_FILE_BYTES = 256 * 1024 * 1024
"""Largest input file that is read. [byte] A 10 Hz NMEA log of a 24 h day is about 150 MB."""

MAX_FIELD_DISTANCE_M = 100_000.0
"""A boundary farther than this from the track belongs to another place. [m]"""

# --- cleaning the track ----------------------------------------------------------------------

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

# --- motion ----------------------------------------------------------------------------------

STAND_WINDOW_S = 3.0
"""Standing is judged over this time: short enough for a stop at a gate, long against noise. [s]"""

STAND_SPEED_M_S = 0.1
"""Slower than this over the window is standing (design: volume let out below 0.1 m/s). [m/s]"""

SCATTER_WINDOWS_S = (6.0, 12.0, 20.0)
"""Fixes that scatter more than standing speed allows over the window are judged over these, the longest
last: in 20 s that speed goes 2 m, twice ``JITTER_M``; creeping faster goes farther. [s]"""

SCATTER_FIXES = 500
"""... and over no more fixes than this to either side, whatever the rate: bounds the work. [1]"""

HEADING_NOISE_SHARE = 0.25
"""A stand whose moves have more than this share of the square of the least move with a direction is restless:
some of them look like driving. [1] Half of that speed, 0.075 m/s; a good receiver's noise makes 0.03."""

SCATTER_REACH = 1.5
"""The first and last fixes of a stand may lie so many times as far off its place as the farthest of the others,
but not beyond ``JITTER_M``. [1]"""

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

BRIDGE_TURN_DEG = 10.0
"""A gap is bridged only when the heading changes by less across it (design, section 2). [deg]"""

BRIDGE_WIDTHS = 5.0
"""... and it is shorter than this many boom widths (design, section 2). [boom widths]"""

TOWED_BACKING_WIDTHS = 1.0
"""A towed boom backed up farther than this earns a caution (design, section 2). [boom widths]"""

MOST_AXLE_BEHIND_M = 12.0
MOST_AXLE_AHEAD_M = 6.0
"""Farthest that a fixed axle lies behind the antenna (a long machine with the antenna on its nose) and ahead of it
(an antenna over a boom that is carried behind). Common practice, no source. [m]"""

SLIDING_DEG = 10.0
SLIDING_M = 2.0
SLIDING_SHARE = 0.01
"""An axle rolls; one whose vehicle would be dragged backwards, by more than this beyond square to its way, over more
than this distance and this share of the way, does not lie where it is said to. [deg], [m], [1]"""

# --- swath and partition ---------------------------------------------------------------------

THIN_M = 0.003
"""Boom lines within this of the interpolated one are left out: a turn at 10 m radius with a
9 m boom loses 3e-4 of the area swept in the turn, a straight pass nothing. [m]"""

THIN_NOISE_SHARE = 1.0
MAX_THIN_M = 0.02
"""With noisy fixes boom lines are thinned to this share of the noise, but never beyond two
centimetres: holding the path closer than it is known only costs time. [1], [m]"""

THIN_STRIDE = 16
"""Every so manieth boom line is kept from the start of thinning. [1]"""

CHUNK_TURN_DEG = 45.0
"""Ground is cut into pieces in which the heading stays within this of the first one, so that
no spot of a piece can be swept twice. [deg]"""

NODE_GRID_M = 1e-6
"""Outlines are noded on a grid this fine when the faces do not add up without one: edges that run
within rounding of each other can lose a crossing, and two faces become one. [m]"""

MAX_NEAR_PAIRS = 3_000_000
"""Most pairs of edges near each other that the partition nodes. [1] Jobs of 12 to 50 ha have 0.1 to 0.2 million;
turning on the spot again and again with everything on reaches 1.2 million, which takes 3 s and 0.2 GB; at 6
million it is minutes and over 2 GB."""

VISIT_WIDTHS = 1.5707963267948966
"""Sweeps of one spot within this much travel of the boom's centre are one visit (design,
section 1): pi/2, since a boom that pivots about its end comes round to no spot sooner. [boom widths]"""

BUSY_TURN_DEG = 90.0
"""Ground is cut finely where the heading turns by more than this within one visit's travel with
the boom on: only then can sweeps meet again so soon. [deg]"""

CUT_STEP_M = 0.15
"""Cuts there lie this close, so the border between one visit and two is off by half of it at most. [m]"""

MOST_LINE_CUTS = 30_000
"""... and where so many would not do for a job, as with fixes that leap about, they lie farther apart. [1]"""

COARSE_SHARE = 0.9
"""More than this share of them and it is told. [1]"""

CLOSURE_REL = 1e-6
"""Sums that must close exactly do so within this share of the field; the rest is rounding. [1]"""

CROSS_CHECK_REL = 5e-4
"""Largest difference between the partition and the raster count, of the field (design). [1]"""

RASTER_CELL_M = 0.1
"""Cell of the raster count. [m]"""

RASTER_TURN_DEG = 14.0
"""The raster is turned by this from the commonest line of travel, so that pass edges cross its
cells at every phase; edges along a column would all round the same way. [deg]"""

RASTER_STEP_M = 0.5
RASTER_STEP_DEG = 2.0
"""The raster count keeps a boom line at least this often: a wheel-wide wiggle of steering is
longer, and between lines 2 degrees apart a tip 15 m out is cut by 2 mm. [m], [deg]"""

RASTER_CELLS_ACROSS = 20
"""A boom is at least so many cells wide... [1] Each edge of a pass is then rounded by less than a fortieth of it."""

RASTER_CELLS_ALONG = 500
"""...and a target is as large as a square of so many by so many. [1] In a garden of 100 m2 the edges would else
round by more than the two counts may differ."""

RASTER_FINEST_M = 0.001
"""...but a cell is never finer than this. [m] A hundredth of the narrowest nozzle's band."""

RASTER_TILE_CELLS = 1024
"""Side of the square tiles in which cells are laid out. [1] Bounds the memory whatever the size of the field."""

RASTER_BAND_CROSSINGS = 2_000_000
"""Places where a row of cells meets the outline, counted at a time. [1] Bounds the memory likewise."""

RASTER_MAX_TILES = 6_000
"""Most tiles that a job's boom lines touch. [1] A boom of 36 m that covers 500 ha in single passes, each in
ground of its own, touches 3 000; every tile takes about 10 ms."""

SPRAYED_WIDTHS = 1.0
"""A polygon counts as sprayed when the boom's centre sprayed inside it over this length; a
neighbour's field that only caught the boom's tip does not. [boom widths]"""

NEAREST_TOLD_M = 0.5
"""A boom nearer to a field than this is not told as so many metres away from it. [m]"""

# --- findings --------------------------------------------------------------------------------

END_TOUCH_SHARE = 0.5
"""A strip is late on (early off) when it lies along this share of the boom line of a switch-on
(-off) ... [boom widths]"""

END_AREA_SHARE = 0.5
"""... and when this share of it lies straight beyond that line. [1]"""

EDGE_SHARE = 0.3
"""A strip with this share of its outline on the field edge lies at the field edge. [1]"""

LAP_TURN_DEG = 135.0
"""A part of the drive that turns farther has no one heading: passes, even curved ones, turn less and laps at
least two corners. [deg]"""

ACROSS_DEG = 20.0
"""Driven at more than this to the main direction is headland work; hand steering wanders less. [deg]"""

HEADLAND_WIDTHS = 2.0
"""The headland: this far in from the field edge; one and a half to two passes are usual
(common practice, no source). [boom widths]"""

# --- what a job file may say (job_schema, read_job) -----------------------------------------
# Not physical limits: a value beyond them is a slip of the pen (a wrong unit, a lost decimal point).

MAX_BOOM_M = 100.0
"""Widest boom. [m] Field booms end near 60 m."""

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

MAX_QUANTITY_CHARACTERS = 100
"""Longest quantity, price or place as text: a number of 17 digits, a unit and blanks need far less. [1]"""

LARGEST_FIGURE = 1e12
"""Largest figure of a saved audit: a million square kilometres in m2, and its square can still be worked with. [1]"""

MAX_TEXT_CHARACTERS = 10_000
"""Longest text under one key: five pages of notes. [1]"""

FIRST_YEAR, LAST_YEAR = 1980, 2100
"""Years a date may lie in. GPS time began on 1980-01-06."""

EARLIEST_TIME_S, LATEST_TIME_S = -2_208_988_800.0, 4_133_980_800.0
"""Times that are read lie from 1900-01-01 (a counter of seconds that ran over says 1901) to before 2101-01-01.
[s since 1970]"""

EARLIEST_JOB_S = 0.0
"""A job lies in 1970 at the earliest, where a clock that was never set begins. [s since 1970]"""

# --- field boundaries (read_field) ----------------------------------------------------------

BOUNDARY_CLOSE_M = 20.0
"""A driven line is a closed boundary when its ends lie within this... [m] (job-file contract)"""

BOUNDARY_CLOSE_REL = 0.02
"""...or within this part of its length. (job-file contract)"""

REPAIR_AREA_M2 = 1.0
"""Every way of repairing a polygon agrees within this area... [m2] A step of a person: not worth naming."""

REPAIR_AREA_REL = 1e-4
"""...or within this part of the polygon. The accuracy promised for areas at 10 Hz (0.01 % of the field)."""

MIN_FIELD_M2 = 0.01
"""A polygon smaller than this is a point or a line. [m2] A post in a field is about 0.02 m2."""

# --- simulated jobs -------------------------------------------------------------------------

SIMULATED_WANDER_STEP_M = 0.5
"""Steering error is drawn this often along the route and smoothly joined. [m] Well below the
3-4 m over which it is smoothed, so the join adds nothing of its own."""

SIMULATED_SWEEP_HZ = 20.0
"""True boom lines are sampled this often. [1/s] At 3 m/s they are 0.15 m apart; on an arc of
4 m radius the chord then leaves the arc by less than 1 mm."""

# --- reading GNSS logs ----------------------------------------------------------------------

EPOCH_LOOKBACK = 4
"""A sentence joins an epoch of the same UTC time among so many epochs last begun. [1]
Multiplexed sources interleave two or three times; a time that comes back later than that is a
repeat of its own, which cleaning has to see."""

SWITCH_BURST_SHARE = 0.5
"""XDR sentences for at least this share of the epochs stand in the bursts of the receiver, fewer
are sent only at changes. [1] A per-second source loses few sentences, a boom changes seldom."""

MAX_SENTENCE_CHARS = 255
"""Text after a "$" that goes on longer without an end is no sentence. [characters] NMEA 0183
allows 82; receivers that send many decimals or transducers go beyond it."""

SCAN_BLOCK_BYTES = 4 * 1024 * 1024
"""NMEA logs are scanned in blocks of about this size, to bound the memory used. [byte]"""

WEEK_ROLLOVER_DAYS = 1024 * 7
"""GPS counts weeks modulo 1024 in its navigation message. [days] IS-GPS-200, 20.3.3.3.1.1."""

ROLLED_OVER_BEFORE = "2000-01-01"
"""A logged date before this is taken for a week counter that rolled over: GPS was degraded on
purpose to 100 m until 2000-05-02, so no log that is fit for an audit is older. [UTC date]"""

DATE_DOUBTFUL_BEFORE = "2010-01-01"
"""A date before this may be 1024 weeks (19.6 years) early, which only job.date can tell; the
person is asked. [UTC date] From it on the true date would lie in 2029 or later."""

JOB_DATE_SLACK_DAYS = 1
"""job.date and the log's date may differ by this, as local and UTC dates do. [days]"""

DEMO_QUAD_M = 0.25
"""Length of the quads that the demo's true ground is united from. [m] On an arc of 3.8 m radius
the chord leaves the arc by 2 mm."""

# --- files for other programs ---------------------------------------------------------------

EXPORT_GRID_M = 1e-3
EXPORT_GRID_DEG = 1e-8
"""Findings are put on these grids to be written: a millimetre, finer than any receiver. [m], [deg]"""

MITRE_LIMIT = 2.0
"""Corners sharper than 60 degrees are cut off when strips are opened; they are narrower than
the least width anyway. [1]"""

NECK_AREA_M2 = 1e-4
"""Crumbs that cutting at necks leaves; a hand's breadth square is 0.01 m2. [m2]"""

EDGE_BAND_M = 0.02
"""Outlines this close to an edge lie on it; also how far switching lines are moved onto the
ground beside them. More than rounding, less than any finding. [m]"""

INSCRIBED_M = 0.02
"""How closely lengths and widths of strips are found; areas are exact. [m]"""

SIDE_SLACK_M = 0.05
"""A strip's side may turn back by this much and still run along it: the noise of fixes. [m]"""

CUTS_PER_WIDTH = 6.0
MOST_CUTS = 2000
"""Cuts across a strip per mean width, and at most: an inscribed circle between cuts a sixth of a
width apart is off by (1/6)^2 / 2 of its radius, 1.4 %. [1 / width], [1]"""

CENTRES_TRIED = 16
"""Centres of inscribed circles tried at a time, the most promising first. [1]"""

MIDDLE_LINE_SLICES = 24
"""Slices across a straight strip; its middle line bends no more often than a driver steers. [1]"""

STRAIGHT_STRIP_RATIO = 4.0
STRAIGHT_STRIP_SLOPE = 0.1
"""A strip is straight when its smallest rectangle is at most this many mean widths wide, or this
share of its length: then no part of it slants so much that slices are longer than 1 %. [1], [1]"""

MIDDLE_LINE_SPACING = 0.75
"""Spacing of outline points for the axis of crooked ground, in mean widths: wider ones make it
zigzag. [1]"""

BUFFER_QUAD_SEGS = 64
"""Segments of a quarter circle in buffers: the default of 8 loses 0.64 % of a disc, 64 loses 0.01 %. [1]"""

DRAWN_PATH_M = 0.3
"""Lines driven without spraying are drawn this closely; no figure rests on them. [m]"""

WALKED_LINE_M = 0.1
"""How closely a strip's middle line is kept in the GPX file: a phone cannot tell less. [m]"""

ZONE_QUARTERS = 56
ZONE_SLACK_S = 600.0
"""Clocks that differ by whole quarters of an hour, up to 14 h, within ten minutes (a job begins a
little after its log) differ by a time zone. [quarters of an hour], [s]"""

FAR_FIXES_M = 5.0
"""Fixes farther apart than this while spraying are too few for switching places and skips. [m]"""

MUCH_DOUBLE = 0.5
"""More of the target than this sprayed twice points to a wrong boom width. [1]"""

MOST_BRIDGED_SHARE = 0.05
"""No proof may rest on more bridged ground than this, whatever the job file says. [1]"""
