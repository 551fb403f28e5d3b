"""Changed outlines of every form: a polygon that is left whole is read, or the file is refused, or its loss is told."""

import re

import geopandas as gpd
import numpy as np
import pytest
import shapely
from read.test_field_dxf import drawing, polyline
from read.test_no_silence import changed, left_in
from simulator import taskdata

from coverage_audit.errors import InputError
from coverage_audit.read.outlines.registry import field_of
from coverage_audit.read.packed import Memory

SEED = 40872
QUICK, MANY = 40, 2_000
GROUND = [shapely.box(-116.2 + 0.003 * k, 43.6, -116.198 + 0.003 * k, 43.602) for k in range(6)]
NAMES = [f"Field {k}" for k in range(6)]
DRIVERS = {"geojson": "GeoJSON", "kml": "LIBKML", "gpkg": "GPKG", "shp": "ESRI Shapefile"}
SHP_HEAD, SHP_RECORD = 100, 136  # bytes of the file's head, and of a record of one ring of five corners (the format)


def spans(pattern, data):
    found = [(one.span(),) for one in re.finditer(pattern, data, re.DOTALL)]
    assert len(found) == len(GROUND)
    return found


@pytest.fixture(scope="module")
def forms(tmp_path_factory):
    """Of each form: its bytes, the bytes of each polygon or None where they are not told, and the files beside it."""
    folder = tmp_path_factory.mktemp("outlines")
    frame = gpd.GeoDataFrame({"name": NAMES}, geometry=GROUND, crs="EPSG:4326")
    for suffix, driver in DRIVERS.items():
        frame.to_file(folder / f"b.{suffix}", driver=driver)
    made = {path.name: path.read_bytes() for path in folder.iterdir()}
    beside = {f"b.{suffix}": made[f"b.{suffix}"] for suffix in ("shp", "shx", "dbf", "prj")}
    named = list(zip(GROUND, NAMES, strict=True))
    wkt = shapely.MultiPolygon(GROUND).wkt.encode()
    rings = [taskdata.polygon(1, [shapely.get_coordinates(one)[:-1].tolist()]) for one in GROUND]
    entries = [taskdata.partfield(f"PFD-{k}", NAMES[k], [ring]) for k, ring in enumerate(rings)]
    index = taskdata.index(*entries).encode()
    plan = drawing(*(polyline(shapely.get_coordinates(one)[:-1].tolist(), name) for one, name in named)).encode()
    records = [((SHP_HEAD + SHP_RECORD * k, SHP_HEAD + SHP_RECORD * (k + 1)),) for k in range(len(GROUND))]
    return {
        "b.geojson": (made["b.geojson"], spans(rb'\{ ?"type": "Feature",.*?\}\s*\}', made["b.geojson"]), {}),
        "b.kml": (made["b.kml"], spans(rb"<Placemark.*?</Placemark>", made["b.kml"]), {}),
        "b.wkt": (wkt, spans(rb"\(\(.*?\)\)", wkt), {}),
        "b.dxf": (plan, spans(rb"  0\nLWPOLYLINE.*?(?=  0\n)", plan), {}),
        "b.gpkg": (made["b.gpkg"], None, {}),
        "b.shp": (made["b.shp"], records, beside),
        "b.shx": (made["b.shx"], None, beside),
        "b.dbf": (made["b.dbf"], None, beside),
        "b.zip": (taskdata.packed(beside), None, {}),
        "TASKDATA.XML": (index, spans(rb"<PFD.*?</PFD>", index), {}),
    }


NAMES_OF_FORMS = ("b.geojson", "b.kml", "b.wkt", "b.dxf", "b.gpkg", "b.shp", "b.shx", "b.dbf", "b.zip", "TASKDATA.XML")


def check(forms, name, seed, number):
    data, records, beside = forms[name]
    target = "b.shp" if beside else name
    said = set(field_of(Memory(beside | {name: data}), target).cautions)
    rng = np.random.default_rng([seed, number, NAMES_OF_FORMS.index(name)])
    new, origin = changed(rng, data)
    try:
        found = field_of(Memory(beside | {name: new}), target)
    except InputError:
        return
    if set(found.cautions) - said:
        return
    whole, there = left_in(origin, records, len(data)) if records else ((), range(len(GROUND)))
    ground = shapely.union_all([area.geometry for area in found.areas])
    for one in whole:
        assert shapely.difference(GROUND[one], ground).area < 1e-12, (number, one)  # a hundredth of a square metre
    if name != "b.wkt":  # one shape, whose parts may grow together
        assert len(found.areas) >= len(there), number


@pytest.mark.parametrize("name", NAMES_OF_FORMS)
def test_polygons_that_are_left_are_read_or_their_loss_is_told(forms, name):
    for number in range(QUICK):
        check(forms, name, SEED, number)


@pytest.mark.slow
@pytest.mark.parametrize("name", NAMES_OF_FORMS)
def test_polygons_left_in_very_many_files_are_read_or_their_loss_is_told(forms, name):
    for number in range(QUICK, QUICK + MANY):
        check(forms, name, SEED, number)
