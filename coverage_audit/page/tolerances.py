"""Limits of ``page``: one home, a unit and a reason each."""

from __future__ import annotations

from coverage_audit.read.tolerances import MAX_FILE_BYTES

MAX_FILE_BODY_BYTES = MAX_FILE_BYTES
"""Most bytes of a file that is dropped on the page. [byte] As for a file that the command reads."""

MAX_WORDS_BODY_BYTES = 256 * 1024
"""Most bytes of anything else that the page sends. [byte] 500 corners and 400 stretches are some 60 kB."""

SLOW_BODY_S = 20.0
"""A body of which nothing comes for this long is given up. [s] It comes from the same computer."""

LONGEST_BODY_S = 300.0
"""A body that takes longer altogether is given up. [s] 256 MiB at the 1 MiB/s of a very slow disk."""

QUIET_S = 3 * 3600.0
"""Without a request for this long the program ends. [s] Longer than a lunch break and shorter than a night."""

LOOK_S = 30.0
"""How often it is looked whether the page has been quiet for too long. [s]"""

TELL_S = 0.25
"""How often a page that waits is told how far the work is. [s] As often as an eye follows."""

MOST_WAITING = 16
"""Most requests at one time. [1] A page has one stream and a handful of others; two windows twice that."""

MOST_KEPT_LOGS = 12
"""Logs that are kept in memory once read. [1] A day's files of two machines."""

BIN_NAME = "bin"
"""Folder of the farm that takes what is thrown away."""
