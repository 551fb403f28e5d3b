"""The command: arguments in, text and files out; the only room that catches, prints, exits and writes.

In: arguments. Out: an exit code. May touch: everything below, the terminal, the disk.
"""

import gc

GARBAGE_AFTER = 100_000
"""Objects made before the interpreter looks for rings of them that nobody holds: a run makes few, and looking through
all that its libraries hold takes a tenth of its time, of reading them a seventh. [1]"""

gc.set_threshold(GARBAGE_AFTER)  # before the libraries are read

from .command import TRACEBACK_VARIABLE, main  # noqa: E402

__all__ = ["TRACEBACK_VARIABLE", "main"]
