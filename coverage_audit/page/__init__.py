"""The page: requests of one person's own browser in, a job's files and papers out.

In: requests to 127.0.0.1 with this run's cookie. Out: screens, and files of the farm folder. May touch: run and the
job sheet, the farm folder, one socket of this computer. Computes and words nothing itself.
"""

from .server import Door, open_door, serve

__all__ = ["Door", "open_door", "serve"]
