"""Thresholds of ``ledger``: one home, a unit and a reason each."""

from __future__ import annotations

SAME_FIELD_SHARE = 0.5
"""Outlines that share at least this much of the smaller one are one field. [1] Neighbours share an edge; the same
field drawn twice shares nearly all."""

TOUCHUP_SHARE = 0.5
"""A later job that covered less than this of its target may be a touch-up of an earlier one. [1] A second whole
application mends nothing: it is another treatment."""

TOUCHUP_DAYS = 30.0
"""...when it began within so many days of the earlier job's end. [days] Past that what was missed has grown on;
common practice, no source."""

LEAST_MENDED_SHARE = 0.05
"""A strip of which less was sprayed later is not told as mended. [1] Ends of passes cross strips by chance."""

LEAST_LEFT_SHARE = 1e-3
"""Less of a strip than this left over is an edge that two computations put a hair apart. [1]"""

MOST_DOSE_CELLS = 60_000_000
"""Cells of a field's grid; a wider one is made of cells twice the side, and again. [1] Half a gigabyte an array."""

LEAST_DOSE_PLACE_M2 = 1.0
"""Smaller places above the season's most are totalled, not listed. [m2] As a single job's: sixteen cells."""

MOST_DOSE_PLACES = 20
"""Places listed for one product of a field, the largest first. [1] More make no list."""

LEAST_DOSE_SHARE = 0.01
"""A job that gave a place less than this share of its dose is not named as having made it. [1]"""

CLOSING_REL = 1e-3
"""The grid of a field holds what its jobs put on the ground within this. [1] (contract)"""

MAP_SHARE = 1e-3
"""Shapes of a map are drawn within this share of the field's longer side: less than a pixel. [1]"""
