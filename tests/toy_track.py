"""An invented form of track log, as a new reader would be written: one module, one form."""

import hashlib

import numpy as np

from coverage_audit.errors import InputError
from coverage_audit.read.records import Fixes, SwitchChange, TrackLog
from coverage_audit.read.tracks.form import SWITCH, TrackForm

HEAD = b"toy log\n"


def read_toy(data, name, _asked):
    """Read lines of seconds since 1970, latitude, longitude and 1 or 0 for the boom."""
    try:
        rows = np.array([line.split(b" ") for line in data.removeprefix(HEAD).splitlines()], float).reshape(-1, 4)
    except ValueError as error:
        raise InputError("a line of it is not four numbers; export it again", name) from error
    time, lat, lon, on = rows.T
    changes = np.flatnonzero(np.diff(on, prepend=0.0))
    return TrackLog(
        file=name,
        sha256=hashlib.sha256(data).hexdigest(),
        form=TOY.name,
        fixes=Fixes(
            *(time, lat, lon),
            *(np.full(len(time), np.nan) for _ in ("course", "speed")),
            *(np.full(len(time), -1) for _ in ("quality", "satellites")),
            *(np.full(len(time), np.nan) for _ in ("hdop", "gst")),
            np.zeros(len(time), np.int64),
        ),
        fixes_read=len(time),
        dropped={"bad_checksum": 0},
        switch=tuple(SwitchChange(float(time[at]), 0, bool(on[at])) for at in changes),
        has_switch=True,
    )


TOY = TrackForm("toy log", frozenset({SWITCH}), lambda data: data.startswith(HEAD), read_toy)
