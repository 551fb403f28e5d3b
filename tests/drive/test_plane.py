"""The plane against geodesics, and the geodesic referee against published polygons."""

import numpy as np
import pytest
import shapely
from geographiclib.geodesic import Geodesic

from coverage_audit.drive.model import PlaneOrigin
from coverage_audit.drive.plane import GEOD, Plane, nearest_m

FIELD_SIZE = [  # SW corner (lat, lon) of 0.005 x 0.005 deg; area by GeographicLib (check-values 10)
    (45.0, -100.0, 219050.2930),
    (41.0, -100.0, 233579.8026),
    (60.0, 25.0, 155408.4782),
    (0.0, 0.0, 307726.8018),
]
ANTARCTICA = [
    *[(-63.1, -58), (-72.9, -74), (-71.9, -102), (-74.9, -102), (-74.3, -131), (-77.5, -163), (-77.4, 163)],
    *[(-71.7, 172), (-65.9, 140), (-65.7, 113), (-66.6, 88), (-66.9, 59), (-69.8, 25), (-70.0, -4)],
    *[(-71.0, -14), (-77.3, -33), (-77.9, -46), (-74.7, -61)],
]


@pytest.mark.parametrize(
    ("points", "perimeter", "area"),
    [
        # GeographicLib-python, test/test_geodesic.py, Planimeter0 and Planimeter15
        ([(0, -1), (-1, 0), (0, 1), (1, 0)], 627598.2731, 24619419146),
        ([(2, 1), (1, 2), (3, 3)], 652827.2022, 18454562325.45),
        # GeographicLib-python, doc/examples.rst
        (ANTARCTICA, 16831067.893, 13662703680020.1),
    ],
)
def test_referee_gives_the_published_polygons(points, perimeter, area):
    lats, lons = zip(*points, strict=True)
    found_area, found_perimeter = GEOD.polygon_area_perimeter(lons, lats)
    assert found_perimeter == pytest.approx(perimeter, abs=1e-3)  # printed to a tenth of a millimetre or more
    assert abs(found_area) == pytest.approx(area, rel=1e-10)  # printed to 10 digits or more


@pytest.mark.parametrize(("lat", "lon", "area"), FIELD_SIZE)
def test_field_size_areas_agree_with_geodesics(lat, lon, area):
    """Plane and geodesic within 1e-6 of the published area, and of a second geodesic library."""
    square = shapely.box(lon, lat, lon + 0.005, lat + 0.005)
    plane = Plane(PlaneOrigin(lon + 0.002, lat + 0.003))
    assert plane.geometry_to_metres(square).area == pytest.approx(area, rel=1e-6)
    assert geodesic_area(square) == pytest.approx(area, rel=1e-8)
    polygon = Geodesic.WGS84.Polygon()
    for x, y in list(square.exterior.coords)[:4]:
        polygon.AddPoint(y, x)
    assert abs(polygon.Compute()[2]) == pytest.approx(area, rel=1e-8)


def geodesic_area(polygon):
    return abs(GEOD.geometry_area_perimeter(polygon)[0])


def test_holes_are_taken_off():
    outer, hole = shapely.box(10, 50, 10.01, 50.01), shapely.box(10.002, 50.002, 10.004, 50.004)
    ring = shapely.Polygon(outer.exterior, [hole.exterior])
    plane = Plane(PlaneOrigin(10.0, 50.0))
    assert plane.geometry_to_metres(ring).area == pytest.approx(geodesic_area(outer) - geodesic_area(hole), rel=1e-6)


@pytest.mark.parametrize("lat", [-75.0, -41.2, 0.0, 43.0, 68.0])
def test_there_and_back(lat):
    """To degrees and back within a micrometre over 3 km, distances within 1e-6 of the geodesic."""
    plane = Plane(PlaneOrigin(179.99, lat))
    x = np.array([0.0, 60.0, -800.0, 1500.0, 0.0])
    y = np.array([0.0, -40.0, 900.0, 1500.0, 3000.0])
    lon, latitude = plane.to_degrees(x, y)
    back_x, back_y = plane.to_metres(lon, latitude)
    assert np.hypot(back_x - x, back_y - y).max() < 1e-6
    for k in range(1, len(x)):
        geodesic = nearest_m(PlaneOrigin(179.99, lat), lon[k : k + 1], latitude[k : k + 1])
        assert geodesic == pytest.approx(np.hypot(x[k], y[k]), rel=1e-6)


def test_areas_are_the_same_wherever_the_plane_touches():
    square = shapely.box(-70.5, -41.2, -70.495, -41.195)
    areas = [Plane(PlaneOrigin(lon, -41.2)).geometry_to_metres(square).area for lon in (-70.5, -70.4, -70.0)]
    assert areas == pytest.approx([areas[0]] * 3, rel=1e-6)  # straight and geodesic edges differ by less
