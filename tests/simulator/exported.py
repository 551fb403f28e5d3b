"""The same fixes as phones, watches and map programs export them: FIT, CSV, KML and GeoJSON with times.

Fixes are (seconds since 1970, latitude, longitude); nothing is shared with the readers.
"""

from __future__ import annotations

import datetime as dt
import json

FIT_EPOCH_S = 631_065_600  # 1989-12-31, FIT protocol
_CRC = (0x0000, 0xCC01, 0xD801, 0x1400, 0xF001, 0x3C00, 0x2800, 0xE401)
_CRC += (0xA001, 0x6C00, 0x7800, 0xB401, 0x5000, 0x9C01, 0x8801, 0x4400)


def stamp(time_s):
    """ISO 8601 in UTC, to the millisecond."""
    return dt.datetime.fromtimestamp(time_s, dt.UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def fit_crc(data):
    """Checksum of the FIT protocol."""
    crc = 0
    for byte in data:
        for nibble in (byte & 0xF, byte >> 4):
            crc = (crc >> 4) & 0x0FFF ^ _CRC[crc & 0xF] ^ _CRC[nibble]
    return crc


def fit_of(fixes, speed_m_s=1.0):
    """FIT file of record messages: time, place, speed; each 15 bytes."""
    # definition: little-endian, message 20 (record), fields number, size, base type
    definition = bytes([0x40, 0, 0, 20, 0, 4, 253, 4, 0x86, 0, 4, 0x85, 1, 4, 0x85, 6, 2, 0x84])
    body = definition
    for time_s, lat, lon in fixes:
        body += b"\0" + round(time_s - FIT_EPOCH_S).to_bytes(4, "little")
        body += b"".join(round(one * 2**31 / 180).to_bytes(4, "little", signed=True) for one in (lat, lon))
        body += round(speed_m_s * 1000).to_bytes(2, "little")
    head = bytes([14, 0x20, 0x5C, 0x08]) + len(body).to_bytes(4, "little") + b".FIT"
    head += fit_crc(head).to_bytes(2, "little")
    return head + body + fit_crc(head + body).to_bytes(2, "little")


def csv_of(fixes, header="time_utc,lat,lon", delimiter=",", row=None):
    """Table of fixes; *row* makes the cells of one."""
    make = row or (lambda t, lat, lon: (stamp(t), f"{lat:.9f}", f"{lon:.9f}"))
    lines = [header.replace(",", delimiter), *(delimiter.join(make(*one)) for one in fixes)]
    return "\n".join(lines) + "\n"


def kml_of(fixes, *, points=False):
    """KML with a gx:Track, or with a placemark for every fix."""
    if points:
        body = "".join(
            f"<Placemark><TimeStamp><when>{stamp(t)}</when></TimeStamp>"
            f"<Point><coordinates>{lon:.9f},{lat:.9f},250</coordinates></Point></Placemark>\n"
            for t, lat, lon in fixes
        )
    else:
        pairs = "".join(
            f"<when>{stamp(t)}</when>\n<gx:coord>{lon:.9f} {lat:.9f} 250</gx:coord>\n" for t, lat, lon in fixes
        )
        body = f"<Placemark><gx:Track>\n{pairs}</gx:Track></Placemark>"
    names = 'xmlns="http://www.opengis.net/kml/2.2" xmlns:gx="http://www.google.com/kml/ext/2.2"'
    return f'<?xml version="1.0" encoding="UTF-8"?>\n<kml {names}><Document>{body}</Document></kml>\n'


def geojson_of(fixes, *, points=False):
    """GeoJSON of one line with coordTimes, or of a point for every fix."""
    places = [[round(lon, 9), round(lat, 9), 250.0] for _, lat, lon in fixes]
    stamps = [stamp(t) for t, _, _ in fixes]
    if points:
        made = [({"type": "Point", "coordinates": p}, {"time": t}) for p, t in zip(places, stamps, strict=True)]
    else:
        made = [({"type": "LineString", "coordinates": places}, {"coordTimes": stamps})]
    features = [{"type": "Feature", "geometry": g, "properties": p} for g, p in made]
    return json.dumps({"type": "FeatureCollection", "features": features})
