"""Thresholds of ``papers``: one home, a unit and a reason each."""

from __future__ import annotations

EXPORT_GRID_DEG = 1e-8
"""Shapes are put on this grid to be written: a millimetre, finer than any receiver. [deg]"""

HAIR_DEG = 1e-11
"""Half the width of ground that is none in degrees: a micrometre, a thousand steps of a number of that size. [deg]"""

WALKED_LINE_M = 0.1
"""How closely a strip's middle line is kept in the GPX file: a phone cannot tell less. [m]"""

PICTURE_SIDE_PX = 2000
"""Longest side of the map's rate picture: bounds the page's size whatever the field's. [px]"""

GRID_CELLS = 10_000_000
"""Most cells of an exported grid; a wider job is written at a coarser cell. [1] Some 600 MB while it is made."""

LIKELY = 0.5
"""A strip at least this probable counts as likely real. [1]"""

JUDGED = {
    ("autonomous", "classical"): (200, 176, 171),
    ("autonomous", "berkson"): (200, 178, 185),
    ("differential", "classical"): (200, 181, 176),
    ("differential", "berkson"): (200, 189, 187),
    ("RTK fixed", "classical"): (200, 186, 178),
    ("RTK fixed", "berkson"): (200, 185, 187),
}
"""Unseen simulated jobs of each class of fixes and regime (by hand, guided by the receiver that logged), and in how
many the range held the missed and the double ground: the first table of reports/calibration.md. [1]"""

ENOUGH_JUDGED = 200
"""So many jobs show a share of nine in ten to within four in a hundred. [1]"""

SHEET_STRIPS = 12
"""Rows of the field sheet, so that it stays on one page; the report and touchup.json have all. [1]"""

LEAST_PLACE_M2 = 1.0
"""Smaller places outside or in no-spray ground are totalled, not listed. [m2] A square metre is
less than one nozzle wets in a second; boundaries and positions are seldom known that well."""

ROWS_SHOWN = 12
"""Rows of a list that are open at first; the rest folds out, so that the page stays readable. [1]"""

LISTED_STRIPS = 5
"""Missed strips named on the terminal; the report and summary.json have them all. [1]"""

LISTED_FAILURES = 10
"""Jobs that failed, named on the terminal; the ledger has them all. [1]"""

WALK_SHOWN = 6
CAUTIONS_SHOWN = 3
"""Places worth a walk, and cautions, that are open at first: the answer fits two screens of a phone, all that is open
six. [1]"""
