"""Drawings (DXF) as outlines, against GDAL, which writes and reads them, and against areas of plane geometry."""

import geopandas as gpd
import numpy as np
import pyproj
import pytest
import shapely
from cautions_of_files import sentences

from coverage_audit.errors import InputError
from coverage_audit.read.outlines.registry import field_of, read_field
from coverage_audit.read.packed import Memory

UTM = pyproj.CRS("EPSG:32611")
PRJ = UTM.to_wkt("WKT1_ESRI")
X, Y = 564_000.0, 4_828_000.0
FIELD = shapely.box(X, Y, X + 100, Y + 60)
POND = shapely.box(X + 20, Y + 20, X + 30, Y + 30)
TO_UTM = pyproj.Transformer.from_crs("EPSG:4326", UTM, always_xy=True)


def groups(*pairs):
    return "".join(f"{code:>3}\n{text}\n" for code, text in pairs)


def drawing(*entities, unit=None):
    stated = [] if unit is None else [(9, "$INSUNITS"), (70, unit)]
    head = groups((0, "SECTION"), (2, "HEADER"), (9, "$ACADVER"), (1, "AC1015"), *stated, (0, "ENDSEC"))
    return head + groups((0, "SECTION"), (2, "ENTITIES")) + "".join(entities) + groups((0, "ENDSEC"), (0, "EOF"))


def polyline(corners, layer="Lower meadow", *, closed=True, bulges=None, more=()):
    places = []
    for number, (x, y) in enumerate(corners):
        places += [(10, x), (20, y), *([(42, bulges[number])] if bulges else [])]
    return groups((0, "LWPOLYLINE"), (8, layer), *more, (90, len(corners)), (70, int(closed)), *places)


def old_polyline(corners, layer="Lower meadow"):
    vertices = [part for x, y in corners for part in ((0, "VERTEX"), (8, layer), (10, x), (20, y), (30, 0.0))]
    return groups((0, "POLYLINE"), (8, layer), (66, 1), (70, 1), (10, 0), (20, 0), *vertices, (0, "SEQEND"), (8, layer))


def corners(shape):
    return shapely.get_coordinates(shape)[:-1].tolist()


def read(text, prj=PRJ):
    files = {"plan.dxf": text.encode()} | ({"plan.prj": prj.encode()} if prj else {})
    return field_of(Memory(files), "plan.dxf")


def metres(shape):
    return shapely.transform(shape, TO_UTM.transform, interleaved=False)


@pytest.mark.parametrize("draw", [polyline, old_polyline])
def test_a_closed_polyline_is_a_field_named_by_its_layer(draw):
    found = read(drawing(draw(corners(FIELD))))
    (area,) = found.areas
    assert area.name == "Lower meadow"
    assert metres(area.geometry).symmetric_difference(FIELD).area < 1e-3  # a tenth of a millimetre all round
    assert any('turned from "WGS_1984_UTM_Zone_11N"' in text or "turned from" in text for text in sentences(found))
    assert [name for name, _ in found.sources] == ["plan.dxf", "plan.prj"]


def test_filled_areas_as_gdal_writes_them_are_as_gdal_reads_them(tmp_path):
    """GDAL draws polygons as HATCH; the pond in the field is a hole in it here, and a polygon of its own there."""
    path = tmp_path / "plan.dxf"
    frame = gpd.GeoDataFrame({"Layer": ["North", "Pond"]}, geometry=[FIELD, POND], crs=UTM)
    frame.to_file(path, driver="DXF")
    path.with_suffix(".prj").write_text(UTM.to_wkt("WKT1_ESRI"))
    referee = gpd.read_file(path)
    found = read_field(path)
    assert [area.name for area in found.areas] == ["North"]
    field, pond = referee.geometry
    assert metres(found.areas[0].geometry).symmetric_difference(field.difference(pond)).area < 1e-3
    assert any("1 shape(s) drawn inside another were taken as holes" in text for text in sentences(found))


@pytest.mark.parametrize("bulge", [1.0, -1.0, 0.3])
def test_arcs_are_as_gdal_reads_them_and_as_geometry_has_them(tmp_path, bulge):
    """A square whose first side is an arc: a segment of the circle is (r^2 / 2) (a - sin a), textbook."""
    text = drawing(polyline(corners(FIELD), bulges=[bulge, 0, 0, 0]))
    side = abs(np.hypot(*np.subtract(*corners(FIELD)[:2])))
    angle = 4 * np.arctan(bulge)
    radius = side / 2 / np.sin(abs(angle) / 2)
    segment = np.sign(bulge) * radius**2 / 2 * (abs(angle) - np.sin(abs(angle)))
    found = metres(read(text).areas[0].geometry)
    assert found.area == pytest.approx(FIELD.area + segment, rel=2e-5)  # of the chords of a degree
    path = tmp_path / "plan.dxf"
    path.write_text(text)
    (line,) = gpd.read_file(path).geometry
    # GDAL's chords are of about 4 degrees
    assert found.symmetric_difference(shapely.Polygon(line)).area < 5e-3 * abs(segment)


def test_a_drawing_in_degrees_needs_no_system():
    small = shapely.box(-116.2, 43.6, -116.198, 43.602)
    found = read(drawing(polyline(corners(small))), prj="")
    assert found.areas[0].geometry.symmetric_difference(small).area < 1e-15
    assert any("states no coordinate reference system" in text for text in sentences(found))


def test_metres_without_a_system_are_refused_with_what_to_do():
    with pytest.raises(InputError, match=r"projected coordinates without a coordinate reference system"):
        read(drawing(polyline(corners(FIELD))), prj="")


# --- units: numbers of $INSUNITS as in the DXF Reference, lengths as in NIST Special Publication 811 ------


BARE = PRJ.replace(',UNIT["Meter",1.0]]', "]")
FEET_SYSTEM = pyproj.CRS("EPSG:2241")  # a plane of Idaho, in feet of the US survey


@pytest.mark.parametrize(
    ("unit", "length_m"),
    [(1, 0.0254), (2, 0.3048), (4, 0.001), (5, 0.01), (6, 1.0), (10, 0.9144), (21, 1200 / 3937)],
)
def test_a_system_without_a_unit_takes_that_of_the_drawing(unit, length_m):
    assert BARE != PRJ
    places = (np.array(corners(FIELD)) / length_m).tolist()
    found = metres(read(drawing(polyline(places), unit=unit), BARE).areas[0].geometry)
    assert found.symmetric_difference(FIELD).area < 1e-3


@pytest.mark.parametrize("unit", [None, 0, 20, "x"])
def test_where_neither_says_a_unit_the_drawing_is_refused(unit):
    with pytest.raises(InputError, match=r"plan\.dxf: neither the drawing \(\$INSUNITS\) nor its \.prj says"):
        read(drawing(polyline(corners(FIELD)), unit=unit), BARE)


@pytest.mark.parametrize(("unit", "name"), [(2, "feet"), (4, "millimetres"), (21, "US survey feet")])
def test_a_drawing_of_another_unit_than_its_system_is_refused(unit, name):
    said = rf'states {name} as its unit \(\$INSUNITS\), but its system "WGS 84 / UTM zone 11N" counts in metre;'
    with pytest.raises(InputError, match=said):
        read(drawing(polyline(corners(FIELD)), unit=unit))


@pytest.mark.parametrize("unit", [None, 0, 6])
def test_a_drawing_of_the_unit_of_its_system_or_of_none_is_read(unit):
    found = metres(read(drawing(polyline(corners(FIELD)), unit=unit)).areas[0].geometry)
    assert found.symmetric_difference(FIELD).area < 1e-3


@pytest.mark.parametrize("unit", [2, 21])
def test_feet_are_those_of_the_survey_where_the_system_counts_in_these(unit):
    to_feet = pyproj.Transformer.from_crs(UTM, FEET_SYSTEM, always_xy=True)
    places = corners(shapely.transform(FIELD, to_feet.transform, interleaved=False))
    found = read(drawing(polyline(places), unit=unit), FEET_SYSTEM.to_wkt("WKT1_ESRI"))
    # NAD 83 and WGS 84 are told apart by less than 2 m, by the transformation that PROJ takes
    assert metres(found.areas[0].geometry).symmetric_difference(FIELD).area < 2 * FIELD.length


def test_degrees_have_no_unit_of_lengths():
    small = shapely.box(-116.2, 43.6, -116.198, 43.602)
    found = read(drawing(polyline(corners(small)), unit=6), prj="")
    assert found.areas[0].geometry.symmetric_difference(small).area < 1e-15


def test_what_is_open_or_drawn_on_paper_is_left_out_and_counted():
    line = groups((0, "LINE"), (8, "0"), (10, X), (20, Y), (11, X + 5), (21, Y))
    paper = polyline(corners(POND), more=((67, 1),))
    found = read(drawing(polyline(corners(FIELD)), polyline(corners(POND), closed=False), line, paper))
    assert len(found.areas) == 1
    assert any("3 shape(s) without an area" in text for text in sentences(found))


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"AutoCAD Binary DXF\r\n\x1a\0rest", "a binary one; save it as DXF in plain text"),
        (drawing(polyline(corners(FIELD)))[:-40].encode(), "broken or cut off"),
        (drawing(polyline(corners(FIELD))).replace(f"{X}", "wide", 1).encode(), "a coordinate in it is not a number"),
        (drawing().encode(), "no shape in it"),
    ],
)
def test_what_cannot_be_read_is_refused(data, said):
    with pytest.raises(InputError, match=said):
        field_of(Memory({"plan.dxf": data}), "plan.dxf")
