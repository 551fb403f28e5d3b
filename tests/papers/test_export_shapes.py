"""Shapes in degrees are valid after rounding, keep their kind, and stop at the antimeridian (RFC 7946)."""

import json

import numpy as np
import pytest
import shapely
from jobs import FIELD_100_X_60, job, log, parallel_passes, worked_job

from coverage_audit.drive.model import PlaneOrigin
from coverage_audit.drive.plane import Plane
from coverage_audit.jobs.settings import RateSettings
from coverage_audit.papers.rate_files import rate_files
from coverage_audit.papers.shapes import degree_shapes
from coverage_audit.papers.summary import passes_geojson
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
