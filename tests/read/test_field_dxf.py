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


def drawing(*entities):
    head = groups((0, "SECTION"), (2, "HEADER"), (9, "$ACADVER"), (1, "AC1015"), (0, "ENDSEC"))
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
