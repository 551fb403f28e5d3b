"""The field on the sheet: ground that must not be sprayed, the edge driven, a picture under the map."""

from __future__ import annotations

import io
import json
import math
import struct
import zlib

import numpy as np
import pytest
from page_house import open_house
from page_jobs import PLACE, corners_on, finished, job_of, papers
from PIL import Image, TiffImagePlugin
from pyproj import Transformer

from coverage_audit.cli import command as cli
from coverage_audit.page.desk import Desk
from coverage_audit.sheet.picture import picture_of

POND = [[20.0, 20.0], [30.0, 20.0], [30.0, 28.0], [20.0, 28.0]]
"""Corners of a pond of 80 m2, in the middle of the field's plane as it is drawn."""


@pytest.fixture
def farm(tmp_path):
    with open_house(tmp_path / "farm") as opened:
        yield opened


def parts(house, job):
    return json.loads(house.get(f"/job/{job}/parts").body)


def summary(house, job):
    return json.loads((house.root / "jobs" / job / "report" / "summary.json").read_text())


def mark_of(house, job):
    return Desk(house.root).job(job).mark


def middle(house, job):
    """The middle of the field in the plane of the job's map."""
    return np.mean(corners_on(house, job), axis=0)


def pond_on(house, job):
    return (np.array(POND) - np.mean(POND, axis=0) + middle(house, job)).tolist()


def draw_pond(house, job, name="Duck pond"):
    mark = house.post(f"/job/{job}/corners", mark=mark_of(house, job), what="no-spray", corners=pond_on(house, job))[
        "mark"
    ]
    return house.post(f"/job/{job}/field", mark=mark, what="no-spray", name=name)


def test_a_pond_is_drawn_kept_with_the_field_and_taken_off_the_target(farm):
    job = finished(farm)
    farm.facts(job)
    before = summary(farm, job)["area_m2"]["target"]
    told = draw_pond(farm, job)
    assert told["status"] == 200, told
    assert "Duck pond" in told["parts"]["field"]
    assert farm.facts(job).stage == "done"
    assert before - summary(farm, job)["area_m2"]["target"] == pytest.approx(80.0, abs=0.01)  # [m2] 10 m x 8 m
    kept = json.loads((farm.root / "fields" / "long-meadow.geojson").read_text())["features"]
    assert [one["properties"].get("kind") for one in kept] == [None, "no-spray"]
    second = job_of(farm)[0]
    assert "Duck pond" in parts(farm, second)["parts"]["field"]


def test_a_pond_is_taken_off_the_list_and_the_file_keeps_the_rest(farm):
    job = finished(farm)
    draw_pond(farm, job)
    path = farm.root / "fields" / "long-meadow.geojson"
    text = json.loads(path.read_text())
    text["features"][0]["properties"]["owner"] = "of another program"
    path.write_text(json.dumps(text))
    assert farm.post(f"/job/{job}/spray-it", mark=mark_of(farm, job), number=3)["status"] == 422
    assert farm.post(f"/job/{job}/spray-it", mark=mark_of(farm, job), number=0)["status"] == 200
    (left,) = json.loads(path.read_text())["features"]
    assert left["properties"] == {"name": "Long meadow", "owner": "of another program"}


def test_no_spray_ground_outside_the_field_or_without_a_field_is_refused_in_words(farm):
    job, mark = job_of(farm)
    mark = farm.post(f"/job/{job}/corners", mark=mark, what="no-spray", corners=pond_on(farm, job))["mark"]
    found = farm.post(f"/job/{job}/field", mark=mark, what="no-spray", name="Pond")
    assert (found["status"], found["place"]) == (422, "no-spray")
    job = finished(farm)
    far = (np.array(POND) + 5000).tolist()
    mark = farm.post(f"/job/{job}/corners", mark=mark_of(farm, job), what="no-spray", corners=far)["mark"]
    found = farm.post(f"/job/{job}/field", mark=mark, what="no-spray", name="Pond")
    assert "lies outside the field" in found["fault"]


def test_an_outline_file_keeps_its_no_spray_areas(farm):
    job = finished(farm)
    draw_pond(farm, job)
    text = (farm.root / "fields" / "long-meadow.geojson").read_bytes()
    (farm.root / "fields" / "long-meadow.geojson").unlink()
    other, _ = job_of(farm)
    found = farm.send(f"/job/{other}/outline", text, "meadow.geojson", query=b"for=field")
    assert "Duck pond" in found["parts"]["field"]


def test_the_edge_driven_is_the_field_says_so_and_is_what_check_makes_of_it(farm, tmp_path, capsys):
    job, mark = job_of(farm)
    path = farm.root / "jobs" / job / "job.toml"
    path.write_text(path.read_text() + "[accuracy]\nreplicates = 4\n")
    mark = farm.post(f"/job/{job}/driven", mark=mark_of(farm, job))["mark"]
    told = farm.post(f"/job/{job}/set", mark=mark, keys={"boom.width": "9 m", "boom.antenna_ahead": "1.4 m"})
    assert "cannot show a skip along the edge" in told["parts"]["field"]
    assert farm.facts(job).stage == "done", farm.facts(job)
    assert cli.main(["check", str(path), "-o", str(tmp_path / "out"), "--quiet"]) == 0
    capsys.readouterr()
    assert papers(path.parent / "report") == papers(tmp_path / "out")
    drawn = json.loads(farm.get(f"/job/{job}/map").body)
    x, y = np.array(drawn["rings"][0]).T
    area = abs(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2
    # the map's edge is told from the same drive, before what is on and off was weighed again
    assert area == pytest.approx(summary(farm, job)["area_m2"]["field"], rel=0.01)
    assert "No proof can be made" in parts(farm, job)["parts"]["answer"]
    assert not Desk(farm.root).job(job).draft.lacks
    assert "Changed since" not in farm.get("/").body.decode()


def test_a_pond_in_the_edge_driven_is_kept_beside_the_job(farm):
    job, mark = job_of(farm)
    path = farm.root / "jobs" / job / "job.toml"
    path.write_text(path.read_text() + "[accuracy]\nreplicates = 4\n")
    mark = farm.post(f"/job/{job}/driven", mark=mark_of(farm, job))["mark"]
    farm.post(f"/job/{job}/set", mark=mark, keys={"boom.width": "9 m"})
    found = draw_pond(farm, job)
    assert "Duck pond" in found["parts"]["field"]
    assert Desk(farm.root).job(job).draft.get("field.exclude") == ["no-spray.geojson"]
    assert farm.facts(job).stage == "done", farm.facts(job)
    farm.post(f"/job/{job}/spray-it", mark=mark_of(farm, job), number=0)
    assert Desk(farm.root).job(job).draft.get("field.exclude") is None


# --- a picture under the map ------------------------------------------------------------------------


def geotiff(size, tiepoint, scale, code, *, raster_type=1, key=3072, at=(0.0, 0.0)):
    """A GeoTIFF of one colour, its tags as OGC 19-008r4 has them."""
    tags = TiffImagePlugin.ImageFileDirectory_v2()
    tags[33922], tags.tagtype[33922] = (*at, 0.0, *tiepoint, 0.0), 12
    tags[33550], tags.tagtype[33550] = (*scale, 0.0), 12
    tags[34735], tags.tagtype[34735] = (1, 1, 0, 3, 1024, 0, 1, 1, 1025, 0, 1, raster_type, key, 0, 1, code), 3
    packed = io.BytesIO()
    Image.new("RGB", size, "olive").save(packed, "TIFF", tiffinfo=tags)
    return packed.getvalue()


def metres_apart(a, b):
    """Distance of two places near each other, on a sphere. [m]"""
    return math.hypot((a[0] - b[0]) * math.cos(math.radians(a[1])), a[1] - b[1]) * 111_195


def test_corners_of_a_geotiff_are_those_of_the_standards_own_example():
    """GeoTIFF 1.0 specification, section 3.1.1: tiepoint and pixel size of an aerial photo in UTM zone 60 north."""
    found = picture_of({"photo.tif": geotiff((40, 30), (350807.4, 5316081.3), (100.0, 100.0), 32660)})
    to_degrees = Transformer.from_crs("EPSG:32660", "EPSG:4326", always_xy=True).transform
    for place, (x, y) in zip(
        found.corners_deg,
        ((350807.4, 5316081.3), (354807.4, 5316081.3), (354807.4, 5313081.3), (350807.4, 5313081.3)),
        strict=True,
    ):
        assert metres_apart(place, to_degrees(x, y)) < 0.01  # [m]


def test_a_tiepoint_amid_the_picture_is_counted_from():
    """The specification's section 3.1.2: a map of Texas, its tiepoint at column 50 and row 100, 1000 m a pixel."""
    found = picture_of({"map.tif": geotiff((60, 120), (949465.0, 3070309.1), (1e3, 1e3), 32139, at=(50.0, 100.0))})
    place = Transformer.from_crs("EPSG:32139", "EPSG:4326", always_xy=True).transform(949465 - 50e3, 3070309.1 + 100e3)
    assert metres_apart(found.corners_deg[0], place) < 0.01  # [m]


def test_a_raster_of_points_and_a_world_file_tell_the_middle_of_the_first_pixel():
    to_utm = Transformer.from_crs("EPSG:4326", "EPSG:32611", always_xy=True).transform
    x, y = to_utm(-115.31, 44.27)
    points = picture_of({"a.tif": geotiff((10, 10), (x, y), (2.0, 2.0), 32611, raster_type=2)})
    plain = io.BytesIO()
    Image.new("RGB", (10, 10)).save(plain, "PNG")
    world = f"2.0\n0.0\n0.0\n-2.0\n{x}\n{y}\n".encode()
    from_world = picture_of({"a.png": plain.getvalue(), "a.pgw": world, "a.prj": wkt(32611)})
    back = Transformer.from_crs("EPSG:32611", "EPSG:4326", always_xy=True).transform
    for found in (points, from_world):
        assert metres_apart(found.corners_deg[0], back(x - 1, y + 1)) < 0.01  # [m] half a pixel of 2 m up and left
        assert metres_apart(found.corners_deg[2], back(x + 19, y - 19)) < 0.01


def wkt(code):
    from pyproj import CRS  # noqa: PLC0415

    return CRS.from_epsg(code).to_wkt("WKT1_ESRI").encode()


def picture_over(half_deg=0.002):
    lon, lat = (float(one[0]) for one in PLACE.to_degrees(np.array([35.0]), np.array([30.0])))
    step = 2 * half_deg / 200
    return geotiff((200, 200), (lon - half_deg, lat + half_deg), (step, step), 4326, key=2048)


def test_a_picture_lies_under_the_map_of_every_job_at_its_place(farm):
    job, _ = job_of(farm)
    found = farm.send(f"/job/{job}/outline", picture_over(), "air view.tif", query=b"for=picture")
    assert found["status"] == 200, found
    assert "shown under the maps" in found["parts"]["field"]
    for one in (job, job_of(farm)[0]):
        corners = np.array(json.loads(farm.get(f"/job/{one}/map").body)["picture"])
        wide, high = np.hypot(*(corners[1] - corners[0])), np.hypot(*(corners[2] - corners[0]))
        # 0.004 degrees at 44.27 north on WGS 84: 319.4 m and 444.5 m (lengths of a degree from memory of the handbook)
        assert (wide, high) == (pytest.approx(319.4, rel=2e-3), pytest.approx(444.5, rel=2e-3))
        shown = farm.get(f"/job/{one}/picture")
        assert (shown.status, shown.headers[b"content-type"]) == (200, b"image/jpeg")
        assert Image.open(io.BytesIO(shown.body)).size == (200, 200)


@pytest.mark.parametrize(
    ("name", "data", "told"),
    [
        ("a.tif", b"II*\0nothing", "no picture that can be read"),
        ("a.png", b"\x89PNG\r\n\x1a\nbroken", "no picture that can be read"),
        ("a.tif", geotiff((9, 9), (0.0, 0.0), (1.0, 1.0), 32767), "coordinate system of its own"),
        ("a.tif", geotiff((9, 9), (-100.0, 40.0), (1e-5, 1e-5), 4326, key=2048), "another place"),
        ("a.txt", b"words", "choose one picture"),
    ],
)
def test_a_picture_that_is_none_or_of_another_place_is_refused_in_words(name, data, told, farm):
    job, _ = job_of(farm)
    found = farm.send(f"/job/{job}/outline", data, name, query=b"for=picture")
    assert (found["status"], told in found["fault"]) == (422, True), found
    assert not (farm.root / "pictures").exists()


def test_a_picture_bomb_is_refused_before_it_is_unpacked(farm, monkeypatch):
    job, _ = job_of(farm)
    head = b"IHDR" + struct.pack(">IIBBBBB", 30_000, 30_000, 8, 2, 0, 0, 0)  # 2.7 GB unpacked, says its head
    chunk = struct.pack(">I", 13) + head + struct.pack(">I", zlib.crc32(head))
    monkeypatch.setattr(Image.Image, "load", lambda *_args: pytest.fail("it was unpacked"))
    found = farm.send(
        f"/job/{job}/outline", b"\x89PNG\r\n\x1a\n" + chunk + b"\0\0\0\0IDAT", "a.png", query=b"for=picture"
    )
    assert found["status"] == 422
    assert "pixels" in found["fault"]
