"""A simulated job as the files that a logger, a switch and a drawn field would have left."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING
from xml.sax.saxutils import escape

import numpy as np
import shapely

from coverage_audit.units import KNOT_M_S

if TYPE_CHECKING:
    from shapely.geometry import Polygon

    from coverage_audit.arrays import BoolArray, FloatArray
    from coverage_audit.drive.plane import Plane

    from .jobs import SimulatedJob

GPX_HEAD = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<gpx version="1.1" creator="coverage-audit simulator" xmlns="http://www.topografix.com/GPX/1/1">\n'
)


def to_gpx_text(job: SimulatedJob, plane: Plane, name: str = "", *, segments: bool = False, marks: bool = False) -> str:
    """GPX 1.1 text of the logged antenna places, nine decimals of a degree (0.1 mm).

    Parameters
    ----------
    segments : bool
        One track segment per stretch with the boom on, nothing between them.
    marks : bool
        A waypoint named "boom on" or "boom off" at each switching, timed to the millisecond.
    """
    stamps = iso_stamps(job.times_s)
    points = np.array(
        [
            f'<trkpt lat="{lat:.9f}" lon="{lon:.9f}"><time>{time}</time></trkpt>'
            for lon, lat, time in zip(*_lonlat(job.logged_m, plane), stamps, strict=True)
        ]
    )
    if segments:
        groups = [points[(job.times_s >= on) & (job.times_s <= off)] for on, off in job.on_intervals]
    else:
        groups = [points]
    body = "".join("<trkseg>\n" + "\n".join(group) + "\n</trkseg>\n" for group in groups if len(group))
    return f"{GPX_HEAD}{_marks(job, plane) if marks else ''}<trk><name>{escape(name)}</name>\n{body}</trk>\n</gpx>\n"


def _marks(job: SimulatedJob, plane: Plane) -> str:
    times = np.array(job.on_intervals).ravel()
    lon, lat = _lonlat(job.path.antenna(times), plane)
    named = zip(lon, lat, iso_stamps(times), ["on", "off"] * len(job.on_intervals), strict=True)
    return "".join(
        f'<wpt lat="{y:.9f}" lon="{x:.9f}"><time>{stamp}</time><name>boom {state}</name></wpt>\n'
        for x, y, stamp, state in named
    )


def to_nmea_text(job: SimulatedJob, plane: Plane, *, switch: bool = True, quality: int = 2) -> str:
    """NMEA 0183 text: RMC and GGA for each fix, and with *switch* an XDR with the boom's state.

    Minutes have seven decimals (0.2 mm), seconds two. Course and speed are those of the true
    antenna, as a receiver measures them apart from place; course is blank when it stands.
    """
    lon, lat = _lonlat(job.logged_m, plane)
    latitude, longitude = nmea_minutes(lat, 2, "NS"), nmea_minutes(lon, 3, "EW")
    velocity = np.gradient(job.antenna_m, 1 / job.scenario.hz, axis=0)
    speed = np.hypot(velocity[:, 0], velocity[:, 1])
    course = np.degrees(np.arctan2(velocity[:, 0], velocity[:, 1])) % 360.0
    on = spraying(job, job.times_s)
    lines = []
    for k, stamp in enumerate(iso_stamps(job.times_s)):
        clock = stamp[11:22].replace(":", "")
        date = stamp[8:10] + stamp[5:7] + stamp[2:4]
        way = f"{course[k]:.2f}" if speed[k] > 0.05 else ""
        place = f"{latitude[k]},{longitude[k]}"
        lines.append(sentence(f"GPRMC,{clock},A,{place},{speed[k] / KNOT_M_S:.3f},{way},{date},,,D"))
        lines.append(sentence(f"GPGGA,{clock},{place},{quality},11,0.8,1710.0,M,21.0,M,,"))
        if switch:
            lines.append(sentence(f"IIXDR,S,{int(on[k])},,BOOM"))
    return "".join(lines)


def sentence(body: str) -> str:
    r"""NMEA sentence with ``$``, checksum (exclusive or of the characters) and ``\r\n``."""
    total = 0
    for character in body:
        total ^= ord(character)
    return f"${body}*{total:02X}\r\n"


def spraying(job: SimulatedJob, times_s: FloatArray) -> BoolArray:
    """Whether the boom is on at each time, shape (n,)."""
    changes = np.searchsorted(np.array(job.on_intervals).ravel(), times_s, side="right")
    return np.asarray(changes % 2 == 1)


def to_boom_csv(job: SimulatedJob) -> str:
    """``on,off`` of every stretch, UTC to the millisecond."""
    rows = (f"{on},{off}\n" for on, off in (iso_stamps(np.array(pair)) for pair in job.on_intervals))
    return "on,off\n" + "".join(rows)


def to_geojson_text(polygon: Polygon, name: str, plane: Plane) -> str:
    """RFC 7946 text of one named polygon given in plane metres."""
    ring = shapely.get_coordinates(shapely.orient_polygons(polygon).exterior)
    lon, lat = _lonlat(ring, plane)
    places = [[round(float(x), 9), round(float(y), 9)] for x, y in zip(lon, lat, strict=True)]
    shape = {"type": "Polygon", "coordinates": [places]}
    one = {"type": "Feature", "properties": {"name": name}, "geometry": shape}
    return json.dumps({"type": "FeatureCollection", "features": [one]}, indent=1) + "\n"


def _lonlat(xy_m: FloatArray, plane: Plane) -> tuple[FloatArray, FloatArray]:
    return plane.to_degrees(xy_m[:, 0], xy_m[:, 1])


def iso_stamps(times_s: FloatArray) -> list[str]:
    """ISO 8601 in UTC, to the millisecond."""
    milliseconds = np.round(times_s * 1000).astype(np.int64).astype("datetime64[ms]")
    return [f"{text}Z" for text in np.datetime_as_string(milliseconds).tolist()]


def nmea_minutes(degrees: FloatArray, digits: int, signs: str) -> list[str]:
    """Degrees and minutes of NMEA: dddmm.mmmmmmm,S."""
    # Rounded as a whole, so that 59.99999999 minutes carry into the degrees.
    whole = np.round(np.abs(degrees) * 60 * 10**7).astype(np.int64)
    full, rest = np.divmod(whole, 60 * 10**7)
    return [
        f"{d:0{digits}d}{m // 10**7:02d}.{m % 10**7:07d},{signs[0] if sign else signs[1]}"
        for d, m, sign in zip(full.tolist(), rest.tolist(), (degrees >= 0).tolist(), strict=True)
    ]
