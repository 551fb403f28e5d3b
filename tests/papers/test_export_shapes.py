"""Shapes in degrees are valid after rounding, keep their kind, and stop at the antimeridian (RFC 7946)."""

import dataclasses
import json
from pathlib import Path

import numpy as np
import pytest
import shapely
from audit_builder import worked_figure
from jobs import FIELD_100_X_60, job, log, parallel_passes, worked_job

from coverage_audit.drive.model import PlaneOrigin
from coverage_audit.drive.plane import Plane
from coverage_audit.jobs.settings import RateSettings
from coverage_audit.papers import page, shapes
from coverage_audit.papers.geojson import collection_text, findings_geojson, passes_geojson
from coverage_audit.papers.rate_files import rate_files
from coverage_audit.papers.shapes import degree_shapes
from coverage_audit.recipe.audit import audit_job

HERE = Plane(PlaneOrigin(-70.5, -41.2))


def valid_features(text):
    """Features of a GeoJSON text, each valid, on the globe, outer rings anticlockwise (RFC 7946, 3.1.6)."""
    features = json.loads(text)["features"]
    for feature in features:
        shape = shapely.geometry.shape(feature["geometry"])
        assert shape.is_valid, feature["properties"]
        west, south, east, north = shape.bounds
        assert -180 <= west <= east <= 180
        assert -90 <= south <= north <= 90
        for part in shapely.get_parts(shape):
            if part.geom_type == "Polygon":
                assert part.exterior.is_ccw
    return features


NECK = shapely.Polygon([(0, 0), (10, 0), (10, 10), (5.0002, 5), (0, 10), (0, 0.5), (5.0001, 4.9999), (0, 0.4)])
SPIKE = shapely.Polygon([(0, 0), (10, 0), (10, 4.99999), (30, 5), (10, 5.00001), (10, 10), (0, 10)])
HOLED = shapely.Polygon([(0, 0), (10, 0), (10, 10), (0, 10)], [[(1e-4, 5), (5, 5.0004), (9.9999, 5), (5, 9.99995)]])


@pytest.mark.parametrize("shape", [NECK, SPIKE, HOLED])
def test_polygons_with_hair_thin_parts_are_valid_once_rounded(shape):
    (found,) = degree_shapes([shape], HERE)
    assert found.is_valid
    assert found.geom_type in ("Polygon", "MultiPolygon")
    assert shapely.area(HERE.geometry_to_metres(found)) == pytest.approx(shape.area, rel=1e-3)
    grid = shapely.get_coordinates(found) * 1e8
    assert grid == pytest.approx(np.rint(grid), abs=1e-3)


HAIRS = shapely.from_wkt(
    "MULTIPOLYGON (((-179.9999997546417 10.000000000009166, -179.9999731034846 10.000000000007105, "
    "-179.99997310348456 10.000000000007079, -179.9999997546417 10.000000000009166)), ((-179.9999997546417 "
    "10.000000000009166, -180.0000104151054 10.00000000000999, -180.0000104151054 10.000000000010001, "
    "-179.9999997546417 10.000000000009166)))"
)
"""Two hairs of 3 m and 1 m by a micrometre, one of them across the antimeridian. [deg]"""


def test_hairs_across_the_antimeridian_are_cut_there():
    (found,) = shapes._within_turn(np.array([HAIRS], dtype=object))  # noqa: SLF001 - rounding would take them first
    west, _, east, _ = found.bounds
    assert (west, east) == pytest.approx((-180, 180), abs=3e-5)
    assert found.area == pytest.approx(HAIRS.area, rel=1e-3)


def test_a_line_keeps_its_order_where_it_crosses_itself():
    line = shapely.LineString([(0, 0), (10, 10), (10, 0), (0, 10)])
    (found,) = degree_shapes([line], HERE)
    assert shapely.get_coordinates(HERE.geometry_to_metres(found)) == pytest.approx(
        shapely.get_coordinates(line), abs=2e-3
    )


@pytest.mark.parametrize("lon", [180.0, -180.0, 179.9999, -179.9999])
def test_what_crosses_the_antimeridian_is_cut_there(lon):
    """RFC 7946, 3.1.9: none of its parts crosses; together they are as large as before."""
    plane = Plane(PlaneOrigin(lon, 62.0))
    field, line = shapely.box(-60, -20, 60, 20), shapely.LineString([(-50, 0), (50, 0)])
    told, way = degree_shapes([field, line], plane)
    assert told.geom_type == "MultiPolygon"
    assert (told.bounds[0], told.bounds[2]) == (-180.0, 180.0)
    for part in told.geoms:
        assert part.bounds[2] - part.bounds[0] < 1
    area = sum(shapely.area(plane.geometry_to_metres(part)) for part in told.geoms)
    assert area == pytest.approx(field.area, rel=1e-4)
    assert [one.bounds[2] - one.bounds[0] < 1 for one in way.geoms] == [True, True]


def test_the_passes_file_is_valid_for_a_field_with_hair_thin_parts():
    times, points, on = parallel_passes((5.0, 15.0, 25.0), 0.0, 100.0, hz=1.0)
    thin = FIELD_100_X_60 - shapely.Polygon([(60, 50), (20, 50.00002), (60, 50.00004)])
    audit = audit_job(job(log(times, points), on, thin, exclude=(shapely.box(20, 20, 20.0004, 80),)))
    features = valid_features(passes_geojson(audit))
    assert [one["properties"]["kind"] for one in features[:2]] == ["field", "target"]
    assert len(features) == 2 + len(audit.passes.passes)


def test_the_rate_classes_are_valid():
    files = rate_files(audit_job(worked_job(1.0, rate=RateSettings(100.0, 15.0))))
    assert valid_features(files["rate_classes.geojson"])


def test_findings_across_the_antimeridian_are_cut_there_too():
    """One writer for every file: no finding reaches round the globe, each is as large as its area says."""
    plane = PlaneOrigin(179.999, 62.0)  # 52 m west of it
    audit = dataclasses.replace(worked_figure(), origin=plane)
    features = valid_features(findings_geojson(audit))
    assert [one["id"] for one in features] == [one["properties"]["id"] for one in features] == ["M1", "D1"]
    for feature in features:
        shape = shapely.geometry.shape(feature["geometry"])
        assert shape.geom_type == "MultiPolygon"
        assert all(part.bounds[2] - part.bounds[0] < 1 for part in shape.geoms)
        area = sum(shapely.area(Plane(plane).geometry_to_metres(part)) for part in shape.geoms)
        assert area == pytest.approx(feature["properties"]["area_m2"], rel=1e-3)


def test_what_is_nothing_on_the_grid_is_left_out_of_the_findings_only():
    speck, plot = shapely.box(0, 0, 1e-5, 1e-5), shapely.box(0, 0, 5, 5)
    found = [(speck, {"id": "A"}), (plot, {"kind": "b"})]
    dropped = json.loads(collection_text(found, HERE, drop_empty=True))["features"]
    kept = json.loads(collection_text(found, HERE))["features"]
    assert [one["properties"] for one in dropped] == [{"kind": "b"}]
    assert [one.get("id") for one in kept] == ["A", None]


def test_no_other_module_writes_geojson_or_gpx():
    """One writer each: the type of a collection and the version of GPX are written in one place."""
    papers = Path(page.__file__).parent
    texts = {path.relative_to(papers).as_posix(): path.read_text(encoding="utf-8") for path in papers.rglob("*.py")}
    writers = {name for name, text in texts.items() if "FeatureCollection" in text}
    # the live map draws by its library's own data, simplified; a kept field stays in degrees as it came
    assert writers == {"geojson.py", "maps/live.py", "farm_files.py"}
    assert {name for name, text in texts.items() if "to_xml(" in text} == {"gpx.py"}
    assert {name for name, text in texts.items() if 'class="bar" d=' in text} == {"maps/still.py"}


def test_a_stand_beyond_the_antimeridian_keeps_its_place():
    """A way of no length is in no rectangle that it could be cut by."""
    plane = Plane(PlaneOrigin(179.9999, 10.0))
    (shape,) = degree_shapes([shapely.LineString([(30.0, 5.0), (30.0, 5.0)])], plane)
    assert (shape.geom_type, shape.is_empty) == ("Point", False)
    assert -180.0 < shape.x < -179.999
    assert plane.geometry_to_metres(shape).distance(shapely.Point(30.0, 5.0)) < 0.002


@pytest.mark.parametrize("length_m", [0.0, 1e-5])
def test_a_line_within_the_grid_is_the_place_it_lies_at(length_m):
    """A pass of no length: an empty line would be no place at all (RFC 7946, 3.1.4: two positions or more)."""
    (shape,) = degree_shapes([shapely.LineString([(5.0, 5.0), (5.0, 5.0 + length_m)])], HERE)
    assert (shape.geom_type, shape.is_empty) == ("Point", False)
    assert HERE.geometry_to_metres(shape).distance(shapely.Point(5.0, 5.0)) < 0.002


def test_ground_whose_corners_lie_on_one_line_in_degrees_still_has_a_place():
    """Triangles along one parallel, 17 m long and some micrometres high: no polygon without corners."""
    lon = np.array([-70.5, -70.4999, -70.5001])
    hairs = [shapely.Polygon(np.column_stack(HERE.to_metres(lon, np.full(3, -41.2 + k * 1e-5)))) for k in range(40)]
    assert all(hair.is_valid and hair.area > 1e-5 for hair in hairs)
    for hair, told in zip(hairs, valid_features(collection_text([(hair, {}) for hair in hairs], HERE)), strict=True):
        shown = HERE.geometry_to_metres(shapely.geometry.shape(told["geometry"]))
        assert shapely.hausdorff_distance(hair, shown) < 0.003  # a step of the grid either way: 1.1 mm, 0.8 mm
        assert shown.area < hair.length * 0.003
