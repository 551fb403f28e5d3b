"""Limits on what a boundary file may hold, so that no file can stall or fill the machine."""

MAX_BOUNDARY_BYTES = 32 * 1024 * 1024
"""Largest boundary file. [byte] A field outline of 10 000 corners is about 0.4 MB; all the parcels of a
county fit. Text of this size takes up to 20 times as much memory while it is read."""

MAX_BOUNDARY_POINTS = 1_000_000
"""Most corners in one boundary file. [1] A field driven round at 10 Hz for an hour has 36 000."""

MAX_BOUNDARY_RINGS = 20_000
"""Most rings and lines in one boundary file. [1] All the fields of a large contractor are some thousands."""

MAX_SHAPE_RINGS = 5_000
"""Most rings in one shape of a Shapefile. [1] Which ring lies in which is looked up for every pair that nests."""

MAX_SHAPE_DEPTH = 16
"""Deepest collection of shapes within collections. [1] Map programs write one or two."""

MAX_REPAIR_PAIRS = 200_000
"""Most pairs of edges near each other in a polygon that is repaired. [1] A boundary driven twice round at
10 Hz has about 100 000; what takes longest grows with the crossings, of which a scribble has millions."""

MAX_FIELD_SPAN_M = 100_000.0
"""Widest single polygon, and widest ground of one job. [m] The largest farmed fields are about 10 km across,
and a boom covers less than 500 ha a day."""

MAX_OUTLINE_M = 2_000_000.0
"""Longest outline of the ground of one job, holes and all. [m] A field 10 km square has 40 km."""

MAX_FIELD_LAT_DEG = 88.0
"""Highest latitude of a boundary. [deg] No crop grows within 2 400 km of a pole; at the pole itself a
longitude tells nothing."""

MAX_CRS_CHARS = 20_000
"""Longest text of a coordinate reference system that is looked at. [1] The longest of the EPSG registry have
about 5 000 characters."""

MAX_NAME_CHARS = 120
"""A polygon's name is cut after so many characters. [1] What is written on a map is seldom longer than 40."""

MAX_DATABASE_STEPS = 50_000_000
"""Most steps of the database engine while a GeoPackage is read. [1] A row of a hundred columns takes about
300, so a whole file of the largest size some millions; a file made to loop is stopped within seconds."""

ARC_STEP_RAD = 0.0175
"""Arcs of a drawing become corners about a degree apart. [rad] Of a bend of 100 m the ground between is 4 mm wide."""

UNIT_ALIKE = 1e-5
"""Two units that differ by less are the same, as feet and those of the US survey are. [1] These differ by 2e-6."""
