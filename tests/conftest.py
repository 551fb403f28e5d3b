"""A small job on disk that the tests of the doors share.

Field 100 x 60 m, ten 10 m passes driven due north, 1 fix a second at 2 m/s, boom on along
each pass and off in between. ``SmallJob.change`` swaps one file or key, so that a test shows
only what is wrong in it.
"""

from __future__ import annotations

import datetime as dt
import json
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

import pytest
from hypothesis import settings
from pyproj import Geod

from coverage_audit.cli import command as cli

# a busy machine must not fail an example by being slow; speed lives in tests/bench
settings.register_profile("unhurried", deadline=None)
settings.load_profile("unhurried")

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

GEOD = Geod(ellps="WGS84")
LAT, LON = 43.6, -116.2
START = dt.datetime(2026, 5, 30, 13, tzinfo=dt.UTC)
WIDTH_M, PASSES, LENGTH_M, SPEED_M_S = 10.0, 10, 60.0, 2.0

JOB_TOML = """\
[job]
name = "small job"
timezone = "America/Denver"
[field]
boundary = "boundary.geojson"
[track]
files = ["track.gpx"]
[boom]
width = "10 m"
intervals = "boom.csv"
antenna_ahead = "0 m"
"""


def place(east_m: float, north_m: float) -> tuple[float, float]:
    """Longitude and latitude of a place so far from the field's corner."""
    lon, lat, _ = GEOD.fwd(LON, LAT, 90.0, east_m)
    lon, lat, _ = GEOD.fwd(lon, lat, 0.0, north_m)
    return lon, lat


def stamp(seconds: float) -> str:
    """ISO 8601 time so long after the start."""
    return (START + dt.timedelta(seconds=seconds)).isoformat().replace("+00:00", "Z")


def drive() -> tuple[list[tuple[float, float, float]], list[tuple[float, float]]]:
    """Drive ten straight passes north; fixes (seconds, east, north) and on/off times [s]."""
    fixes: list[tuple[float, float, float]] = []
    intervals = []
    clock = 0
    steps = int(LENGTH_M / SPEED_M_S)
    for number in range(PASSES):
        east = WIDTH_M * (number + 0.5)
        intervals.append((float(clock + 5), float(clock + 5 + steps)))
        north_run = [(clock + k, east, -10.0 + SPEED_M_S * k) for k in range(steps + 11)]
        clock += steps + 11
        back = [(clock + k, east + WIDTH_M * (k + 1) / 41, 70.0 - SPEED_M_S * k) for k in range(40)]
        clock += 40
        fixes += north_run + back
    return fixes, intervals


def gpx_of(fixes: list[tuple[float, float, float]], *, times: bool = True) -> str:
    """GPX 1.1 text of fixes (seconds, east, north)."""
    points = []
    for seconds, east, north in fixes:
        lon, lat = place(east, north)
        time = f"<time>{stamp(seconds)}</time>" if times else ""
        points.append(f'<trkpt lat="{lat:.9f}" lon="{lon:.9f}">{time}</trkpt>')
    return (
        '<?xml version="1.0"?>\n<gpx xmlns="http://www.topografix.com/GPX/1/1" version="1.1" creator="test">\n'
        "<trk><trkseg>\n" + "\n".join(points) + "\n</trkseg></trk></gpx>\n"
    )


def geojson_of(rings: list[list[tuple[float, float]]], kind: str = "Polygon", name: str = "Lower meadow") -> str:
    """GeoJSON text of one feature."""
    geometry = {"type": kind, "coordinates": rings}
    feature = {"type": "Feature", "properties": {"name": name}, "geometry": geometry}
    return json.dumps({"type": "FeatureCollection", "features": [feature]})


@dataclass(frozen=True)
class SmallJob:
    """The folder of a small job."""

    folder: Path
    place = staticmethod(place)
    stamp = staticmethod(stamp)
    drive = staticmethod(drive)
    gpx_of = staticmethod(gpx_of)
    geojson_of = staticmethod(geojson_of)

    @property
    def path(self) -> Path:
        """The job file."""
        return self.folder / "job.toml"

    def write(self, name: str, content: str | bytes) -> Path:
        """Replace one file."""
        path = self.folder / name
        path.write_bytes(content.encode() if isinstance(content, str) else content)
        return path

    def read(self, name: str) -> str:
        """Text of one file."""
        return (self.folder / name).read_text(encoding="utf-8")

    def change(self, key: str, value: str, table: str) -> None:
        """Set one key of the job file to TOML text."""
        text = re.sub(rf"^{key} = .*\n", "", self.read("job.toml"), flags=re.MULTILINE)
        if f"[{table}]\n" not in text:
            text += f"[{table}]\n"
        self.write("job.toml", text.replace(f"[{table}]\n", f"[{table}]\n{key} = {value}\n"))


@pytest.fixture
def small_job(tmp_path: Path) -> SmallJob:
    """Write a job that is right in everything, in a folder of its own."""
    folder = tmp_path / "job"
    folder.mkdir()
    job = SmallJob(folder)
    fixes, intervals = drive()
    corners = [place(*corner) for corner in ((0, 0), (100, 0), (100, 60), (0, 60), (0, 0))]
    job.write("job.toml", JOB_TOML)
    job.write("track.gpx", gpx_of(fixes))
    job.write("boundary.geojson", geojson_of([corners]))
    job.write("boom.csv", "on,off\n" + "".join(f"{stamp(on)},{stamp(off)}\n" for on, off in intervals))
    return job


@pytest.fixture
def check(
    small_job: SmallJob, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> Callable[..., tuple[int, str, Path]]:
    """Run ``check`` with options on the small job as it stands; (exit code, standard error, output folder)."""

    def run(*options: str) -> tuple[int, str, Path]:
        out = tmp_path / "out"
        code = cli.main(["check", str(small_job.path), "-o", str(out), "--quiet", *options])
        captured = capsys.readouterr()
        assert captured.out == ""
        return code, captured.err, out

    return run
