"""Boundaries from every format, in any reference system, and what is refused."""

import json
import zipfile

import geopandas as gpd
import pytest
import shapely
from cautions_of_files import sentences
from pyproj import Geod
from shapely.geometry import Polygon

from coverage_audit.errors import InputError
from coverage_audit.read.outlines.areas import line_gap
from coverage_audit.read.outlines.registry import read_field

GEOD = Geod(ellps="WGS84")
SQUARE = [(-116.0, 43.6), (-115.999, 43.6), (-115.999, 43.601), (-116.0, 43.601), (-116.0, 43.6)]
OTHER = [(x + 0.002, y) for x, y in SQUARE]
UTM_11N = "EPSG:32611"


def feature(ring, kind="Polygon", **properties):
    coordinates = [ring] if kind == "Polygon" else ring
    return {"type": "Feature", "properties": properties, "geometry": {"type": kind, "coordinates": coordinates}}


def collection(*features, **members):
    return json.dumps({"type": "FeatureCollection", **members, "features": features})


@pytest.fixture
def read(tmp_path):
    """Write a file and read it as a boundary."""

    def write_and_read(name, content):
        path = tmp_path / name
        path.write_bytes(content.encode() if isinstance(content, str) else content)
        return read_field(path)

    return write_and_read


@pytest.fixture
def refusal(read):
    """Message of a refusal."""

    def message(name, content):
        with pytest.raises(InputError) as caught:
            read(name, content)
        return str(caught.value)

    return message


def area_m2(geometry):
    """Area [m2] on the ellipsoid by pyproj's geodesic referee."""
    return abs(GEOD.geometry_area_perimeter(shapely.geometry.polygon.orient(geometry))[0])


def kml(*placemarks):
    body = "".join(f"<Folder><Placemark><name>{name}</name>{shape}</Placemark></Folder>" for name, shape in placemarks)
    return f'<?xml version="1.0"?><kml xmlns="http://www.opengis.net/kml/2.2"><Document>{body}</Document></kml>'


def kml_coordinates(ring):
    return f"<coordinates>{' '.join(f'{x},{y},850' for x, y in ring)}</coordinates>"


def kml_polygon(ring):
    return f"<Polygon><outerBoundaryIs><LinearRing>{kml_coordinates(ring)}</LinearRing></outerBoundaryIs></Polygon>"


def gpx(*points, kind="track", name="driven"):
    around = {
        "track": ("<trk>", "<trkseg>", "trkpt", "</trkseg>", "</trk>"),
        "route": ("<rte>", "", "rtept", "", "</rte>"),
    }
    begin, inner, tag, inner_end, end = around[kind]
    body = "".join(f'<{tag} lat="{y}" lon="{x}"/>' for x, y in points)
    return (
        '<gpx xmlns="http://www.topografix.com/GPX/1/1" version="1.1" creator="test">'
        f"{begin}<name>{name}</name>{inner}{body}{inner_end}{end}</gpx>"
    )


# --- formats ------------------------------------------------------------------------------


def test_geojson_with_heights_gives_a_flat_polygon_in_lon_lat(read):
    found = read("b.geojson", collection(feature([(x, y, 850.0) for x, y in SQUARE], name="East")))
    (area,) = found.areas
    assert area.name == "East"
    assert area.geometry.equals(Polygon(SQUARE))
    assert not area.geometry.has_z
    assert found.cautions == ()


def test_bare_geometry_and_byte_order_mark(read):
    bare = json.dumps({"type": "Polygon", "coordinates": [SQUARE]})
    assert read("b.json", "\ufeff" + bare).areas[0].geometry.equals(Polygon(SQUARE))


def test_kml_folders_are_all_read_and_a_closed_line_is_a_polygon(read):
    line = f"<LineString>{kml_coordinates(OTHER)}</LineString>"
    point = f"<Point>{kml_coordinates(SQUARE[:1])}</Point>"
    found = read("b.kml", kml(("gate", point), ("East", kml_polygon(SQUARE)), ("West", line)))
    assert [area.name for area in found.areas] == ["East", "West"]
    assert found.areas[1].geometry.equals(Polygon(OTHER))
    assert "1 shape(s) without an area" in sentences(found)[0]


@pytest.mark.parametrize("suffix", ["gpkg", "shp", "geojson"])
@pytest.mark.parametrize("crs", ["EPSG:4326", UTM_11N, "EPSG:3857", "EPSG:2241", "EPSG:4258"])
def test_any_stated_reference_system_comes_back_to_the_same_ground(tmp_path, suffix, crs):
    """UTM, web mercator, a US-foot state plane (Idaho East) and ETRS89 degrees.

    Tolerance 1e-6 of 8 900 m2: shapefile and GeoJSON round coordinates, the grid shift
    between NAD83 and WGS 84 moves but does not stretch.
    """
    frame = gpd.GeoDataFrame({"name": ["East"]}, geometry=[Polygon(SQUARE)], crs="EPSG:4326").to_crs(crs)
    path = tmp_path / f"b.{suffix}"
    frame.to_file(path, COORDINATE_PRECISION=9) if suffix == "geojson" else frame.to_file(path)
    found = read_field(path)
    (area,) = found.areas
    assert [frame.crs.name in caution for caution in sentences(found)] == ([] if crs == "EPSG:4326" else [True])
    assert area_m2(area.geometry) == pytest.approx(area_m2(Polygon(SQUARE)), rel=1e-5)
    assert shapely.hausdorff_distance(area.geometry, Polygon(SQUARE)) < 3e-5  # 3 m: NAD83 lies 1-2 m off WGS 84


def test_old_geojson_may_state_its_reference_system(read):
    ring = [(500000, 4800000), (500100, 4800000), (500100, 4800100), (500000, 4800100), (500000, 4800000)]
    crs = {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::32611"}}
    (area,) = read("b.geojson", collection(feature(ring), crs=crs)).areas
    # the scale on UTM's central meridian is 0.9996 (EPSG 16011), so 1e4 m2 of grid is 1e4 / 0.9996^2 of ground
    assert area_m2(area.geometry) == pytest.approx(1e4 / 0.9996**2, rel=1e-6)


def test_geopackage_layers_are_all_read(tmp_path):
    path = tmp_path / "b.gpkg"
    for layer, ring in (("one", SQUARE), ("two", OTHER)):
        gpd.GeoDataFrame({"name": [layer]}, geometry=[Polygon(ring)], crs="EPSG:4326").to_file(path, layer=layer)
    assert [area.name for area in read_field(path).areas] == ["one", "two"]


def test_every_file_of_a_shapefile_is_a_source(tmp_path):
    path = tmp_path / "b.shp"
    gpd.GeoDataFrame({"name": ["East"]}, geometry=[Polygon(SQUARE)], crs="EPSG:4326").to_file(path)
    assert {name for name, _ in read_field(path).sources} == {"b.shp", "b.shx", "b.dbf", "b.prj", "b.cpg"}


def test_shapefile_without_system_is_taken_as_degrees_when_it_can_be(tmp_path):
    path = tmp_path / "b.shp"
    frame = gpd.GeoDataFrame({"name": ["East"]}, geometry=[Polygon(SQUARE)], crs="EPSG:4326")
    frame.to_file(path)
    path.with_suffix(".prj").unlink()
    assert "states no coordinate reference system" in sentences(read_field(path))[0]
    frame.to_crs(UTM_11N).to_file(path)
    path.with_suffix(".prj").unlink()
    with pytest.raises(InputError, match="projected coordinates without a coordinate reference system"):
        read_field(path)


def test_collections_multipolygons_and_holes(read):
    hole = [(-115.9996, 43.6004), (-115.9995, 43.6004), (-115.9995, 43.6005), (-115.9996, 43.6004)]
    multi = {"type": "MultiPolygon", "coordinates": [[SQUARE, hole], [OTHER]]}
    point = {"type": "Point", "coordinates": SQUARE[0]}
    geometry = {"type": "GeometryCollection", "geometries": [point, multi]}
    (area,) = read("b.geojson", collection({"type": "Feature", "properties": {}, "geometry": geometry})).areas
    assert area.geometry.equals(shapely.MultiPolygon([(SQUARE, [hole]), (OTHER, [])]))


def test_overlapping_parts_are_united(read):
    half = [(x + 0.0005, y) for x, y in SQUARE]
    geometry = {"type": "MultiPolygon", "coordinates": [[SQUARE], [half]]}
    (area,) = read("b.geojson", collection({"type": "Feature", "properties": {}, "geometry": geometry})).areas
    assert area.geometry.is_valid
    assert area_m2(area.geometry) == pytest.approx(1.5 * area_m2(Polygon(SQUARE)), rel=1e-6)


# --- names --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("properties", "name"),
    [
        ({"NAME": "East", "id": "7"}, "East"),
        ({"id": "7", "Field": "East"}, "East"),
        ({"area": 3.5, "crop": "hay"}, "hay"),
        ({"id": 7}, "7"),
        ({"name": None, "title": "East"}, "East"),
        ({"area": 3.5}, "field"),
        ({}, "field"),
    ],
)
def test_name_comes_from_the_first_column_that_can_be_one(read, properties, name):
    assert read("b.geojson", collection(feature(SQUARE, **properties))).areas[0].name == name


def test_unnamed_polygons_are_numbered(read):
    found = read("b.geojson", collection(feature(SQUARE), feature(OTHER)))
    assert [area.name for area in found.areas] == ["field 1", "field 2"]


# --- driven lines -------------------------------------------------------------------------


@pytest.mark.parametrize("kind", ["track", "route"])
def test_driven_line_is_closed_over_a_small_gap_and_says_how_wide(read, kind):
    lon_10_m = GEOD.fwd(*SQUARE[0], 0.0, 10.0)[1]
    found = read("b.gpx", gpx(*SQUARE[:4], (SQUARE[0][0], lon_10_m), kind=kind))
    assert found.areas[0].name == "driven"
    assert "10.0 m apart" in sentences(found)[0]


def test_large_field_may_have_a_gap_of_two_per_cent(read):
    """A square of 0.01 degrees is about 3.8 km round, so a gap of 60 m passes and one of 90 m does not."""
    ring = [(-116, 43.6), (-115.99, 43.6), (-115.99, 43.61), (-116, 43.61)]
    length = GEOD.line_length(*zip(*ring, ring[0], strict=True))
    assert 0.02 * length > 60
    near, far = (GEOD.fwd(-116, 43.6, 0, gap)[1] for gap in (60, 90))
    assert "60.0 m apart" in sentences(read("b.gpx", gpx(*ring, (-116, near))))[0]
    with pytest.raises(InputError, match="90 m apart, so it does not go round"):
        read("c.gpx", gpx(*ring, (-116, far)))


def test_closed_route_needs_no_caution(read):
    assert read("b.gpx", gpx(*SQUARE, kind="route")).cautions == ()


def test_line_is_measured_on_the_ellipsoid():
    """One minute of latitude at 45 degrees is 1 852.2 m on the ellipsoid (1 853.2 m on a mean sphere).

    Source: series of the meridian arc, 111 132.954 - 559.822 cos 2B + 1.175 cos 4B m per degree (from memory).
    """
    gap, length = line_gap(shapely.get_coordinates(shapely.LineString([(0, 44.99166667), (0, 45.00833333)])))
    assert gap == length == pytest.approx((111_132.954 - 1.175) / 60, abs=0.05)


def test_two_points_do_not_go_round(refusal):
    assert "too few" in refusal("b.gpx", gpx(*SQUARE[:2]))


def test_waypoints_alone_are_no_boundary(refusal):
    text = '<gpx xmlns="http://www.topografix.com/GPX/1/1" version="1.1" creator="t"><wpt lat="1" lon="2"/></gpx>'
    assert "no track or route" in refusal("b.gpx", text)


# --- repair -------------------------------------------------------------------------------


def test_spike_is_repaired_because_no_reading_changes_the_area(read):
    spike = [*SQUARE[:3], (-116.0005, 43.601), *SQUARE[3:]]
    found = read("b.geojson", collection(feature(spike)))
    assert found.areas[0].geometry.is_valid
    assert area_m2(found.areas[0].geometry) == pytest.approx(area_m2(Polygon(SQUARE)), rel=1e-9)
    assert "was repaired" in sentences(found)[0]


def test_crossing_of_a_hand_s_breadth_is_repaired(read):
    """The last corner overshoots by 0.1 m, a lobe of far below 1 m2."""
    lat = GEOD.fwd(*SQUARE[0], 0.0, 0.1)[1]
    lon = GEOD.fwd(*SQUARE[0], 270.0, 0.1)[0]
    ring = [*SQUARE[:4], (lon, SQUARE[0][1]), (SQUARE[0][0], lat), SQUARE[0]]
    crossed = [ring[0], *ring[1:4], (-116.0, lat), (lon, 43.6), (-115.99999, 43.59999999), ring[0]]
    found = read("b.geojson", collection(feature(crossed)))
    assert found.areas[0].geometry.is_valid
    assert area_m2(found.areas[0].geometry) == pytest.approx(area_m2(Polygon(SQUARE)), abs=1.0)


def test_bow_tie_is_refused_with_the_place_it_crosses(refusal):
    bow = [SQUARE[0], SQUARE[2], SQUARE[1], SQUARE[3], SQUARE[0]]
    message = refusal("b.geojson", collection(feature(bow, name="East")))
    assert message.startswith('b.geojson, "East": ')
    assert "at 43.600500, -115.999500 (lat, lon)" in message


def test_ground_that_a_ring_goes_round_twice_is_refused(refusal):
    """Even-odd counting makes a hole of it, a union of rings does not: the person has to say."""
    (x0, y0), (x1, y1) = SQUARE[0], SQUARE[2]
    inner = [
        (x0 + 0.0002, y0 + 0.0002),
        (x1 - 0.0002, y0 + 0.0002),
        (x1 - 0.0002, y1 - 0.0002),
        (x0 + 0.0002, y1 - 0.0002),
    ]
    assert "differ by" in refusal("b.geojson", collection(feature([*SQUARE, *inner, inner[0], SQUARE[0]])))


# --- refusals -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        ("b.geojson", "", "is empty"),
        ("b.geojson", collection(), "no shape in it"),
        ("b.geojson", collection(feature(SQUARE[0], "Point")), "only points or lines"),
        ("b.geojson", collection(feature(SQUARE[:3], "LineString")), "only points or lines"),
        ("b.geojson", collection({"type": "Feature", "properties": {}, "geometry": None}), "only points or lines"),
        ("b.geojson", collection(feature([SQUARE[0], SQUARE[1], SQUARE[0], SQUARE[0]])), "only points or lines"),
        ("b.geojson", collection(feature(SQUARE))[:-40], "broken or cut off"),
        ("b.geojson", collection(feature(SQUARE[:-1])), "cannot be built"),
        ("b.geojson", '{"a": 1}', 'its "type" is missing'),
        ("b.geojson", collection(feature(SQUARE)).replace("43.601", "NaN"), "not a number"),
        ("b.geojson", collection(feature([(y, x) for x, y in SQUARE])), "seem to be swapped"),
        ("b.geojson", collection(feature([(x + 5e5, y + 48e5) for x, y in SQUARE])), "projected coordinates without"),
        ("b.geojson", collection(feature([(x, y + 47) for x, y in SQUARE])), "no longitude and latitude"),
        ("b.kml", kml(("East", kml_polygon(SQUARE)))[:-30], "broken or cut off"),
        ("b.kml", kml(("East", f"<Point>{kml_coordinates(SQUARE[:1])}</Point>")), "only points or lines"),
        ("b.gpx", gpx(*SQUARE)[:-12], "broken or cut off"),
        ("b.gpx", gpx(*SQUARE[:3]), "does not go round the field"),
        ("b.gpx", gpx((400, 43.6), *SQUARE), "out of range"),
        ("b.xml", "<OGRVRTDataSource/>", "<OGRVRTDataSource> is not a boundary"),
        ("b.html", "<!DOCTYPE html><html/>", "document type"),
        ("b.csv", "lat,lon\n1,2\n", "not a boundary file"),
        ("b.gpkg", b"SQLite format 3\0" + b"\1" * 200, "broken or cut off"),
        ("b.shp", b"\0\0\x27\x0a" + b"\0" * 96, ".shx file is missing"),
    ],
)  # fmt: skip
def test_what_is_no_boundary_is_refused_with_a_reason(refusal, name, content, said):
    message = refusal(name, content)
    assert name in message
    assert said in message


@pytest.mark.parametrize("root", ["kml", "gpx"])
def test_entities_are_never_expanded(tmp_path, refusal, root):
    """A bomb of nested entities, and one that points at another file."""
    secret = tmp_path / "secret.txt"
    secret.write_text("-116,43.6", encoding="utf-8")
    bomb = '<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;">'
    for entity in (bomb, f'<!ENTITY b SYSTEM "{secret.as_uri()}">'):
        message = refusal(f"b.{root}", f'<?xml version="1.0"?>\n<!DOCTYPE {root} [{entity}]>\n<{root}>&b;</{root}>')
        assert message.startswith(f"b.{root}, line 2: ")
        assert "<!DOCTYPE>" in message


def test_a_packed_boundary_is_read_and_several_are_refused(tmp_path):
    path = tmp_path / "b.kmz"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("doc.kml", kml(("East", kml_polygon(SQUARE))))
        archive.writestr("images/stone.png", b"\x89PNG")
    assert [area.name for area in read_field(path).areas] == ["East"]
    with zipfile.ZipFile(path, "a") as archive:
        archive.writestr("other.kml", kml(("West", kml_polygon(SQUARE))))
    with pytest.raises(InputError, match=r"it holds 2 boundary files \(doc\.kml, other\.kml\); unpack the one wanted"):
        read_field(path)
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("images/stone.png", b"\x89PNG")
    with pytest.raises(InputError, match=r"no boundary file is in this zip file \(1 files\)"):
        read_field(path)


def test_a_shape_that_is_said_to_be_no_spray_is_no_part_of_the_field(tmp_path):
    pond = [[0.4 * (x - SQUARE[0][0]) + SQUARE[0][0], 0.4 * (y - SQUARE[0][1]) + SQUARE[0][1]] for x, y in SQUARE]
    shapes = json.loads(collection(feature(SQUARE), feature(pond)))
    shapes["features"][0]["properties"] = {"name": "East bench"}
    shapes["features"][1]["properties"] = {"name": "pond", "Kind": "No-spray"}
    (tmp_path / "b.geojson").write_text(json.dumps(shapes), encoding="utf-8")
    found = read_field(tmp_path / "b.geojson")
    assert ([area.name for area in found.areas], [area.name for area in found.no_spray]) == (["East bench"], ["pond"])
    assert not found.derived


def test_missing_file_folder_and_size_limit(tmp_path, monkeypatch, refusal):
    with pytest.raises(InputError, match="no such file"):
        read_field(tmp_path / "nowhere.geojson")
    with pytest.raises(InputError, match=r"this is a folder, and it has no TASKDATA\.XML"):
        read_field(tmp_path)
    monkeypatch.setattr("coverage_audit.read.source.MAX_FILE_BYTES", 100)
    assert "more than the limit" in refusal("b.geojson", collection(feature(SQUARE)))
