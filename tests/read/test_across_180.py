"""A field across 180 degrees, its longitudes as loggers and map programs write them."""

import json
import re

import numpy as np
import pytest

from coverage_audit.jobs.read import read_job
from coverage_audit.read.tracks.faults import within_turn
from coverage_audit.recipe.audit import audit_job

EAST_DEG = 296.1994  # from 116.2 west to 0.05 km west of 180 degrees


def moved(lon_deg, convention):
    lon = float(lon_deg) + EAST_DEG
    return lon - 360 if convention == "-180..180" and lon > 180 else lon


def areas(small_job):
    found = audit_job(read_job(small_job.folder / "job.toml")).area_m2
    return [getattr(found, name) for name in ("field", "target", "covered", "missed", "double", "outside", "swept")]


@pytest.mark.parametrize("convention", ["0..360", "-180..180"])
def test_a_job_across_180_degrees_is_the_same_job_elsewhere(small_job, convention):
    elsewhere = areas(small_job)
    track = (small_job.folder / "track.gpx").read_text()
    small_job.write("track.gpx", re.sub(r'(?<=lon=")[^"]+', lambda found: repr(moved(found[0], convention)), track))
    outline = json.loads((small_job.folder / "boundary.geojson").read_text())
    rings = (outline["features"][0] if "features" in outline else outline)["geometry"]["coordinates"]
    rings[:] = [[[moved(lon, convention), lat] for lon, lat, *_ in ring] for ring in rings]
    assert (max(lon for lon, _ in rings[0]) > 180) == (convention == "0..360")
    small_job.write("boundary.geojson", json.dumps(outline))
    assert areas(small_job) == pytest.approx(elsewhere, abs=1e-3)


def test_longitudes_beyond_180_are_those_west_of_it_and_nothing_else_moves():
    lon = np.array([180.0, 180.0001, 360.0, 360.1, -180.0, -180.1, np.nan, 12.5])
    found = within_turn(lon)
    assert found[:3] == pytest.approx([180.0, -179.9999, 0.0])
    assert np.array_equal(found[3:], lon[3:], equal_nan=True)
