"""Thresholds of ``read``: one home, a unit and a reason each."""

from __future__ import annotations

MAX_FILE_BYTES = 256 * 1024 * 1024
"""Largest input file that is read. [byte] A 10 Hz NMEA log of a 24 h day is about 150 MB."""

MAX_PACKED_FILES = 5_000
"""Most files in one zip file. [1] A job has a dozen; a job file may name 1 000 logs."""

MAX_PACKED_BYTES = 2 * MAX_FILE_BYTES
"""Most bytes that the files in one zip file may declare together. [byte] Two logs of the largest size."""

FIRST_YEAR, LAST_YEAR = 1980, 2100
"""Years a date may lie in. GPS time began on 1980-01-06."""

EARLIEST_TIME_S, LATEST_TIME_S = -2_208_988_800.0, 4_133_980_800.0
"""Times that are read lie from 1900-01-01 (a counter of seconds that ran over says 1901) to before 2101-01-01.
[s since 1970]"""

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

READ_BLOCK_BYTES = 4 * 1024 * 1024
"""Files are read in pieces of this size: asked for all that a file may hold, Python lays out a quarter of a GiB for one
of five lines. [byte]"""

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

LARGEST_FIGURE = 1e12
"""Largest figure of a saved audit: a million square kilometres in m2, and its square can still be worked with. [1]"""

MAX_WITHIN_S = 7200.0
"""A remembered moment that may be off by more than this says nothing. [s]"""

RATE_BITS = 14
"""Significant bits of a saved rate: the last is 3e-5 of it, and three digits are told. [bit]"""

MOST_CELL_M = 10_000.0
MOST_CELLS = 1_000_000_000
"""Largest cell of a saved surface, and the most cells that it lies off or across: more is damage. [m], [1] A surface
has cells of 0.25 m, some metres for the largest job, and fewer across than a job's 100 km hold."""
