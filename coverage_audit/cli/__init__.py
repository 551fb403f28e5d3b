"""The command: arguments in, text and files out; the only room that catches, prints, exits and writes.

In: arguments. Out: an exit code. May touch: everything below, the terminal, the disk.
"""

from .command import TRACEBACK_VARIABLE, main

__all__ = ["TRACEBACK_VARIABLE", "main"]
