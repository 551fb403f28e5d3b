"""Bounds of coverage proofs: one home, a unit and a reason each."""

LARGEST_BYTES = 5_000_000
"""Larger files are no proof: the record of a field with 50 000 corners has 2.5 MB. [bytes]"""

LONGEST_TYPED = 300
"""Typed text that one line of a paper shows: what a label says of hay takes 60 to 200 letters. [letters]"""

LONGEST_ROW = 600
"""Letters of one row of a paper, where several typed texts are joined; so many fit on a page. [letters]"""

LONGEST_NAME = 80
"""Letters of a file's or a key's name in a sentence. [letters]"""

MOST_PRODUCTS = 50
"""Products, and later jobs, of one proof: a tank mix has a handful, and the paper stays readable. [1]"""

MOST_MAP_POINTS = 5000
"""Corners of the map: on 46 mm of paper more cannot be seen, and each costs time to draw. [1]"""

MOST_MAP_SHAPES = 1000
"""Outline and missed strips of the map. [1]"""

MAP_SIZE = 1000
"""Width or height of the map's box, whichever is larger. [map units]"""

SEEN_UNITS = 0.5
"""Missed ground narrower than this has no place on the map: 0.02 mm of paper. [map units]"""

SAME_REL = 2e-4
"""With other library versions figures may differ by this share of the field. [1]"""

WIDTH_REL = 0.08
"""Passes all over the field this much nearer or farther than the boom is wide: the width is not that of the boom.
Overlap on purpose is 3 to 5 %, common practice, no source. [boom widths]"""

ZONE_H = 4.0
"""Legal time is off the sun's time by 3.5 h at most, summer time and the far west of China counted in; common
knowledge, no source. [h]"""

CUT_EDGE_WIDTHS, BESIDE_WIDTHS, RUN_WIDTHS = 0.5, 3.0, 3.0
"""The boom's middle sprays more than the first beyond the outline, so that its outer end is more than a boom outside;
not farther than the second, where another field may be; for longer than the third, which no late switch is.
[boom widths]"""

STRIP_SHARE, STRIP_RATIO = 0.5, 3.0
"""So much of a no-spray area left unsprayed and narrower than the boom, and so many times as long as wide: a strip
between passes. An island is driven around, or wider than the boom. [1]"""

GUESS_S, GUESS_SHARE = 0.06, 0.5
"""On-times this close to what the program guesses are its own guess, which it writes to a tenth; more than this share
of them: a guess handed in as a log. Not wider: where switching was perfect an honest log lies within 0.5 s of the
guess, so a guess that somebody rounded cannot be told from it. [s], [1]"""
