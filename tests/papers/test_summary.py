"""What the writers put into summary.json, on the terminal, into GeoJSON and into GPX."""

import dataclasses
import json
import math
import xml.etree.ElementTree as ET
from datetime import datetime
from pathlib import Path

import gpxpy
import numpy as np
import pytest
import shapely
import shapely.geometry
from audit_builder import ORIGIN, box_strip, large_job, make_audit, worked_figure

from coverage_audit.drive.plane import GEOD, Plane
from coverage_audit.papers.geojson import findings_geojson
from coverage_audit.papers.gpx import missed_gpx
from coverage_audit.papers.summary import summary_dict, summary_json
from coverage_audit.papers.terminal import terminal_text
from coverage_audit.papers.words import display
from coverage_audit.papers.words.safe import printable
from coverage_audit.rate.model import Volume

GPX = "{http://www.topografix.com/GPX/1/1}"
SCHEMA = Path(__file__).parents[3] / "shared" / "corpus" / "schema" / "gpx1_1.xsd"

CONTRACT = {
    "schema": str,
    "job": {"name": str, "start": str, "end": str},
    "inputs": [
        {
            "file": str,
            "sha256": str,
            "fixes_read": int,
            "fixes_used": int,
            "dropped": {"bad_checksum": int, "no_position": int},
        }
    ],
    "area_m2": {
        "field": float,
        "target": float,
        "covered": float,
        "missed": float,
        "missed_slivers": float,
        "double": float,
        "double_bridged": float,
        "by_visits": [float],
        "bridged": float,
        "outside": float,
        "excluded_sprayed": float,
        "swept": float,
        "swept_net": float,
        "reswept": float,
        "unknown": float,
    },
    "decision": {"kind": str, "strips": [], "sentence": str},
    "missed_ground": {"sure_m2": float, "cannot_tell_m2": float, "unknown_m2": float},
    "boom_state": str,
    "distance_m": {"on": float, "off": float},
    "time_s": {"on": float, "off": float, "gap": float},
    "volume_l": {"applied": float, "source": str, "by_source": dict},
    "rate_l_ha": {"target": float, "over_swept": float, "over_covered": float, "over_target_area": float},
    "missed_strips": [
        {
            "id": str,
            "area_m2": float,
            "length_m": float,
            "mean_width_m": float,
            "max_width_m": float,
            "lat": float,
            "lon": float,
            "where": str,
        }
    ],
    "double_patches": [{"id": str, "area_m2": float, "max_visits": int, "lat": float, "lon": float, "where": str}],
    "checks": {"closure_rel": float, "cross_check_rel": float, "ok": bool},
    "cautions": [],
}
"""Keys and kinds that programs outside this project read: the fixed contract of summary.json."""


def assert_kept(contract, found, place="summary"):
    """Every key of the contract is there with a value of its kind; more keys are welcome."""
    if isinstance(contract, dict):
        assert isinstance(found, dict), place
        assert contract.keys() <= found.keys(), f"{place}: {contract.keys() - found.keys()} missing"
        for key, inner in contract.items():
            assert_kept(inner, found[key], f"{place}.{key}")
    elif isinstance(contract, list):
        assert isinstance(found, list), place
        for inner in contract:
            assert found, f"{place} is empty"
            for item in found:
                assert_kept(inner, item, place)
    else:
        kinds = (int, float) if contract is float else contract
        assert isinstance(found, kinds), f"{place}: {found!r}"


# --- summary.json ----------------------------------------------------------------------------


@pytest.mark.parametrize("audit", [worked_figure(), large_job("us")], ids=["worked figure", "large job"])
def test_every_key_of_the_contract_is_there(audit):
    found = json.loads(summary_json(audit))
    assert_kept(CONTRACT, found)
    assert found["schema"] == "coverage-audit summary 1"
    assert found == summary_dict(audit)


def test_worked_figure_says_what_the_arithmetic_says():
    """100 x 60 m, third pass 1 m off: 100 m2 missed, 100 double, 5 900 covered, 6 000 swept."""
    found = summary_dict(worked_figure())
    assert found["area_m2"]["by_visits"] == [100.0, 5800.0, 100.0]
    assert (found["area_m2"]["covered"], found["area_m2"]["swept"]) == (5900.0, 6000.0)
    assert found["job"]["start"] == "2026-05-31T13:00:00Z"
    assert found["job"]["end"] == "2026-05-31T13:30:00Z"
    assert found["rate_l_ha"]["over_covered"] == 84.0 / 0.59
    assert found["missed_strips"][0]["id"] == "M1"


def test_a_strip_lies_where_geodesics_say():
    """M1's middle is 50 m east and 20.5 m north of the origin; pyproj's Geod is the referee."""
    strip = summary_dict(worked_figure())["missed_strips"][0]
    azimuth, _, distance = GEOD.inv(ORIGIN.lon_deg, ORIGIN.lat_deg, strip["lon"], strip["lat"])
    east, north = distance * math.sin(math.radians(azimuth)), distance * math.cos(math.radians(azimuth))
    # the library's inverse projection is off by up to 2 mm (measured)
    assert (east, north) == pytest.approx((50.0, 20.5), abs=0.003)


def test_what_could_not_be_computed_is_null():
    audit = dataclasses.replace(
        worked_figure(),
        volume=Volume(),
        median_step_s=float("nan"),
        distance_off_m=np.float64("inf"),
    )
    found = json.loads(summary_json(audit))
    assert found["volume_l"]["applied"] is None
    assert found["volume_l"]["source"] is None
    assert found["volume_l"]["by_source"] == {}
    assert set(found["rate_l_ha"].values()) == {None}
    assert found["median_step_s"] is None
    assert found["distance_m"]["off"] is None


def test_a_log_without_losses_still_counts_the_two_reasons_of_the_contract():
    audit = worked_figure()
    audit = dataclasses.replace(audit, inputs=(dataclasses.replace(audit.inputs[0], dropped={"duplicate": 3}),))
    assert summary_dict(audit)["inputs"][0]["dropped"] == {"bad_checksum": 0, "no_position": 0, "duplicate": 3}


def test_numpy_numbers_become_plain_ones():
    areas = dataclasses.replace(worked_figure().area_m2, missed=np.float64(100.25), by_visits=np.array([100.25, 1.0]))
    patch = dataclasses.replace(worked_figure().double_patches[0], max_visits=np.int64(3))
    audit = dataclasses.replace(worked_figure(), area_m2=areas, double_patches=(patch,))
    found = json.loads(summary_json(audit))
    assert found["double_patches"][0]["max_visits"] == 3
    assert json.loads(findings_geojson(audit))["features"][1]["properties"]["max_visits"] == 3
    assert found["area_m2"]["missed"] == 100.25
    assert found["area_m2"]["by_visits"] == [100.25, 1.0]


@pytest.mark.parametrize(
    ("time_s", "text"),
    [
        # RFC 3339 and GPX wording; 1731826452 = 2024-11-17T06:54:12 UTC is a published pair
        (1731826452.0, "2024-11-17T06:54:12Z"),
        (1731826452.2, "2024-11-17T06:54:12.2Z"),
        (1731826450.0, "2024-11-17T06:54:10Z"),
        (0.0, "1970-01-01T00:00:00Z"),
    ],
)
def test_times_are_utc_with_z(time_s, text):
    assert display.utc_text(time_s) == text
    assert datetime.fromisoformat(text).timestamp() == pytest.approx(time_s, abs=1e-6)


# --- terminal ----------------------------------------------------------------------------------


def test_terminal_begins_with_the_verdict_and_lists_five_strips_of_twenty():
    audit = large_job("us")
    lines = terminal_text(audit).splitlines()
    assert lines[0].startswith("Brackenhow, dock spraying, 31 May 2026, 14:00, ")
    assert lines[2] == summary_dict(audit)["decision"]["sentence"].replace(" ft", "\u00a0ft").replace(" ac", "\u00a0ac")
    assert [line.split(":")[0].strip() for line in lines[3:6]] == ["Surely missed", "Perhaps missed", "Sprayed twice"]
    assert f"  {display.verdict(audit, {strip.id: '' for strip in audit.missed_strips}).headline}" in lines
    assert any(line.startswith("  - The job file does not say where the antenna stands") for line in lines)
    table = [line.split()[0] for line in lines if line.startswith("  M") and line[3].isdigit()]
    assert table == [strip.id for strip in audit.answer.walk[:5]]
    assert any(line.startswith("Places worth a walk, in walking order") for line in lines)


def test_terminal_says_when_the_sums_do_not_close():
    audit = worked_figure()
    audit = dataclasses.replace(audit, checks=dataclasses.replace(audit.checks, ok=False, cross_check_rel=0.01))
    assert "Cautions:\n  - The sums of this audit do not close" in terminal_text(audit)


def test_terminal_without_findings_has_no_table():
    field = shapely.box(0, 0, 50, 20)
    audit = make_audit(field, [shapely.LineString([(0, 5), (50, 5)])], [], [])
    assert "Places worth" not in terminal_text(audit)
    assert "Cautions" not in terminal_text(audit)


def test_names_from_files_cannot_steer_the_terminal():
    assert "\x1b" not in terminal_text(worked_figure(name="\x1b[2Jgone\r\nExit"))
    assert printable("12\u00a0m\x07") == "12\u00a0m\ufffd"


# --- GeoJSON -------------------------------------------------------------------------------------


def test_geojson_has_every_finding_by_kind_with_its_area():
    audit = large_job()
    features = json.loads(findings_geojson(audit))["features"]
    kinds = [feature["properties"]["kind"] for feature in features]
    assert [kinds.count(kind) for kind in ("missed", "double", "outside", "no-spray area")] == [20, 2, 1, 1]
    for feature in features:
        properties = feature["properties"]
        assert {"id", "kind", "area_m2", "where"} <= properties.keys()
        assert feature["id"] == properties["id"]
        shape = shapely.geometry.shape(feature["geometry"])
        # rounding to 1e-8 degrees moves an edge by half a millimetre
        metres = Plane(ORIGIN).geometry_to_metres(shape)
        assert metres.area == pytest.approx(properties["area_m2"], abs=1e-3 * metres.length)
        assert all(part.exterior.is_ccw for part in shapely.get_parts(shape))  # RFC 7946, section 3.1.6
    assert len({feature["id"] for feature in features}) == len(features)


def test_geojson_has_at_most_eight_decimals_and_longitude_first():
    for feature in json.loads(findings_geojson(worked_figure()))["features"]:
        for lon, lat in feature["geometry"]["coordinates"][0]:
            assert (round(lon, 8), round(lat, 8)) == (lon, lat)
            assert abs(lon - ORIGIN.lon_deg) < 0.01
            assert abs(lat - ORIGIN.lat_deg) < 0.01


def test_geojson_leaves_out_what_is_thinner_than_its_grid():
    audit = worked_figure()
    hair = shapely.MultiPolygon([shapely.box(0, -1e-6, 100, 0), shapely.box(0, -3, 100, -2)])
    audit = dataclasses.replace(audit, layers=dataclasses.replace(audit.layers, outside=hair))
    outside = [f for f in json.loads(findings_geojson(audit))["features"] if f["properties"]["kind"] == "outside"]
    assert [feature["properties"]["area_m2"] for feature in outside] == pytest.approx([100.0])


# --- GPX -----------------------------------------------------------------------------------------


def test_gpx_reads_back_with_a_waypoint_and_a_line_per_strip():
    audit = large_job()
    paper = gpxpy.parse(missed_gpx(audit))
    assert (paper.version, paper.creator) == ("1.1", "coverage-audit")
    walk = audit.answer.walk
    assert len(walk) > 3
    for named in (paper.waypoints, paper.tracks, paper.routes[0].points):
        assert [one.name for one in named] == [strip.id for strip in walk]
    for strip, track in zip(walk, paper.tracks, strict=True):
        points = track.segments[0].points
        length = GEOD.line_length([p.longitude for p in points], [p.latitude for p in points])
        assert length == pytest.approx(strip.length_m, abs=0.003)  # twice the inverse's 1 mm
    assert f"{walk[0].length_m:.1f}\u00a0m long".replace("\u00a0", " ") in paper.waypoints[0].description


def test_gpx_line_in_two_pieces_is_two_segments():
    strip = box_strip("M1", (0, 20, 100, 21))
    pieces = shapely.MultiLineString([[(0, 20.5), (40, 20.5)], [(60, 20.5), (100, 20.5)]])
    audit = dataclasses.replace(worked_figure(), missed_strips=(dataclasses.replace(strip, line=pieces),))
    assert [len(s.points) for s in gpxpy.parse(missed_gpx(audit)).tracks[0].segments] == [2, 2]


@pytest.mark.parametrize("name", ['<script>alert(1)</script> & "so"', "bell\x07", "", "Wiesenstück Ø"])
def test_gpx_holds_any_name(name):
    paper = gpxpy.parse(missed_gpx(worked_figure(name=name)))
    assert paper.name == (name.replace("\x07", "\ufffd") or "Spray job") + ": missed strips"


def elements_in_order(schema, kind):
    """Element names of a complex type, in the order the schema demands."""
    xsd = "{http://www.w3.org/2001/XMLSchema}"
    found = ET.parse(schema).getroot().find(f"{xsd}complexType[@name='{kind}']/{xsd}sequence")  # noqa: S314 - a local file
    return [one.get("name") for one in found.findall(f"{xsd}element")]


@pytest.mark.skipif(not SCHEMA.exists(), reason="the GPX 1.1 schema is not beside the checkout")
def test_gpx_keeps_the_order_of_the_published_schema():
    root = ET.fromstring(missed_gpx(large_job()))  # noqa: S314 - our own text
    kinds = {"gpx": "gpxType", "metadata": "metadataType", "wpt": "wptType", "trkpt": "wptType"}
    kinds |= {"trk": "trkType", "trkseg": "trksegType", "rte": "rteType", "rtept": "wptType"}
    assert root.get("version") == "1.1"
    for element in root.iter():
        name = element.tag.removeprefix(GPX)
        children = [child.tag.removeprefix(GPX) for child in element]
        if not children:
            continue
        order = elements_in_order(SCHEMA, kinds[name])
        assert set(children) <= set(order)
        assert children == sorted(children, key=order.index)


def test_gpx_root_has_waypoints_before_tracks():
    """GPX 1.1: metadata, wpt, rte, trk, extensions."""
    audit = large_job()
    tags = [child.tag.removeprefix(GPX) for child in ET.fromstring(missed_gpx(audit))]  # noqa: S314 - our own text
    count = len(audit.answer.walk)
    assert tags == ["metadata", *["wpt"] * count, "rte", *["trk"] * count]
