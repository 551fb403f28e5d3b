"""Several logs of one zip file as one: a day that a logger wrote in parts."""

from __future__ import annotations

from collections import Counter
from dataclasses import fields, replace
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from coverage_audit.errors import InputError
from coverage_audit.read.records import Fixes

if TYPE_CHECKING:
    from collections.abc import Sequence

    from coverage_audit.read.records import TrackLog


def joined(logs: Sequence[TrackLog], file: str) -> TrackLog:
    """One log of the fixes, switches and marks of *logs*, which lie one after the other in time.

    Parameters
    ----------
    logs : sequence of TrackLog
        With at least one fix each.
    file : str
        Name of the zip file.

    Raises
    ------
    InputError
        They overlap in time, or some of them log the boom and some do not.
    """
    if len(logs) == 1:
        return logs[0]
    logs = sorted(logs, key=lambda log: float(log.fixes.time_s.min()))
    for one, other in pairwise(logs):
        if other.fixes.time_s.min() <= one.fixes.time_s.max():
            raise InputError(f"{one.file} and {other.file} tell of the same time; unpack them, and keep one", file)
    if len({log.has_switch for log in logs}) > 1:
        raise InputError("some of its logs tell when the boom was on and some do not; unpack them", file)
    first = np.cumsum([0, *(int(log.fixes.segment.max()) + 1 for log in logs)])
    columns = {
        column.name: np.concatenate([getattr(log.fixes, column.name) for log in logs]) for column in fields(Fixes)
    }
    columns["segment"] = np.concatenate([log.fixes.segment + base for log, base in zip(logs, first[:-1], strict=True)])
    return replace(
        logs[0],
        file=file,
        fixes=Fixes(**columns),
        fixes_read=sum(log.fixes_read for log in logs),
        dropped=dict(sum((Counter(log.dropped) for log in logs), Counter())),
        notes=dict(sum((Counter(log.notes) for log in logs), Counter())),
        switch=tuple(change for log in logs for change in log.switch),
        marks=tuple(mark for log in logs for mark in log.marks),
        flow=None,
        pressure=None,
        cautions=tuple(one for log in logs for one in log.cautions),
    )
