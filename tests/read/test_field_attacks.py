"""Boundary files made to reach the network, the disk or the end of patience."""

import json
import math
import random
import socket
import sqlite3
import struct
import threading
from contextlib import closing, contextmanager, suppress
from pathlib import Path

import geopandas as gpd
import pytest
import shapely
from cautions_of_files import sentences
from pyproj import network
from shapely.geometry import Polygon

from coverage_audit.errors import InputError
from coverage_audit.read.outlines.registry import read_field

SQUARE = [(-116.0, 43.6), (-115.999, 43.6), (-115.999, 43.601), (-116.0, 43.601), (-116.0, 43.6)]
POLYGON = {"type": "Polygon", "coordinates": [SQUARE]}
RING = " ".join(f"{x},{y}" for x, y in SQUARE)
OUTER = f"<outerBoundaryIs><LinearRing><coordinates>{RING}</coordinates></LinearRing></outerBoundaryIs>"
PLACEMARK = f"<Placemark><name>East</name><Polygon>{OUTER}</Polygon></Placemark>"
KML = f'<kml xmlns="http://www.opengis.net/kml/2.2"><Document>{PLACEMARK}</Document></kml>'


@contextmanager
def listening():
    """A server on this machine; the list fills with whatever connects."""
    called = []
    with socket.create_server(("127.0.0.1", 0)) as server:

        def serve():
            while True:
                try:
                    caller, _ = server.accept()
                except OSError:
                    return
                called.append(caller.recv(100))
                caller.close()

        thread = threading.Thread(target=serve, daemon=True)
        thread.start()
        yield f"http://127.0.0.1:{server.getsockname()[1]}", called
        server.shutdown(socket.SHUT_RDWR)
        thread.join()


def everything_in(folder):
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def refusal(path, content):
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    with pytest.raises(InputError) as caught:
        read_field(path)
    return str(caught.value)


# --- the network and the disk -----------------------------------------------------------------


def attacks(address, folder):
    """Texts that general readers of map files take for an order to fetch, open or write something."""
    other = folder / "other.geojson"
    source = f"<SrcDataSource>{other}</SrcDataSource>"
    order = f"gdal vector pipeline ! read {other} ! write --overwrite {folder / 'written.geojson'}"
    fetch = f"gdal vector pipeline ! read /vsicurl/{address}/a.geojson ! reproject --dst-crs EPSG:4326"
    link = {"type": "link", "properties": {"href": f"{address}/crs", "type": "proj4"}}
    feature = {"type": "Feature", "properties": {}, "geometry": POLYGON}
    more = [{"rel": "next", "href": address}]
    return {
        "order": json.dumps({"type": "gdal_streamed_alg", "command_line": order}),
        "fetch": json.dumps({"type": "gdal_streamed_alg", "command_line": fetch}),
        "link": json.dumps({**POLYGON, "crs": link}),
        "linked collection": json.dumps({"type": "FeatureCollection", "crs": link, "features": [feature]}),
        "named address": json.dumps({**POLYGON, "crs": {"type": "name", "properties": {"name": f"{address}/crs"}}}),
        "named file": json.dumps({**POLYGON, "crs": {"type": "name", "properties": {"name": str(other)}}}),
        "pointer": f'{{ <OGRVRTDataSource><OGRVRTLayer name="other">{source}</OGRVRTLayer></OGRVRTDataSource>',
        "topology": json.dumps({"type": "Topology", "objects": {}, "arcs": []}),
        "service": json.dumps({"type": "FeatureCollection", "features": [], "links": more}),
        "scroll": json.dumps({"exceededTransferLimit": True, "geometryType": "esriGeometryPolygon", "features": []}),
    }  # fmt: skip


@pytest.mark.parametrize("name", sorted(attacks("", Path())))
def test_no_boundary_reaches_the_network_or_the_disk(tmp_path, name):
    (tmp_path / "other.geojson").write_text(json.dumps(POLYGON), encoding="utf-8")
    with listening() as (address, called):
        path = tmp_path / "b.geojson"
        path.write_text(attacks(address, tmp_path)[name], encoding="utf-8")
        before = everything_in(tmp_path)
        with pytest.raises(InputError):
            read_field(path)
        assert everything_in(tmp_path) == before
    assert called == []


def test_kml_network_links_are_told_and_not_opened(tmp_path):
    with listening() as (address, called):
        link = f"<NetworkLink><Link><href>{address}/more.kml</href></Link></NetworkLink>"
        path = tmp_path / "b.kml"
        path.write_text(KML.replace("<Document>", f"<Document>{link}"), encoding="utf-8")
        found = read_field(path)
    assert called == []
    assert [area.name for area in found.areas] == ["East"]
    assert "NetworkLink" in sentences(found)[0]


def test_a_kml_of_network_links_alone_says_so(tmp_path):
    said = refusal(tmp_path / "b.kml", KML.replace(PLACEMARK, "<NetworkLink/>"))
    assert "no shape in it" in said
    assert "were not opened" in said


def test_no_grid_is_fetched_where_the_environment_would_allow_it(tmp_path):
    network.set_network_enabled(active=True)
    try:
        path = tmp_path / "b.geojson"
        path.write_text(
            json.dumps({**POLYGON, "crs": {"type": "name", "properties": {"name": "EPSG:4269"}}}), encoding="utf-8"
        )
        read_field(path)
        assert not network.is_network_enabled()
    finally:
        network.set_network_enabled(active=False)


# --- GeoPackage -------------------------------------------------------------------------------


@pytest.fixture
def geopackage(tmp_path):
    """A GeoPackage whose tables are changed by SQL."""
    path = tmp_path / "b.gpkg"
    gpd.GeoDataFrame({"name": ["East"]}, geometry=[Polygon(SQUARE)], crs="EPSG:4326").to_file(path, layer="east")

    def change(*statements):
        with closing(sqlite3.connect(path)) as base:
            for statement in statements:
                base.execute(statement)
            base.commit()
        return path

    return change


AS_VIEW = (
    "ALTER TABLE east RENAME TO hidden",
    "UPDATE gpkg_geometry_columns SET table_name = 'east'",
    "CREATE VIEW east AS SELECT fid, geom, {} AS name FROM hidden",
)


@pytest.mark.parametrize("column", ["name", "ogr_geocode('x')", "load_extension('x')", "randomblob(1e9)"])
def test_geopackage_layers_that_are_views_are_refused(geopackage, column):
    with pytest.raises(InputError, match='layer "east" is no plain table'):
        read_field(geopackage(*(one.format(column) for one in AS_VIEW)))


def test_geopackage_layers_that_are_virtual_tables_are_refused(geopackage):
    path = geopackage("ALTER TABLE east RENAME TO hidden", "CREATE VIRTUAL TABLE east USING fts4(name, geom)",
                      "UPDATE gpkg_geometry_columns SET table_name = 'east'")  # fmt: skip
    with pytest.raises(InputError, match='layer "east" is no plain table'):
        read_field(path)


def test_geopackage_functions_of_a_generated_column_are_not_run(geopackage):
    path = geopackage("ALTER TABLE east DROP COLUMN name", "ALTER TABLE east ADD COLUMN more AS (hex(zeroblob(1000)))")
    assert [area.name for area in read_field(path).areas] == ["field"]


def test_geopackage_registers_that_are_views_without_end_are_stopped(geopackage, monkeypatch):
    endless = "WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n) SELECT * FROM n"
    columns = "i AS table_name, i AS column_name, i AS srs_id"
    view = f"CREATE VIEW gpkg_geometry_columns AS SELECT {columns} FROM ({endless})"  # noqa: S608 - no input in it
    path = geopackage("DROP TABLE gpkg_geometry_columns", view)
    monkeypatch.setattr("coverage_audit.read.outlines.tolerances.MAX_DATABASE_STEPS", 1_000_000)
    with pytest.raises(InputError, match="broken or cut off"):
        read_field(path)


def test_reading_a_geopackage_leaves_no_trace_beside_it(tmp_path, geopackage):
    path = geopackage("PRAGMA journal_mode = WAL")
    before = everything_in(tmp_path)
    assert [area.name for area in read_field(path).areas] == ["East"]
    assert everything_in(tmp_path) == before


def test_geopackage_that_another_program_has_open_is_refused(tmp_path, geopackage):
    path = geopackage()
    (tmp_path / "b.gpkg-wal").write_bytes(b"x" * 100)
    with pytest.raises(InputError, match="open in another program"):
        read_field(path)


# --- Shapefile --------------------------------------------------------------------------------


@pytest.fixture
def shapefile(tmp_path):
    path = tmp_path / "b.shp"
    gpd.GeoDataFrame({"name": ["East"]}, geometry=[Polygon(SQUARE)], crs="EPSG:4326").to_file(path)
    return path


UNREADABLE = "it states a coordinate reference system that cannot be read"
GRID = (
    'GEOGCS["x",DATUM["x",SPHEROID["x",6378137,298.25],EXTENSION["PROJ4_GRIDS","{0}"]],'
    'EXTENSION["PROJ4","+proj=longlat +nadgrids={0}"]]'
)


@pytest.mark.parametrize(
    "text",
    [
        "no system at all",
        'GEOGCS["GCS_WGS_1984",DATUM["D_WGS_1984"',
        "EPSG:4326",
        "+proj=longlat +nadgrids=/etc/hostname",
        GRID.format("http://127.0.0.1:9/grid.tif"),
        "x" * 30_000,
        "\xff\xfe\x00",
    ],
)
def test_system_beside_a_shapefile_that_cannot_be_read_is_not_taken_for_none(shapefile, text):
    shapefile.with_suffix(".prj").write_bytes(text.encode("latin-1"))
    with pytest.raises(InputError, match=UNREADABLE):
        read_field(shapefile)


def test_blank_system_beside_a_shapefile_states_none(shapefile):
    shapefile.with_suffix(".prj").write_text(" \n", encoding="ascii")
    assert "states no coordinate reference system" in sentences(read_field(shapefile))[0]


def test_parts_of_a_shapefile_that_lead_elsewhere_are_refused(tmp_path, shapefile):
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    dbf = shapefile.with_suffix(".dbf")
    dbf.rename(elsewhere / "b.dbf")
    dbf.symlink_to(elsewhere / "b.dbf")
    with pytest.raises(InputError, match=r"b\.dbf: it is a link into another folder"):
        read_field(shapefile)


def test_parts_of_a_shapefile_are_bounded(shapefile, monkeypatch):
    monkeypatch.setattr("coverage_audit.read.outlines.tolerances.MAX_BOUNDARY_BYTES", 300)
    shapefile.with_suffix(".prj").write_bytes(b" " * 301)
    with pytest.raises(InputError, match=r"b\.prj: .* limit"):
        read_field(shapefile)


def test_parts_of_another_shapefile_are_refused(tmp_path, shapefile):
    other = tmp_path / "other.shp"
    gpd.GeoDataFrame({"name": ["a", "b"]}, geometry=[Polygon(SQUARE)] * 2, crs="EPSG:4326").to_file(other)
    other.with_suffix(".dbf").rename(shapefile.with_suffix(".dbf"))
    with pytest.raises(InputError, match=r"has 1 shapes, but its \.dbf has 2 rows"):
        read_field(shapefile)


# --- text that cannot be decoded --------------------------------------------------------------


@pytest.mark.parametrize(
    "encoding", ["no-such-code", "utf-7", "utf-32", "gb18030", "shift_jis", "hex", "\xe9", "idna", "punycode", "rot13"]
)
@pytest.mark.parametrize("body", [KML, KML.replace("East", "\xd6st"), "<a/>"])
def test_unknown_and_odd_encodings_of_xml_are_read_or_refused(tmp_path, encoding, body):
    path = tmp_path / "b.kml"
    path.write_bytes(f'<?xml version="1.0" encoding="{encoding}"?>{body}'.encode("latin-1"))
    with suppress(InputError):
        assert read_field(path).areas


@pytest.mark.parametrize(
    "text", ["[" * 100_000, '{"a":' * 100_000, '{"a":' + "1" * 5000 + "}", b"{\xff}", '{"type": 1e999}']
)
def test_json_that_breaks_readers_is_refused(tmp_path, text):
    assert refusal(
        tmp_path / "b.geojson", text if isinstance(text, bytes) else f'{{"type": "Polygon", "coordinates": {text}'
    )


@pytest.mark.parametrize(
    "geometry",
    [
        {"type": "GeometryCollection", "geometries": []},
        {"type": "GeometryCollection", "geometries": [{"type": "GeometryCollection", "geometries": []}]},
        {"type": "MultiPolygon", "coordinates": []},
        {"type": "MultiPolygon", "coordinates": [[]]},
        {"type": "Polygon", "coordinates": [[]]},
        {"type": "Polygon", "coordinates": []},
        {"type": "MultiLineString", "coordinates": [[], [[1, 2]]]},
        {"type": "Polygon", "coordinates": [[[1, 2]] * 9]},
        {"type": "Polygon", "coordinates": [[[1, 2], [1, 2], [1, 3], [1, 2]]]},
        {"type": "Polygon", "coordinates": [[], SQUARE[:1] * 4]},
        {"type": "Polygon", "coordinates": [[[True, 2]] * 4]},
        {"type": "Polygon", "coordinates": [[["1", "2"]] * 4]},
        {"type": "Polygon", "coordinates": [[[10**400, 2]] * 4]},
        {"type": "Polygon", "coordinates": 5},
        {"type": "Curve", "coordinates": [SQUARE]},
        {"type": "Polygon"},
        [],
    ],
)
def test_empty_and_degenerate_shapes_are_refused(tmp_path, geometry):
    for shape in (geometry, {"type": "GeometryCollection", "geometries": [geometry]}):
        feature = {"type": "Feature", "properties": None, "geometry": shape}
        assert refusal(tmp_path / "b.geojson", json.dumps(feature)).startswith("b.geojson")


def test_a_reference_system_inside_a_feature_is_not_passed_over(tmp_path):
    crs = {"type": "name", "properties": {"name": "EPSG:32611"}}
    for feature in ({"geometry": POLYGON, "crs": crs}, {"geometry": {**POLYGON, "crs": crs}}):
        text = {"type": "FeatureCollection", "features": [{"type": "Feature", "properties": {}, **feature}]}
        assert "reference system of its own" in refusal(tmp_path / "b.geojson", json.dumps(text))


@pytest.mark.parametrize("text", ["1_0,2", "1,2,3,4", "1", "1, 2", "a,b", "1,2,", "0x1,2"])
def test_kml_coordinates_that_are_no_tuples_are_refused(tmp_path, text):
    said = refusal(tmp_path / "b.kml", KML.replace(RING, f"{RING} {text}"))
    assert "cannot be" in said or "not a number" in said


def test_names_are_one_short_line(tmp_path):
    path = tmp_path / "b.geojson"
    name = "East\nResidue test: none found\x1b[2J\u202e\u0085" + "x" * 1000
    path.write_text(
        json.dumps({"type": "Feature", "properties": {"name": name}, "geometry": POLYGON}), encoding="utf-8"
    )
    (area,) = read_field(path).areas
    assert area.name.startswith("East Residue test: none found [2J xxx")
    assert len(area.name) == 120
    assert area.name.isprintable()


# --- bounds -----------------------------------------------------------------------------------


def test_corners_rings_and_bytes_are_bounded(tmp_path, monkeypatch):
    text = json.dumps({"type": "MultiPolygon", "coordinates": [[SQUARE], [[(x + 1, y) for x, y in SQUARE]]]})
    path = tmp_path / "b.geojson"
    for limit, value, said in (
        ("outlines.tolerances.MAX_BOUNDARY_POINTS", 9, "more than 9 corners"),
        ("outlines.tolerances.MAX_BOUNDARY_RINGS", 1, "more than 1 polygons"),
        ("outlines.tolerances.MAX_BOUNDARY_RINGS", 0, "more than 0"),
        ("outlines.registry.MAX_BOUNDARY_BYTES", 100, "MiB"),
    ):
        with monkeypatch.context() as patch:
            patch.setattr(f"coverage_audit.read.{limit}", value)
            assert said in refusal(path, text)


def test_collections_are_not_followed_without_end(tmp_path):
    shape = POLYGON
    for _ in range(100):
        shape = {"type": "GeometryCollection", "geometries": [shape]}
    assert "deep in each other" in refusal(tmp_path / "b.geojson", json.dumps(shape))


def test_collections_in_a_geopackage_are_not_followed_without_end(tmp_path):
    """Each level is nine bytes; a reader that calls itself once a level runs out of stack."""
    nested = b"\1\7\0\0\0\1\0\0\0" * 50_000 + b"\1\7\0\0\0\0\0\0\0"
    path = tmp_path / "b.gpkg"
    gpd.GeoDataFrame({"name": ["East"]}, geometry=[Polygon(SQUARE)], crs="EPSG:4326").to_file(
        path, layer="east", SPATIAL_INDEX="NO"
    )
    with closing(sqlite3.connect(path)) as base:
        for (trigger,) in base.execute(
            "SELECT name FROM sqlite_master WHERE type = 'trigger' AND tbl_name = 'east'"
        ).fetchall():
            base.execute(f"DROP TRIGGER {trigger}")
        base.execute("UPDATE east SET geom = ?", (b"GP\0\1" + struct.pack("<i", 4326) + nested,))
        base.commit()
    with pytest.raises(InputError, match="unknown kind"):
        read_field(path)


def scribble(corners):
    rng = random.Random(5)
    ring = [(-116 + rng.random() / 100, 43.6 + rng.random() / 100) for _ in range(corners)]
    return [*ring, ring[0]]


def test_a_scribble_is_refused_before_it_is_repaired(tmp_path, monkeypatch):
    """1 500 corners at random cross each other some 200 000 times; a repair would take minutes."""
    repaired = []
    monkeypatch.setattr(shapely, "make_valid", lambda *_, **__: repaired.append(1))
    said = refusal(tmp_path / "b.geojson", json.dumps({"type": "Polygon", "coordinates": [scribble(1500)]}))
    assert "crosses itself over and over" in said
    assert repaired == []


def test_a_boundary_driven_twice_round_is_not_taken_for_a_scribble(tmp_path):
    """36 000 fixes of an hour at 10 Hz, with 2 cm of noise: told to be ambiguous or repaired, not over and over."""
    rng = random.Random(6)
    turn = [2 * math.pi * k / 3600 for k in range(3600)]
    ring = [(-116 + 0.001 * math.cos(a) + rng.gauss(0, 2e-7), 43.6 + 0.001 * math.sin(a)) for a in turn]
    ring = [*ring, *[(x + rng.gauss(0, 2e-7), y) for x, y in ring], ring[0]]
    assert "differ by" in refusal(tmp_path / "b.geojson", json.dumps({"type": "Polygon", "coordinates": [ring]}))


@pytest.mark.parametrize(
    ("ring", "said"),
    [
        ([(-100, 10), (100, 10), (100, 50), (-100, 50)], "km wide"),
        ([(-180, -80), (180, -80), (180, 80), (-180, 80)], "km wide"),
        ([(0, 10), (2, 10), (2, 12), (0, 12)], "km wide"),
        ([(0, 89.9), (90, 89.9), (180, 89.9), (-90, 89.9)], "beyond latitude 88"),
        ([(0, -90), (1, -90), (1, -89.99), (0, -89.99)], "beyond latitude 88"),
    ],
)
def test_ground_that_is_no_field_is_refused(tmp_path, ring, said):
    text = json.dumps({"type": "Polygon", "coordinates": [[*ring, ring[0]]]})
    assert said in refusal(tmp_path / "b.geojson", text)


@pytest.mark.parametrize("crossing", [False, True])
def test_a_field_across_the_180th_meridian_is_one_piece(tmp_path, crossing):
    """0.002 x 0.001 degrees on both sides of the meridian, as one ring or cut in two (RFC 7946, 3.1.9)."""
    west = [(179.999, -16.8), (180.0, -16.8), (180.0, -16.799), (179.999, -16.799), (179.999, -16.8)]
    east = [(-180.0, -16.8), (-179.999, -16.8), (-179.999, -16.799), (-180.0, -16.799), (-180.0, -16.8)]
    whole = [(179.999, -16.8), (-179.999, -16.8), (-179.999, -16.799), (179.999, -16.799), (179.999, -16.8)]
    path = tmp_path / "b.geojson"
    parts = [[whole]] if crossing else [[west], [east]]
    path.write_text(json.dumps({"type": "MultiPolygon", "coordinates": parts}), encoding="utf-8")
    (area,) = read_field(path).areas
    assert area.geometry.geom_type == "Polygon"
    assert area.geometry.bounds == pytest.approx((179.999, -16.8, 180.001, -16.799), abs=1e-9)


def test_a_hole_that_shares_a_side_with_the_outline_stays_a_hole_of_its_field(tmp_path):
    """100 m square in steps of a thousandth of a degree: its area is a notch, and the hole is known beside it."""
    ring = [(0.0, 0.0), (0.001, 0.0), (0.001, 0.001), (0.0, 0.001), (0.0, 0.0)]
    at_edge = [(0.0004, 0.0), (0.0006, 0.0), (0.0006, 0.0002), (0.0004, 0.0002), (0.0004, 0.0)]
    amid = [(0.0004, 0.0005), (0.0006, 0.0005), (0.0006, 0.0007), (0.0004, 0.0007), (0.0004, 0.0005)]
    outline = {"type": "Polygon", "coordinates": [ring, at_edge, amid]}
    path = tmp_path / "field.geojson"
    path.write_text(json.dumps({"type": "Feature", "properties": {"name": "East"}, "geometry": outline}))
    found = read_field(path)
    (notch,) = found.edge_holes
    assert (notch.name, notch.geometry.equals(Polygon(at_edge))) == ("East", True)
    assert found.no_spray == ()
    assert len(found.areas[0].geometry.interiors) == 1
