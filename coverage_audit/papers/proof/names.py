"""Names that several modules of the proof share: files, schema, places, and what stands for nothing said."""

PRIVATE, SALTS, PUBLIC = "seller.private", "seller.salts", "seller.public"
"""What signs, what keeps withheld figures from being guessed, and what goes to buyers."""

ENDED_FILE = "key-ended.json"
"""The notice that a key has ended."""

CHECKER = "check-a-proof.html"
"""The page that checks a proof without anything installed."""

SCHEMA = "coverage-audit proof 2"
PLACES = ("exact", "blurred", "none")
MISSING = "not stated"
LIBRARIES = ("numpy", "shapely", "pyproj", "gpxpy")
