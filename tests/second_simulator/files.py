"""A played job as the files that a logger, a switch and an outline leave, and its truth beside them."""

from __future__ import annotations

import datetime as dt
import functools
import json
import operator
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING

import numpy as np
import pyproj
import shapely
from shapely import affinity

from .cases import Case, Played, play
from .truth import Truth

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

START = dt.datetime(2026, 5, 12, 6, 0, tzinfo=dt.UTC)
SAMPLE_S = 2.0  # places of the boom kept beside the truth
TRUTH = "truth.npz"


@dataclass(frozen=True)
class Kept:
    """What the judge knows of a job: its truth, and where the receiver's error stood when the boom sprayed.

    ``boom_m`` (n, 2) logged places of the boom's centre while spraying, ``error_m`` (n, 2) the error at each.
    """

    truth: Truth
    origin: tuple[float, float]
    width_m: float
    boom_m: NDArray[np.float64]
    error_m: NDArray[np.float64]

    @functools.cached_property
    def _to_plane(self) -> pyproj.Transformer:
        return pyproj.Transformer.from_proj("EPSG:4326", _plane(*self.origin), always_xy=True)

    def share_missed(self, degrees: BaseGeometry) -> tuple[float, float]:
        """Share truly missed of a polygon in degrees: as told, and after taking the receiver's error off its place.

        The error is the mean over the moments when the boom sprayed beside the polygon: a strip that truly lies between
        two passes is found there, wherever the receiver put both.
        """
        polygon = shapely.transform(degrees, lambda xy: np.column_stack(self._to_plane.transform(*xy.T)))
        near = shapely.distance(polygon, shapely.points(self.boom_m)) < self.width_m / 2 + 1.0
        told = self.truth.missed_share(polygon)
        if not near.any():
            return told, told
        east, north = self.error_m[near].mean(axis=0)
        return told, self.truth.missed_share(affinity.translate(polygon, -east, -north))


def kept_job(folder: Path, case: Case) -> tuple[Path, Kept]:
    """Job file and truth of *case* below *folder*, played only when they are not there yet."""
    home = folder / case.name
    if not (home / TRUTH).exists():
        _write(home, play(case))
    with np.load(home / TRUTH) as data:
        areas, turn, first = data["areas"], float(data["frame"][0]), float(data["frame"][1])
        truth = Truth(*(float(a) for a in areas), turn, first, data["column"], data["missed"])
        lat, lon, width = (float(x) for x in data["place"])
        return home / "job.toml", Kept(truth, (lat, lon), width, data["boom"], data["error"])


def _write(home: Path, played: Played) -> None:
    home.mkdir(parents=True, exist_ok=True)
    rng = np.random.default_rng([played.case.seed, 77])
    origin = (float(rng.uniform(-45, 58)), float(rng.uniform(-170, 170)))
    to_degrees = pyproj.Transformer.from_proj(_plane(*origin), "EPSG:4326", always_xy=True)
    drive, machine = played.drive, played.machine
    times = np.arange(0, np.floor(drive.times_s[-1] * played.case.hz)) / played.case.hz
    _, heading = drive.pose(times)
    right = machine.antenna_right_m * np.column_stack([np.sin(heading), -np.cos(heading)])
    antenna = drive.ahead(times, machine.antenna_ahead_of_axle_m) + right + played.wander.at(times)
    lon, lat = to_degrees.transform(*antenna.T)
    nearest = np.clip(np.rint(times / played.wander.step_s).astype(int), 0, len(played.wander.quality) - 1)
    phone = played.receiver.quality == 1 and played.receiver.stated_m is None and played.receiver.hdop is None
    if phone:
        (home / "track.gpx").write_text(_gpx(lat, lon, times), encoding="ascii")
    else:
        text = _nmea(played, lat, lon, times, played.wander.quality[nearest])
        (home / "track.nmea").write_text(text, encoding="ascii", newline="\r\n")
    outline = shapely.transform(played.field.target, lambda xy: np.column_stack(to_degrees.transform(*xy.T)))
    feature = {"type": "Feature", "properties": {"name": "Field"}, "geometry": shapely.geometry.mapping(outline)}
    collection = {"type": "FeatureCollection", "features": [feature]}
    (home / "field.geojson").write_text(json.dumps(collection), encoding="ascii")
    rows = "".join(f"{_stamp(on)},{_stamp(off)}\n" for on, off in drive.on_s)
    (home / "boom.csv").write_text("on,off\n" + rows, encoding="ascii")
    (home / "job.toml").write_text(_job(played, phone=phone), encoding="ascii")
    drawn = {"receiver": asdict(played.receiver), "driver": asdict(played.driver), "machine": asdict(machine)}
    (home / "drawn.json").write_text(json.dumps(drawn, indent=1), encoding="ascii")
    _keep(home, played, origin)


def _keep(home: Path, played: Played, origin: tuple[float, float]) -> None:
    times = np.concatenate([np.append(np.arange(on, off, SAMPLE_S), off) for on, off in played.drive.on_s])
    error, truth = played.wander.at(times), played.truth
    np.savez_compressed(
        home / TRUTH,
        areas=[truth.target_m2, truth.missed_m2, truth.double_m2],
        frame=[truth.turn_rad, truth.first_m],
        column=truth.column,
        missed=truth.missed_m,
        place=[*origin, played.machine.width_m],
        boom=played.drive.ahead(times, -played.machine.boom_behind_axle_m) + error,
        error=error,
    )


def _plane(lat: float, lon: float) -> pyproj.Proj:
    return pyproj.CRS.from_proj4(f"+proj=laea +lat_0={lat!r} +lon_0={lon!r} +ellps=WGS84 +units=m +type=crs")


def _stamp(seconds: float) -> str:
    return (START + dt.timedelta(seconds=round(float(seconds), 3))).isoformat(timespec="milliseconds")


def _job(played: Played, *, phone: bool) -> str:
    machine = played.machine
    axle = f'axle_behind_antenna = "{machine.antenna_ahead_of_axle_m:.4f} m"\n' if machine.axle_stated else ""
    sigma = "" if played.stated_sigma_m is None else f'sigma = "{played.stated_sigma_m:.4f} m"\n'
    intervals = "assume" if played.case.stress == "assume" else "boom.csv"
    ahead = f'antenna_ahead = "{machine.boom_behind_axle_m + machine.antenna_ahead_of_axle_m:.4f} m"\n'
    placed = "" if played.case.stress == "unplaced" else f"{ahead}{axle}"
    return (
        f'[field]\nboundary = "field.geojson"\n[track]\nfiles = ["track.{"gpx" if phone else "nmea"}"]\n'
        f'[boom]\nwidth = "{machine.width_m} m"\nintervals = "{intervals}"\n'
        f'{placed}[accuracy]\nsteering = "{played.case.steering}"\n{sigma}'
    )


def _gpx(lat: NDArray[np.float64], lon: NDArray[np.float64], times: NDArray[np.float64]) -> str:
    points = "".join(
        f'<trkpt lat="{a:.9f}" lon="{b:.9f}"><time>{_stamp(t).replace("+00:00", "Z")}</time></trkpt>\n'
        for a, b, t in zip(lat, lon, times, strict=True)
    )
    head = '<?xml version="1.0"?>\n<gpx version="1.1" creator="second simulator" xmlns="http://www.topografix.com/GPX/1/1">'
    return f"{head}\n<trk><trkseg>\n{points}</trkseg></trk>\n</gpx>\n"


def _nmea(played: Played, lat, lon, times, quality) -> str:
    """RMC and GGA of every fix (1e-7 minute: 0.2 mm), GST when this receiver sends it."""
    hdop = "" if played.receiver.hdop is None else f"{played.receiver.hdop:.1f}"
    stated = played.receiver.stated_m
    lines = []
    for a, b, t, fix in zip(lat, lon, times, quality, strict=True):
        moment = START + dt.timedelta(seconds=round(float(t), 3))
        clock = f"{moment:%H%M%S}.{moment.microsecond // 10000:02d}"
        place = f"{_minutes(a, 2)},{'S' if a < 0 else 'N'},{_minutes(b, 3)},{'W' if b < 0 else 'E'}"
        mode = {1: "A", 2: "D", 4: "R", 5: "F"}[int(fix)]
        lines.append(_sentence(f"GNRMC,{clock},A,{place},,,{moment:%d%m%y},,,{mode}"))
        lines.append(_sentence(f"GNGGA,{clock},{place},{fix},12,{hdop},320.0,M,45.0,M,,"))
        if stated is not None:
            lines.append(_sentence(f"GNGST,{clock},,,,,{stated:.3f},{stated:.3f},{2 * stated:.3f}"))
    return "\n".join(lines) + "\n"


def _minutes(degrees: float, digits: int) -> str:
    whole, rest = divmod(round(abs(float(degrees)) * 60e7), 60 * 10**7)
    return f"{whole:0{digits}d}{rest / 1e7:010.7f}"


def _sentence(body: str) -> str:
    return f"${body}*{functools.reduce(operator.xor, body.encode(), 0):02X}"
