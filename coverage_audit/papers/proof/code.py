"""The code to photograph (QR, ISO/IEC 18004) of a record's fingerprint: always of one version, one level and one mask.

So the page that checks a proof can draw it again with a few rules of its own.
"""

from __future__ import annotations

from .sign import library

VERSION, LEVEL, MASK, SIZE, QUIET = 4, "m", 0, 33, 4
"""Version 4 at level M holds 90 letters, and a fingerprint has 64; any mask is read alike. Side, quiet zone. [1]"""


def code_of(mark: str) -> list[list[bool]]:
    """Dark modules of the code of *mark*, shape (SIZE, SIZE), row by row from the top."""
    capitals = mark.upper()  # letters that the alphanumeric mode has
    made = library("segno").make(
        capitals, mode="alphanumeric", version=VERSION, error=LEVEL, mask=MASK, boost_error=False
    )
    return [[bool(dark) for dark in line] for line in made.matrix]


def code_path(mark: str) -> str:
    """Path of an SVG in modules: one rectangle for each run of dark ones."""
    return "".join(f"M{left},{top}h{wide}v1h-{wide}z" for left, top, wide in runs(code_of(mark), QUIET))


def runs(rows: list[list[bool]], quiet: int = 0) -> list[tuple[int, int, int]]:
    """(left, top, width) of every run of dark modules, *quiet* modules from left and top."""
    found = []
    for top, line in enumerate(rows):
        left = 0
        for place in range(len(line) + 1):
            if place == len(line) or not line[place]:
                if place > left:
                    found.append((left + quiet, top + quiet, place - left))
                left = place + 1
    return found
