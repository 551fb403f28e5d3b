"""Read an NMEA 0183 log: sentences of one epoch become one fix, XDR becomes switch, flow and pressure.

Within an epoch the position is that of the valid sentence which writes its latitude with the most
digits; among equals GGA comes before GNS, RMC and GLL. Speed and course come from RMC, else VTG;
HDOP from GGA or GNS, else GSA. An epoch is void when any of its sentences says so, unless another
talker's sentence of the same kind says the opposite.
"""

from __future__ import annotations

import datetime as dt
import hashlib
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from coverage_audit.errors import InputError
from coverage_audit.facts import Caution
from coverage_audit.read import tolerances as tol
from coverage_audit.read.records import Fixes, TrackLog
from coverage_audit.units import DAY_S

from .faults import find_faults, refuse_unusable, within_turn
from .form import FLOW, PRESSURE, QUALITY, SWITCH, TrackForm
from .nmea_collect import collect
from .nmea_sentences import POSITION_DECODERS, has_sentence
from .nmea_transducers import owner_epochs

if TYPE_CHECKING:
    from coverage_audit.arrays import BoolArray, FloatArray, IntArray

    from .nmea_collect import Sentences
    from .nmea_sentences import Tally

_NOT_MEASURED = {6: "estimated", 7: "typed in", 8: "simulated"}


def read_nmea(data: bytes, name: str, job_date: dt.date | None = None) -> TrackLog:
    """Read an NMEA 0183 log.

    Parameters
    ----------
    data : bytes
        Content of the file.
    name : str
        File name, for messages and ``TrackLog.file``.
    job_date : datetime.date, optional
        UTC date of the first usable fix. Needed when the log has no date; when it has one,
        it tells whether the receiver's week counter rolled over.

    Returns
    -------
    TrackLog
        One fix an epoch, in the order in which the epochs begin in the file.

    Raises
    ------
    InputError
        No position sentence with a time, no epoch that can be used, or no date.
    """
    sentences = collect(data)
    if not len(sentences.tod_s):
        raise InputError(_why_empty(sentences.tally), name)
    epochs = _merge(sentences)
    usable, dropped = find_faults(epochs.tod_s, epochs.lat_deg, epochs.lon_deg)
    if not usable.any():
        refuse_unusable(name, "epoch", dropped, epochs.lat_deg, epochs.lon_deg)
    kept = np.flatnonzero(usable)
    days, cautions = _days(epochs, kept, job_date, name)
    time_s = days * DAY_S + epochs.tod_s
    transducers = sentences.transducers
    timed = sentences.timed
    switch = transducers.switch_changes(timed, time_s, kept)
    fixes = _fixes(epochs, time_s, kept)
    tally = sentences.tally
    notes = {label: count for label, count in _noted(tally, fixes).items() if count}
    return TrackLog(
        file=name,
        sha256=hashlib.sha256(data).hexdigest(),
        form=NMEA.name,
        times_of_day=True,
        fixes=fixes,
        fixes_read=len(usable),
        dropped={"bad_checksum": tally.bad_checksum, **dropped},
        notes=notes,
        switch=switch,
        has_switch=transducers.has_switch,
        flow=transducers.series("FLOW", timed, time_s),
        pressure=transducers.series("PRESSURE", timed, time_s),
        cautions=(*cautions, *_cautions(name, tally, notes), *transducers.cautions(name, timed, len(usable))),
    )


def _why_empty(tally: Tally) -> str:
    if tally.bad_checksum:
        return f"no sound sentence with position and time ({tally.bad_checksum} have a bad checksum); log the job again"
    return "has no times: no RMC, GGA, GNS or GLL sentence states one; set the receiver to send RMC and GGA"


# --- merging --------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Epochs:
    """Merged epochs in file order; arrays of shape (n,), NaN where nothing is stated.

    ``day``: date of its own [days since 1970]; ``dated``: that date can be trusted, as nothing in
    the epoch says it is void.
    """

    tod_s: FloatArray
    lat_deg: FloatArray
    lon_deg: FloatArray
    course_deg: FloatArray
    speed_m_s: FloatArray
    quality: FloatArray
    satellites: FloatArray
    hdop: FloatArray
    gst_m: FloatArray
    day: FloatArray
    dated: BoolArray


def _last_stated(count: int, *sources: tuple[IntArray, FloatArray]) -> FloatArray:
    """Column of *count* epochs filled from (epoch, value) pairs: the last finite value wins."""
    column = np.full(count, np.nan)
    for epoch, value in sources:
        stated = np.isfinite(value) & (epoch >= 0)
        column[epoch[stated]] = value[stated]
    return column


def _merge(sentences: Sentences) -> _Epochs:
    tod, epoch, column = sentences.tod_s, sentences.epoch, sentences.column
    count = len(tod)
    valid = column["valid"] == 1.0
    void = _void(count, epoch, sentences.rank, valid)

    placed = np.flatnonzero(valid & np.isfinite(column["lat"]) & np.isfinite(column["lon"]))
    placed = placed[np.argsort(column["digits"][placed], kind="stable")]  # the most digits last
    lat = _last_stated(count, (epoch[placed], column["lat"][placed]))
    lon = _last_stated(count, (epoch[placed], column["lon"][placed]))
    lat[void] = lon[void] = np.nan

    vtg_epoch, speed, course = _beside(sentences, "VTG")
    gsa_epoch, _, hdop = _beside(sentences, "GSA")
    day = _last_stated(count, (epoch[~valid], column["day"][~valid]), _zda_days(sentences, tod),
                       (epoch[valid], column["day"][valid]))  # fmt: skip
    satellites = np.full(count, -1.0)  # the most, as some receivers count each satellite system apart
    np.fmax.at(satellites, epoch, column["satellites"])
    return _Epochs(
        tod_s=tod,
        lat_deg=lat,
        lon_deg=within_turn(lon),
        course_deg=_last_stated(count, (vtg_epoch, course), (epoch, column["course"])),
        speed_m_s=_last_stated(count, (vtg_epoch, speed), (epoch, column["speed"])),
        quality=_last_stated(count, (epoch[valid], column["quality"][valid])),
        satellites=satellites,
        hdop=_last_stated(count, (gsa_epoch, hdop), (epoch, column["hdop"])),
        gst_m=_gst(sentences, tod),
        day=day,
        dated=np.isfinite(day) & ~void,
    )


def _beside(sentences: Sentences, kind: str) -> tuple[IntArray, FloatArray, FloatArray]:
    """Epoch and the two values of each sentence of a kind that has no time."""
    aside = sentences.aside[kind]
    return owner_epochs(aside.before, sentences.timed, leads=aside.leads), aside.first, aside.second


def _zda_days(sentences: Sentences, tod_s: FloatArray) -> tuple[IntArray, FloatArray]:
    """Epochs next to ZDA sentences, and their dates by it."""
    aside = sentences.aside["ZDA"]
    time, day = aside.first, aside.second
    stated = np.isfinite(time) & np.isfinite(day)
    epoch = sentences.timed[np.maximum(aside.before[stated] - 1, 0)]
    return epoch, day[stated] + _midnights(tod_s[epoch] - time[stated])


def _gst(sentences: Sentences, tod_s: FloatArray) -> FloatArray:
    """Give the epochs near each GST sentence that have its time its deviation [m]; NaN elsewhere."""
    aside = sentences.aside["GST"]
    time, deviation = aside.first, aside.second
    here = sentences.timed[np.maximum(aside.before - 1, 0)]
    column = np.full(len(tod_s), np.nan)
    for away in range(-tol.EPOCH_LOOKBACK, tol.EPOCH_LOOKBACK + 1):
        epoch = np.clip(here + away, 0, len(tod_s) - 1)
        same = tod_s[epoch] == time
        column[epoch[same]] = deviation[same]
    return column


def _void(count: int, epoch: IntArray, rank: IntArray, valid: BoolArray) -> BoolArray:
    """Whether some kind of sentence calls the epoch void and none of that kind calls it valid."""
    void = np.zeros(count, dtype=np.bool_)
    for kind in range(len(POSITION_DECODERS)):
        of_kind = np.zeros(count, dtype=np.bool_)
        of_kind[epoch[(rank == kind) & ~valid]] = True
        of_kind[epoch[(rank == kind) & valid]] = False
        void |= of_kind
    return void


def _fixes(epochs: _Epochs, time_s: FloatArray, kept: IntArray) -> Fixes:
    quality = epochs.quality[kept]
    return Fixes(
        time_s=time_s[kept],
        lat_deg=epochs.lat_deg[kept],
        lon_deg=epochs.lon_deg[kept],
        course_deg=epochs.course_deg[kept],
        speed_m_s=epochs.speed_m_s[kept],
        quality=np.where(np.isnan(quality), -1.0, quality).astype(np.int64),
        satellites=epochs.satellites[kept].astype(np.int64),
        hdop=epochs.hdop[kept],
        gst_m=epochs.gst_m[kept],
        segment=np.zeros(len(kept), dtype=np.int64),
    )


# --- dates ----------------------------------------------------------------------------------


def _midnights(step_s: FloatArray) -> IntArray:
    """Midnights passed by steps of the time of day: the date that makes each shorter than half a day."""
    return -np.rint(step_s / DAY_S).astype(np.int64)


def _days(epochs: _Epochs, kept: IntArray, job_date: dt.date | None, name: str) -> tuple[IntArray, list[Caution]]:
    """Date of every epoch [days since 1970] and cautions about the dates.

    An epoch without a date takes that of the dated one before it, else of the first after it,
    counting midnights in between. Void epochs are stepped over: a receiver without a fix may
    report any time.
    """
    count = len(epochs.tod_s)
    solid = epochs.dated.copy()
    solid[kept] = True
    anchored = epochs.dated
    if not anchored.any():  # only void epochs state a date
        anchored = np.isfinite(epochs.day)
        solid |= anchored
    chain = np.flatnonzero(solid)
    midnights = np.concatenate([[0], np.cumsum(_midnights(np.diff(epochs.tod_s[chain])))])
    anchors = np.flatnonzero(anchored[chain])
    first = int(np.searchsorted(chain, kept[0]))
    if len(anchors):
        source = anchors[np.maximum(np.searchsorted(anchors, np.arange(len(chain)), side="right") - 1, 0)]
        start = epochs.day[chain[source]].astype(np.int64) - midnights[source]
    elif job_date is not None:
        start = np.full(len(chain), _day_of(job_date))  # the chain begins at the first usable fix
    else:
        raise InputError("the log has no date (no RMC or ZDA); set job.date to the UTC date of its first fix", name)
    days, cautions = _week_rollovers(start + midnights, first, job_date, name)
    before = np.maximum(np.searchsorted(chain, np.arange(count), side="right") - 1, 0)
    return days[before] + _midnights(epochs.tod_s - epochs.tod_s[chain[before]]), cautions


def _day_of(date: dt.date) -> int:
    return (date - dt.date(1970, 1, 1)).days


def _week_rollovers(days: IntArray, first: int, job_date: dt.date | None, name: str) -> tuple[IntArray, list[Caution]]:
    """Add the multiples of 1024 weeks that the receiver lost, when job.date or the year shows it."""
    period = tol.WEEK_ROLLOVER_DAYS
    logged = dt.date(1970, 1, 1) + dt.timedelta(days=int(days[first]))
    lost = np.zeros_like(days)
    if job_date is not None:
        away = _day_of(job_date) - int(days[first])
        if away > 0 and abs(away - period * round(away / period)) <= tol.JOB_DATE_SLACK_DAYS:
            lost = np.maximum(np.rint((_day_of(job_date) - days) / period).astype(np.int64), 0)
        elif abs(away) > tol.JOB_DATE_SLACK_DAYS:
            return days, [Caution("job date differs", file=name, job_date=str(job_date), logged=str(logged))]
    else:
        oldest = _day_of(dt.date.fromisoformat(tol.ROLLED_OVER_BEFORE))
        lost = np.maximum(-((days - oldest) // period), 0)
    if lost[first] > 0:
        right = logged + dt.timedelta(weeks=1024 * int(lost[first]))
        return days + period * lost, [Caution("week rolled over", file=name, logged=str(logged), right=str(right))]
    if job_date is None and logged < dt.date.fromisoformat(tol.DATE_DOUBTFUL_BEFORE):
        return days, [Caution("week doubtful", file=name, logged=str(logged))]
    return days + period * lost, []


# --- what to tell ---------------------------------------------------------------------------


def _noted(tally: Tally, fixes: Fixes) -> dict[str, int]:
    missing = tally.no_checksum if tally.checksums_used else 0
    not_measured = {f"quality_{code}": int((fixes.quality == code).sum()) for code in _NOT_MEASURED}
    return {**tally.notes, "no_checksum": missing, **not_measured}


def _cautions(name: str, tally: Tally, notes: dict[str, int]) -> list[Caution]:
    cautions = []
    if not tally.checksums_used:
        cautions.append(Caution("no checksums", file=name))
    if strays := notes.get("broken_begin", 0):
        cautions.append(Caution("sentences broken", file=name, count=strays))
    for code, kind in _NOT_MEASURED.items():
        count = notes.get(f"quality_{code}", 0)
        if count:
            cautions.append(Caution("positions not measured", file=name, count=count, kind=kind))
    return cautions


_KNOWS = frozenset({SWITCH, FLOW, PRESSURE, QUALITY})
NMEA = TrackForm("NMEA 0183", _KNOWS, has_sentence, lambda data, name, asked: read_nmea(data, name, asked.date))
"""As the registry knows it."""
