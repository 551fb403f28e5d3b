"""Thresholds of ``sheet``: one home, a unit and a reason each."""

from __future__ import annotations

DRAWN_WAY_M = 0.15
"""A drawn way may leave out what lies less than this beside it. [m] Less than a pixel where a field fills a screen."""

MAX_GAP_S = 5.0
"""A longer step is a gap of the log. [s] Default of ``track.max_gap``."""

RTK_CODES = (4,)
"""Codes of the quality of a fix that say RTK fixed (NMEA 0183, GGA)."""

KNOWN_FIELD_SHARE = 0.3
"""A kept field is proposed when at least this share of the drive lies in it. [1] A day's log also holds the way there
and other fields; of a field that was only driven through far less lies in it."""

CROSSED_M = 30.0
"""A drive with more than this in a kept field crosses it. [m] A few lengths of a machine and its boom."""

EDGE_CLOSE_M = 12.0
"""Passes up to twice this apart are joined when the driven edge is drawn. [m] Wider than half of any usual boom's
spacing; common practice, no source."""

EDGE_SIMPLE_M = 1.0
"""The driven edge is drawn with corners; what lies less than this beside them is left out. [m] As a phone is off."""

LEAST_FIELD_M2 = 100.0
"""A smaller outline is a slip of the finger. [m2] Ten steps by ten."""

LEAST_NO_SPRAY_M2 = 1.0
"""A smaller no-spray area is a slip of the finger. [m2] A well's rim is larger."""

MOST_CORNERS = 500
"""Most corners that a drawn field may have. [1] A hundred times those of a usual field."""

MOST_DOUBTS = 12
"""Most things that the page asks at once. [1] Whoever is asked more answers none of it."""

MOST_SAID = 400
"""Most stretches that a person may say something of. [1] A long day has some hundred passes."""

LEAST_SAID_S = 0.2
"""A shorter stretch is not worth a row. [s] Half a metre at walking speed."""

SKETCH_M = 2.0
"""The same for the small picture in the list of jobs. [m] Less than a pixel of it."""

MOST_PICTURE_PIXELS = 80_000_000
"""A picture with more pixels is not taken. [1] 240 MB unpacked; a field at 5 cm a pixel has 50 million."""

PICTURE_SIDE = 2400
"""A picture is kept with so many pixels a side at most. [px] Twice those of a map that fills the sheet."""
