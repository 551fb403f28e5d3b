"""A file with forty fields, of which one was sprayed: it is told by its place, in every form of outline."""

import geopandas as gpd
import pytest
import shapely

from coverage_audit.jobs.read import read_job
from coverage_audit.recipe.audit import audit_job

SPRAYED = 17
DRIVERS = {"fields.geojson": "GeoJSON", "fields.shp": "ESRI Shapefile", "fields.gpkg": "GPKG", "fields.kml": "LIBKML"}


def forty_fields(small_job):
    """Eight fields side by side in each of five rows, a way of 1 m between neighbours; the sprayed one amid them."""
    across, up = SPRAYED % 8, SPRAYED // 8
    shapes = []
    for number in range(40):
        east, north = 101.0 * (number % 8 - across), 61.0 * (number // 8 - up)
        ring = [(0, 0), (100, 0), (100, 60), (0, 60)]
        shapes.append(shapely.Polygon([small_job.place(x + east, y + north) for x, y in ring]))
    return gpd.GeoDataFrame({"name": [f"Field {n}" for n in range(40)]}, geometry=shapes, crs="EPSG:4326")


@pytest.mark.parametrize("name", DRIVERS)
def test_the_one_sprayed_of_forty_fields_is_told_by_its_place(small_job, name):
    more = {"COORDINATE_PRECISION": 15} if name == "fields.geojson" else {}
    forty_fields(small_job).to_file(small_job.folder / name, driver=DRIVERS[name], **more)
    small_job.change("boundary", f'"{name}"', "field")
    found = audit_job(read_job(small_job.path))
    assert found.sprayed_fields == (f"Field {SPRAYED}",)
    # 100 x 60 m, its corners to at least nine decimals of a degree (0.1 mm round 320 m); ten passes of 10 m cover it
    assert found.area_m2.target == pytest.approx(6000.0, abs=0.05)
    assert found.area_m2.covered == pytest.approx(6000.0, abs=0.05)
