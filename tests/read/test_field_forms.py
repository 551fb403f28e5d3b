"""The boundary readers against GDAL (through geopandas), which writes each form and reads it back."""

import json
import random
import struct
import zipfile
from itertools import pairwise

import geopandas as gpd
import numpy as np
import pytest
import shapely
from cautions_of_files import sentences
from shapely import affinity
from shapely.geometry import MultiPolygon, Polygon

from coverage_audit.errors import InputError
from coverage_audit.read.outlines.registry import read_field

DRIVERS = {"gpkg": "GPKG", "shp": "ESRI Shapefile", "geojson": "GeoJSON", "kml": "LIBKML"}


def star(rng, x, y, size):
    """A polygon about a place: corners at random distances, so that it crosses nothing of its own."""
    turn = np.sort(rng.uniform(0, 2 * np.pi, 12))
    reach = size * rng.uniform(0.5, 1, 12)
    return Polygon(np.column_stack([x + reach * np.cos(turn), y + reach * np.sin(turn)])).buffer(0)


def many_fields(seed):
    """Fields of one to three parts with up to three holes, and an island in a hole."""
    rng = np.random.default_rng(seed)
    fields = []
    for number in range(6):
        parts = []
        for part in range(1 + number % 3):
            whole = star(rng, -116 + number / 100, 43.6 + part / 100, 0.004)
            holes = [star(rng, -116 + number / 100 + d, 43.6 + part / 100, 0.0004) for d in (-0.0009, 0, 0.0009)]
            parts.append(whole.difference(shapely.union_all(holes[: number % 4])))
            if number == 5:
                parts.append(affinity.scale(holes[0], 0.3, 0.3))
        fields.append(shapely.union_all(parts))
    return gpd.GeoDataFrame(
        {"Name": [f"field \xf6 {n}" for n in range(6)], "ha": 1.5}, geometry=fields, crs="EPSG:4326"
    )


@pytest.mark.parametrize("suffix", sorted(DRIVERS))
@pytest.mark.parametrize("seed", range(3))
def test_polygons_holes_and_names_are_those_that_gdal_wrote_and_reads(tmp_path, suffix, seed):
    path = tmp_path / f"b.{suffix}"
    frame = many_fields(seed)
    frame.to_file(path, driver=DRIVERS[suffix], **({"COORDINATE_PRECISION": 15} if suffix == "geojson" else {}))
    referee = gpd.read_file(path)
    found = read_field(path).areas
    assert [area.name for area in found] == list(frame["Name"])
    for area, drawn, read in zip(found, frame.geometry, referee.geometry, strict=True):
        assert area.geometry.symmetric_difference(drawn).area <= 1e-9 * drawn.area  # KML is written to 15 digits
        assert area.geometry.symmetric_difference(read).area <= 1e-12 * drawn.area


@pytest.mark.parametrize("suffix", ["gpkg", "shp", "geojson"])
def test_heights_and_lines_are_read_as_gdal_reads_them(tmp_path, suffix):
    path = tmp_path / f"b.{suffix}"
    frame = many_fields(7)
    frame.geometry = shapely.force_3d(frame.geometry, 850.0)
    frame.to_file(path, driver=DRIVERS[suffix])
    read = shapely.force_2d(gpd.read_file(path).geometry.values)
    found = [area.geometry for area in read_field(path).areas]
    assert all(
        one.symmetric_difference(other).area <= 1e-12 * other.area for one, other in zip(found, read, strict=True)
    )


def test_rings_of_a_shapefile_that_turn_the_wrong_way_still_are_holes(tmp_path):
    """The standard wants outer rings clockwise; the place of a ring decides here."""
    path = tmp_path / "b.shp"
    frame = many_fields(3)
    frame.to_file(path)
    data = bytearray(path.read_bytes())
    at = 100
    while at < len(data):
        words = struct.unpack_from(">i", data, at + 4)[0]
        count, total = struct.unpack_from("<ii", data, at + 8 + 36)
        starts = [*struct.unpack_from(f"<{count}i", data, at + 8 + 44), total]
        first = at + 8 + 44 + 4 * count
        for begin, end in pairwise(starts):
            ring = np.frombuffer(data, "<f8", 2 * (end - begin), first + 16 * begin).reshape(-1, 2)[::-1].tobytes()
            data[first + 16 * begin : first + 16 * end] = ring
        at += 8 + 2 * words
    path.write_bytes(data)
    for area, drawn in zip(read_field(path).areas, frame.geometry, strict=True):
        assert area.geometry.symmetric_difference(drawn).area <= 1e-12 * drawn.area


@pytest.mark.parametrize(("encoding", "said"), [("UTF-8", "UTF-8"), ("cp1252", "1252"), ("cp1252", "ANSI 1252"),
                                                ("iso8859-2", "8859-2"), ("iso8859-1", None),
                                                ("iso8859-1", "?")])  # fmt: skip
def test_names_of_a_shapefile_are_in_the_code_page_it_states(tmp_path, encoding, said):
    path = tmp_path / "b.shp"
    frame = gpd.GeoDataFrame(
        {"name": ["M\xfchle"]}, geometry=[Polygon([(0, 0), (0.001, 0), (0, 0.001)])], crs="EPSG:4326"
    )
    frame.to_file(path, encoding=encoding)
    page = path.with_suffix(".cpg")
    page.unlink(missing_ok=True)
    if said:
        page.write_text(said, encoding="ascii")
    assert read_field(path).areas[0].name == "M\xfchle"


def test_deleted_rows_of_a_shapefile_are_left_out(tmp_path):
    path = tmp_path / "b.shp"
    many_fields(4).to_file(path)
    table = path.with_suffix(".dbf")
    data = bytearray(table.read_bytes())
    head, size = struct.unpack_from("<HH", data, 8)
    data[head + size] = ord("*")
    table.write_bytes(data)
    assert [area.name[-1] for area in read_field(path).areas] == ["0", "2", "3", "4", "5"]


@pytest.mark.parametrize(
    "name",
    ["EPSG:4326", "urn:ogc:def:crs:EPSG::4326", "urn:ogc:def:crs:OGC:1.3:CRS84", "OGC:CRS84",
     "http://www.opengis.net/def/crs/EPSG/0/4326", "https://www.opengis.net/def/crs/OGC/1.3/CRS84"],
)  # fmt: skip
def test_names_of_wgs_84_are_known(tmp_path, name):
    path = tmp_path / "b.geojson"
    ring = [(-116.0, 43.6), (-115.999, 43.6), (-115.999, 43.601), (-116.0, 43.6)]
    crs = {"type": "name", "properties": {"name": name}}
    path.write_text(json.dumps({"type": "Polygon", "coordinates": [ring], "crs": crs}), encoding="utf-8")
    found = read_field(path)
    assert found.areas[0].geometry.equals(Polygon(ring))
    assert found.cautions == ()


def test_kml_data_names_a_placemark_that_has_no_name(tmp_path):
    ring = "<coordinates>-116,43.6,0 -115.999,43.6,0 -115.999,43.601,0 -116,43.6,0</coordinates>"
    shape = f"<Polygon><outerBoundaryIs><LinearRing>{ring}</LinearRing></outerBoundaryIs></Polygon>"
    data = '<ExtendedData><Data name="farm"><value>Bench</value></Data></ExtendedData>'
    path = tmp_path / "b.kml"
    path.write_text(f"<kml><Placemark>{data}<MultiGeometry>{shape}</MultiGeometry></Placemark></kml>", encoding="utf-8")
    assert read_field(path).areas[0].name == "Bench"


def test_shapes_mixed_in_one_placemark_keep_their_area(tmp_path):
    rng = random.Random(1)
    x = -116 + rng.random()
    frame = gpd.GeoDataFrame(
        {"Name": ["a"]},
        geometry=[
            shapely.GeometryCollection([shapely.Point(x, 43), MultiPolygon([shapely.box(x, 43, x + 0.001, 43.001)])])
        ],
        crs="EPSG:4326",
    )
    path = tmp_path / "b.gpkg"
    frame.to_file(path)
    assert read_field(path).areas[0].geometry.equals(shapely.box(x, 43, x + 0.001, 43.001))


@pytest.mark.parametrize("suffix", sorted(DRIVERS))
def test_a_zip_file_with_a_boundary_holds_what_the_boundary_holds(tmp_path, suffix):
    path = tmp_path / f"B.{suffix}"
    many_fields(1).to_file(path, driver=DRIVERS[suffix])
    with zipfile.ZipFile(tmp_path / "b.zip", "w") as archive:
        for part in sorted(tmp_path.glob("B.*")):
            archive.write(part, f"fields/{part.name}")
        archive.writestr("__MACOSX/fields/._B.shp", b"leftover")
    plain, packed = read_field(path), read_field(tmp_path / "b.zip")
    assert [area.name for area in packed.areas] == [area.name for area in plain.areas]
    assert all(a.geometry.equals(b.geometry) for a, b in zip(packed.areas, plain.areas, strict=True))
    assert [name for name, _ in packed.sources] == ["b.zip"]


@pytest.mark.parametrize("seed", range(3))
def test_well_known_text_that_geos_wrote(tmp_path, seed):
    """GEOS writes it by way of shapely, one shape a line, some with heights and over several lines."""
    drawn = many_fields(seed).geometry
    texts = [shapely.to_wkt(one, rounding_precision=15) for one in drawn]
    texts[1] = texts[1].replace(", ", ",\n  ")
    texts[5] = "SRID=4326;" + texts[5]
    texts[3] = shapely.to_wkt(shapely.force_3d(drawn[3], 250.0), rounding_precision=15)
    (tmp_path / "b.wkt").write_text("\n".join(texts) + "\n")
    found = read_field(tmp_path / "b.wkt").areas
    assert [area.name for area in found] == [f"field {number}" for number in range(1, 7)]
    for area, one in zip(found, drawn, strict=True):
        assert area.geometry.symmetric_difference(one).area < 1e-14


def test_projected_well_known_text_is_turned_to_degrees(tmp_path):
    drawn = many_fields(1)
    flat = drawn.to_crs("EPSG:32611").geometry
    (tmp_path / "b.wkt").write_text(
        "\n".join(f"SRID=32611;{shapely.to_wkt(one, rounding_precision=6)}" for one in flat)
    )
    found = read_field(tmp_path / "b.wkt")
    for area, one in zip(found.areas, drawn.geometry, strict=True):
        assert shapely.hausdorff_distance(area.geometry, one) < 1e-10  # a micrometre was written
    assert ["UTM zone 11N" in text for text in sentences(found)] == [True]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("POLYGON ((0 0, 1 0, 1 1", r"b\.wkt, shape 1: this well-known text is broken or cut off"),
        ("GEOMETRYCOLLECTION (" * 100_000, "its brackets are nested over 16 deep"),
        ("POINT (1 2)", "there is no area in it"),
        ("POLYGON ((0 0, 1e999 0, 1 1, 0 0))", "a coordinate in it is not a number"),
        ("POLYGON EMPTY", "there is no area in it"),
        ("POLYGON ((0 0, 1 0, 1 1, 0 0))\nrubbish (", r"b\.wkt, shape 2: this well-known text is broken"),
        ("SRID=999999;POLYGON ((0 0, 1 0, 1 1, 0 0))", "coordinate reference system that cannot be read"),
        ("POLYGON ((500000 4800000, 501000 4800000, 501000 4801000, 500000 4800000))", "is no longitude and latitude"),
    ],
)
def test_well_known_text_that_is_no_outline_is_refused(tmp_path, text, said):
    (tmp_path / "b.wkt").write_text(text)
    with pytest.raises(InputError, match=said):
        read_field(tmp_path / "b.wkt")


def test_the_parts_of_a_shapefile_are_found_in_any_capitals(tmp_path):
    many_fields(1).to_file(tmp_path / "b.shp")
    plain = read_field(tmp_path / "b.shp").areas
    for part in tmp_path.glob("b.*"):
        part.rename(tmp_path / f"C{part.suffix.upper()}")
    assert [area.name for area in read_field(tmp_path / "C.SHP").areas] == [area.name for area in plain]
