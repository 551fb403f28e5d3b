"""Write the fixture folders anew: python tests/make_fixtures.py.

Each fixture is a job small enough to work out by hand: its inputs, ``expected.json`` with
the figures by arithmetic, and ``HOW.md`` with that arithmetic.
"""

import json
from pathlib import Path

import numpy as np
import shapely
from jobs import FIELD_100_X_60, PLACE, START_S, WORKED_X, drive, parallel_passes
from simulator.files import iso_stamps, nmea_minutes, sentence, to_geojson_text

from coverage_audit.drive.plane import Plane

FIXTURES = Path(__file__).parent.parent / "fixtures"
PLANE = Plane(PLACE)


def gpx(times, points, marks=(), segments=None):
    lon, lat = PLANE.to_degrees(points[:, 0], points[:, 1])
    rows = [
        f'<trkpt lat="{y:.9f}" lon="{x:.9f}"><time>{stamp}</time></trkpt>'
        for x, y, stamp in zip(lon, lat, iso_stamps(times + START_S), strict=True)
    ]
    groups = np.split(np.array(rows), np.flatnonzero(np.diff(segments)) + 1) if segments is not None else [rows]
    body = "".join("<trkseg>\n" + "\n".join(group) + "\n</trkseg>\n" for group in groups)
    named = "".join(
        f'<wpt lat="{lat[0]:.9f}" lon="{lon[0]:.9f}"><time>{stamp}</time><name>{name}</name></wpt>\n'
        for stamp, name in marks
    )
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        '<gpx version="1.1" creator="coverage-audit fixtures" xmlns="http://www.topografix.com/GPX/1/1">\n'
        f"{named}<trk>\n{body}</trk>\n</gpx>\n"
    )


def boom_csv(intervals):
    rows = [",".join(iso_stamps(np.array(pair) + START_S)) for pair in intervals]
    return "on,off\n" + "\n".join(rows) + "\n"


def nmea(times, points, states):
    """RMC, GGA and one XDR with the switches of each fix; *states* maps a time to {name: 0 or 1}."""
    lon, lat = PLANE.to_degrees(points[:, 0], points[:, 1])
    places = zip(nmea_minutes(lat, 2, "NS"), nmea_minutes(lon, 3, "EW"), strict=True)
    lines = []
    for place, stamp, time in zip(map(",".join, places), iso_stamps(times + START_S), times, strict=True):
        clock, date = stamp[11:22].replace(":", ""), stamp[8:10] + stamp[5:7] + stamp[2:4]
        switches = ",".join(f"S,{state},,{name}" for name, state in states(time).items())
        lines += [
            sentence(f"GPRMC,{clock},A,{place},,,{date},,,A"),
            sentence(f"GPGGA,{clock},{place},4,12,0.8,900.0,M,20.0,M,,"),
            sentence(f"IIXDR,{switches}"),
        ]
    return "\r\n".join(lines) + "\r\n"


def job_toml(name, track, boom, extra=""):
    return (
        f'[job]\nname = "{name}"\n[field]\nboundary = "field.geojson"\n[track]\nfiles = ["{track}"]\n'
        f'[boom]\n{boom}\nantenna_ahead = "0 m"\n{extra}'
    )


def write(name, files, expected, how):
    folder = FIXTURES / name
    folder.mkdir(parents=True, exist_ok=True)
    texts = {**files, "expected.json": json.dumps(expected, indent=1) + "\n", "HOW.md": how}
    for file, text in texts.items():
        (folder / file).write_bytes(text.encode())


def one_pass_off():
    times, points, intervals = parallel_passes(WORKED_X, 0.0, 100.0, hz=1.0)
    write(
        "one_pass_off",
        {
            "job.toml": job_toml(
                "Six passes, the third 1 m off",
                "track.gpx",
                'width = "10 m"\nintervals = "boom.csv"',
                '[rate]\ntarget = "100 L/ha"\nflow = "15 L/min"\n',
            ),
            "track.gpx": gpx(times, points),
            "boom.csv": boom_csv(intervals),
            "field.geojson": to_geojson_text(FIELD_100_X_60, "field", PLANE),
        },
        {
            "area_m2": {"field": 6000, "covered": 5900, "missed": 100, "double": 100, "swept": 6000},
            "volume_l": {"applied": 60},
            "rate_l_ha": {"over_swept": 100},
            "strips": 1,
        },
        """# Six passes, the third 1 m off

A field 100 m long and 60 m wide, a boom of 10 m, six passes the long way, 1 fix a second.
Middles at 5, 15, **26**, 35, 45 and 55 m: the third is 1 m too far from the second.

- field: 100 x 60 = 6 000 m2
- swept: 6 x 10 x 100 = 6 000 m2
- missed: between 20 and 21 m, 1 x 100 = 100 m2
- double: between 30 and 31 m, 1 x 100 = 100 m2
- covered: 6 000 - 100 = 5 900 m2; swept = covered + double = 6 000 m2
- volume: 100 m at 2.5 m/s is 40 s a pass; 6 x 40 s x 15 L/min = 60 L; 60 L / 0.6 ha = 100 L/ha
""",
    )


def sections_by_log():
    times, points = drive(lambda t: np.array([0.0, 2.5 * t]), 60, 1.0)

    def states(time):
        return {"BOOM": int(10 <= time < 50), "BOOM1": 1, "BOOM2": int(not 20 <= time < 30), "BOOM3": 1}

    write(
        "sections_by_log",
        {
            "job.toml": job_toml(
                "Middle section shut for ten seconds",
                "track.nmea",
                'sections = ["2 m", "4 m", "3 m"]\nintervals = "log"',
            ),
            "track.nmea": nmea(times, points, states),
            "field.geojson": to_geojson_text(shapely.box(-4.5, 23.75, 4.5, 123.75), "field", PLANE),
        },
        {
            "area_m2": {"field": 900, "covered": 800, "missed": 100, "double": 0, "swept": 800},
            "time_s": {"on": 40, "off": 20},
            "strips": 1,
        },
        """# Middle section shut for ten seconds

One pass due north at 2.5 m/s, 1 fix a second, NMEA 0183 with the boom's switches in XDR
sentences. Sections of 2, 4 and 3 m. The whole boom is on from fix 10 to fix 49, the middle
section off from fix 20 to fix 29.

- A change lies half-way between the last fix with the old state and the first with the new:
  on at 9.5 s, off at 49.5 s; middle section off at 19.5 s, on at 29.5 s.
- field: from 9.5 s x 2.5 m/s = 23.75 m to 49.5 s x 2.5 m/s = 123.75 m, 9 m wide: 900 m2
- missed: 4 m x (29.5 - 19.5) s x 2.5 m/s = 100 m2; covered: 900 - 100 = 800 m2
""",
    )


def late_on_by_marks():
    times, points, intervals = parallel_passes((5.0, 15.0, 25.0), 0.0, 80.0, hz=1.0)
    intervals[1] = (intervals[1][0] + 2.0, intervals[1][1])
    marks = [
        (stamp, name)
        for pair in intervals
        for stamp, name in zip(iso_stamps(np.array(pair) + START_S), ("boom on", "boom off"), strict=True)
    ]
    write(
        "late_on_by_marks",
        {
            "job.toml": job_toml(
                "Boom on two seconds late in the second pass", "track.gpx", 'width = "10 m"\nintervals = "marks"'
            ),
            "track.gpx": gpx(times, points, marks),
            "field.geojson": to_geojson_text(shapely.box(0, 0, 30, 80), "field", PLANE),
        },
        {
            "area_m2": {"field": 2400, "covered": 2350, "missed": 50, "double": 0, "swept": 2350},
            "where": "late on",
            "strips": 1,
        },
        """# Boom on two seconds late in the second pass

Three passes of 80 m with a 10 m boom at 2.5 m/s; the boom is switched by waypoints named
"boom on" and "boom off". In the second pass it comes on 2 s late.

- field: 30 x 80 = 2 400 m2
- missed: 2 s x 2.5 m/s x 10 m = 50 m2; covered: 2 350 m2
""",
    )


def forgotten_pass_by_segments():
    times, points, intervals = parallel_passes((5.0, 15.0, 25.0, 35.0), 0.0, 80.0, hz=1.0)
    del intervals[2]
    inside = np.zeros(len(times), bool)
    segment = np.zeros(len(times), int)
    for number, (on, off) in enumerate(intervals):
        chosen = (times >= on - 1e-9) & (times <= off + 1e-9)
        inside |= chosen
        segment[chosen] = number
    write(
        "forgotten_pass_by_segments",
        {
            "job.toml": job_toml("Third pass left out", "track.gpx", 'width = "10 m"\nintervals = "segments"'),
            "track.gpx": gpx(times[inside], points[inside], segments=segment[inside]),
            "field.geojson": to_geojson_text(shapely.box(0, 0, 40, 80), "field", PLANE),
        },
        {
            "area_m2": {"field": 3200, "covered": 2400, "missed": 800, "double": 0, "swept": 2400},
            "where": "between passes",
            "strips": 1,
        },
        """# Third pass left out

Four passes of 80 m with a 10 m boom, the recorder started and stopped with the boom, so that
each GPX track segment is one time with the boom on. The third pass was never sprayed.

- field: 40 x 80 = 3 200 m2
- missed: 10 x 80 = 800 m2; covered: 2 400 m2
- Switching falls on whole fixes here (10 m of run-in at 2.5 m/s is 4 s).
""",
    )


if __name__ == "__main__":
    one_pass_off()
    sections_by_log()
    late_on_by_marks()
    forgotten_pass_by_segments()
