"""What a reader of track logs says of itself; the registry knows no more of it than this."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Callable

    from coverage_audit.read.records import TrackLog

SWITCH, FLOW, PRESSURE, SEGMENTS, MARKS, QUALITY = "switch", "flow", "pressure", "segments", "marks", "quality"
"""What a form can hold beside times and places, named as in ``TrackLog`` and ``Fixes``."""


@dataclass(frozen=True)
class Asked:
    """What a job says of its logs that a file may leave open.

    ``date``: UTC date of the first fix. ``timezone``: of local times without one, "" where the job names none.
    ``tasks`` and ``device``: which of several; () and "" where there is one. ``each_task``: every task is wanted, as a
    log of its own.
    """

    date: dt.date | None = None
    timezone: str = ""
    tasks: tuple[str, ...] = ()
    device: str = ""
    each_task: bool = False


@dataclass(frozen=True)
class TrackForm:
    """One form of track log.

    ``knows``: which of the words above a log of this form can hold at all. ``recognises``: whether
    bytes are of this form; they may be of any kind and size. ``read``: a log of (bytes, name of the
    file, what the job says of its logs), or an ``InputError``.
    """

    name: str
    knows: frozenset[str]
    recognises: Callable[[bytes], bool]
    read: Callable[[bytes, str, Asked], TrackLog]
