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

SAME_REL = 2e-4
"""With other library versions figures may differ by this share of the field. [1]"""
