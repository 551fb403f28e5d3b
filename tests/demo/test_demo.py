"""The built-in job: its files, its truth by a second route, and truth beside finding."""

import csv
import dataclasses
import json
import math
import tomllib
from dataclasses import replace

import gpxpy
import make_demo as demo
import numpy as np
import pytest
import shapely
import shapely.geometry
from audit_builder import make_audit
from simulator.jobs import Faults, GnssError, Scenario, simulate

from coverage_audit.demo import job as shipped_job
from coverage_audit.demo.truth import AREA_WORDS, fault_words, truth_text
from coverage_audit.demo.truth import truth as shipped_truth
from coverage_audit.drive.model import PlaneOrigin
from coverage_audit.drive.plane import Plane
from coverage_audit.jobs.read import read_job
from coverage_audit.papers.geojson import findings_geojson
from coverage_audit.recipe.audit import audit_job

NAMES = {"job.toml", "track.gpx", "boom.csv", "boundary.geojson", "pond.geojson"}


@pytest.fixture(scope="module")
def job():
    return demo.demo_job()


@pytest.fixture(scope="module")
def truth(job):
    return demo.true_ground(job)


# --- files ---------------------------------------------------------------------------------


def test_the_same_bytes_are_written_each_time(tmp_path):
    written = []
    for name in ("first", "second"):
        demo.demo_job.cache_clear()
        path = demo.write_demo_job(tmp_path / name / "job")
        assert path == tmp_path / name / "job" / "job.toml"
        written.append({file.name: file.read_bytes() for file in path.parent.iterdir()})
    assert written[0].keys() == NAMES
    assert written[0] == written[1]


def test_the_job_file_names_the_files_beside_it_and_the_true_settings(job):
    files = demo.demo_files()
    told = tomllib.loads(files["job.toml"])
    assert {told["field"]["boundary"], *told["field"]["exclude"], *told["track"]["files"]} <= NAMES
    assert told["boom"]["nozzles"]["count"] * 0.5 == job.scenario.width_m
    assert told["boom"]["antenna_ahead"] == f"{job.scenario.antenna_ahead_m} m"
    assert told["boom"]["axle_behind_antenna"] == f"{job.scenario.axle_behind_antenna_m} m"
    minutes = sum(off - on for on, off in job.on_intervals) / 60
    assert float(told["rate"]["applied"].split()[0]) == pytest.approx(19.4 * minutes, abs=2.5)  # 5 L a mark


def test_track_and_boom_state_read_back(job):
    files = demo.demo_files()
    points = gpxpy.parse(files["track.gpx"]).tracks[0].segments[0].points
    assert len(points) == len(job.times_s)
    rows = list(csv.DictReader(files["boom.csv"].splitlines()))
    assert len(rows) == len(job.on_intervals)
    assert rows[0]["on"].startswith("2026-05-21T02:38")


def test_the_job_is_a_small_irregular_field_with_every_kind_of_trouble(job):
    assert 3e4 < job.scenario.field.area < 5e4
    assert set(job.label) == {"headland", "straight", "turn", "transport", "standing"}
    assert len(job.scenario.faults.offset_m) == len(job.scenario.faults.early_off_m) == 1


def test_what_is_shipped_is_what_the_simulator_makes():
    """Byte for byte; the track as unpacked, since packing may differ with the library that packs."""
    made = demo.shipped_files()
    assert {path.name for path in demo.SHIPPED.iterdir()} == set(made)
    files = demo.demo_files()
    assert shipped_job.demo_files() == {name: text.encode() for name, text in files.items()}
    assert shipped_job.shipped("truth.json") == made["truth.json"]
    assert (demo.SHIPPED / "track.gpx.gz").read_bytes()[4:8] == bytes(4)  # RFC 1952: MTIME 0, no time stamp


def test_the_shipped_truth_is_the_simulators(job, truth):
    told = shipped_truth()
    assert list(told["area_m2"]) == list(AREA_WORDS)
    assert told["area_m2"]["missed"] == pytest.approx(truth.missed.area, abs=0.006)
    assert told["area_m2"]["double"] == pytest.approx(truth.double.area, abs=0.006)
    plane = Plane(demo.ORIGIN)
    for fault, built_in in zip(told["faults"], demo.built_in_faults(job), strict=True):
        zone = plane.geometry_to_metres(shapely.geometry.shape(fault["zone_deg"]))
        assert zone.is_valid
        assert zone.area == pytest.approx(built_in.zone.area, abs=0.02)  # corners to 0.1 mm
        assert fault["missed_m2"] == pytest.approx(truth.missed.intersection(zone).area, abs=0.02)


def test_passes_are_told_as_simulated_where_the_audit_numbers_none(truth):
    wide, early, forgotten = (fault_words(one, audit_of(truth, demo.ORIGIN)) for one in shipped_truth()["faults"])
    assert wide == "pass 6 driven 1 m too far from pass 5"
    assert early == "pass 9: switched off 11 m early"
    assert forgotten == "pass 14: switch forgotten from 38 m to 64 m"


# --- truth -----------------------------------------------------------------------------------


def visits_at(job, points):
    """Visits of each point by the definition itself: new when the boom travelled over pi/2 widths in between."""
    limit = math.pi / 2 * job.scenario.width_m
    visits = np.zeros(len(points), int)
    for left, right in job.true_sweeps:
        middle = (left + right) / 2
        travelled = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(middle, axis=0).T))))
        last = np.full(len(points), -np.inf)
        quads = shapely.polygons(np.stack((left[:-1], right[:-1], right[1:], left[1:]), axis=1))
        which, quad = shapely.STRtree(shapely.points(points)).query(quads, predicate="intersects")[::-1]
        for index, distance in zip(which.tolist(), travelled[quad].tolist(), strict=True):
            visits[index] += distance - last[index] > limit
            last[index] = distance
    return visits


def test_truth_by_unions_agrees_with_visits_counted_point_by_point(job, truth):
    """4 000 points thrown at random over the target; each area within four standard errors."""
    rng = np.random.default_rng(3)
    west, south, east, north = truth.target.bounds
    thrown = rng.uniform((west, south), (east, north), (5200, 2))
    points = thrown[shapely.contains_xy(truth.target, thrown[:, 0], thrown[:, 1])]
    visits = visits_at(job, points)
    missed = shapely.contains_xy(truth.missed, points[:, 0], points[:, 1])
    double = shapely.contains_xy(truth.double, points[:, 0], points[:, 1])
    # a point on the very edge (quads of 0.25 m against 0.12 m) may fall on either side
    assert np.count_nonzero(missed != (visits == 0)) <= 2
    assert np.count_nonzero(double != (visits >= 2)) <= 4
    for area, count in ((truth.missed.area, (visits == 0).sum()), (truth.double.area, (visits >= 2).sum())):
        share = area / truth.target.area
        error = math.sqrt(share * (1 - share) / len(points))
        assert count / len(points) == pytest.approx(share, abs=4 * error)


def test_truth_of_the_worked_figure_is_its_arithmetic():
    """100 x 60 m, six 10 m passes, the third 1 m off: 100 m2 missed, 100 m2 double."""
    scenario = Scenario(field=shapely.box(0, 0, 100, 60), heading_deg=90.0, sections_m=(10.0,), headland_laps=0.0)
    found = demo.true_ground(simulate(replace(scenario, faults=Faults(offset_m={3: 1.0}))))
    assert (found.missed.area, found.double.area) == pytest.approx((100.0, 100.0), abs=1e-3)
    assert (found.outside_m2, found.pond_m2) == pytest.approx((0.0, 0.0), abs=1e-3)


def test_a_headland_of_two_laps_too_near_each_other_is_double_in_one_stretch():
    """Round a 200 x 120 m field, second lap 8 m inside the first with a 9 m boom: 1 m doubled."""
    scenario = Scenario(
        field=shapely.box(0, 0, 200, 120), heading_deg=90.0, spacing_m=8.0, headland_laps=2.0, turning_radius_m=4.5
    )
    job = simulate(scenario)
    headland = replace(job, on_intervals=job.on_intervals[:1])
    # Without corners the band between 8 m and 9 m depth is 184 x 104 - 182 x 102 = 572 m2, 17 m2 of it
    # in each corner square of 9 m. The second lap's outer tip rounds a corner at 9 m and so keeps only a
    # segment of 1 m height of that; the corner where the spiral begins keeps 8 m of one side as well.
    segment = 81 * math.acos(8 / 9) - 8 * math.sqrt(17)
    expected = 572 - 4 * 17 + 3 * segment + (segment / 2 + 8)
    # chords of 0.25 m cut up to 1 mm off arcs of 9 m radius, over about 60 m of arcs
    assert demo.true_ground(headland).double.area == pytest.approx(expected, abs=0.15)


def test_each_fault_misses_about_what_was_put_in(job, truth):
    wide, early, forgotten = demo.built_in_faults(job)
    width = job.scenario.width_m
    missed = [truth.missed.intersection(fault.zone).area for fault in (wide, early, forgotten)]
    # the switch's chance (0.15 s at 2.4 m/s) and the neighbours' wander (0.16 m) take some off or add some
    assert early.zone.area == pytest.approx(11.0 * width, rel=0.02)
    assert forgotten.zone.area == pytest.approx(26.0 * width, rel=0.02)
    assert 0.85 * early.zone.area < missed[1] <= early.zone.area
    assert 0.9 * forgotten.zone.area < missed[2] <= forgotten.zone.area
    # the two passes lie 8.85 + 1 m apart, so the zone is that wide and the gap in it 0.85 m
    assert missed[0] == pytest.approx(wide.zone.area * 0.85 / 9.85, rel=0.35)


# --- truth beside finding -----------------------------------------------------------------------


def audit_of(truth, origin):
    """Audit that found exactly the truth, in a plane of its own."""
    ours, theirs = Plane(demo.ORIGIN), Plane(origin)

    def moved(shape):
        return theirs.geometry_to_metres(ours.geometry_to_degrees(shape))

    audit = make_audit(moved(demo.demo_scenario().field), [], [], [], excluded=moved(demo.demo_scenario().pond))
    missed, double = moved(truth.missed), moved(truth.double)
    areas = dataclasses.replace(
        audit.area_m2,
        covered=truth.target.area - truth.missed.area,
        missed=truth.missed.area,
        double=truth.double.area,
        outside=truth.outside_m2,
        excluded_sprayed=truth.pond_m2,
    )
    layers = dataclasses.replace(audit.layers, by_visits=(missed, audit.layers.by_visits[1], double))
    return dataclasses.replace(audit, origin=origin, area_m2=areas, layers=layers)


def test_truth_and_a_perfect_audit_show_the_same_figures(truth):
    """Two columns of equal figures, in any plane that the audit works in."""
    text = truth_text(audit_of(truth, PlaneOrigin(demo.ORIGIN.lon_deg + 0.002, demo.ORIGIN.lat_deg - 0.001)))
    rows = [line.split("  ") for line in text.splitlines() if line.startswith("  ")]
    rows = [[cell.strip() for cell in row if cell.strip()] for row in rows]
    figures = [row for row in rows if len(row) == 3]
    assert len(figures) == 9
    for _, true, found in figures:
        # whole square metres: the two planes round a half to either side
        assert float(true[:-3].replace("\u00a0", "")) == pytest.approx(float(found[:-3].replace("\u00a0", "")), abs=1)
    assert text.count("pass ") == 4
    assert "They differ because" in text


def test_an_audit_that_missed_nothing_shows_nothing_found_at_the_faults(truth):
    audit = audit_of(truth, demo.ORIGIN)
    layers = dataclasses.replace(audit.layers, by_visits=(shapely.Polygon(), *audit.layers.by_visits[1:]))
    text = truth_text(dataclasses.replace(audit, layers=layers))
    faults = [line for line in text.splitlines() if line.startswith("  pass ")]
    assert [line.split("  ")[-1].strip() for line in faults] == ["0\u00a0m²"] * 3


# --- the whole way through the files --------------------------------------------------------------


@pytest.fixture(scope="module")
def audit(tmp_path_factory):
    return audit_job(read_job(demo.write_demo_job(tmp_path_factory.mktemp("demo"))))


def test_the_audit_finds_the_truth_as_far_as_the_receiver_allows(audit, truth):
    """Missed and double within 100 m2, 0.25 % of the field.

    The receiver's error between neighbouring passes is about 6 cm (0.12 m drift, 600 s, passes
    100 s apart: 0.12 sqrt(2 (1 - exp(-1/6)))), on about 17 seams of 200 m with either sign: over all
    seams 0.06 m x 200 m x sqrt(17) = 50 m2 is one standard deviation; two are allowed.
    """
    assert audit.area_m2.missed == pytest.approx(truth.missed.area, abs=100.0)
    assert audit.area_m2.double == pytest.approx(truth.double.area, abs=100.0)
    assert audit.area_m2.target == pytest.approx(truth.target.area, rel=1e-6)
    assert audit.checks.ok


def test_a_perfect_receiver_gives_the_truth(tmp_path_factory, monkeypatch):
    """Without receiver error what is left is the logging: 5 Hz, milliseconds, smoothing of the heading."""
    quiet = simulate(replace(demo.demo_scenario(), gnss=GnssError()))
    monkeypatch.setattr(demo, "demo_job", lambda: quiet)
    found = audit_job(read_job(demo.write_demo_job(tmp_path_factory.mktemp("quiet")))).area_m2
    truth = demo.true_ground(quiet)
    field = quiet.scenario.field.area
    # 0.01 % of the field, promised for 10 Hz; the axle's place is given, so the heading is exact
    assert found.missed == pytest.approx(truth.missed.area, abs=1e-4 * field)
    assert found.double == pytest.approx(truth.double.area, abs=1e-4 * field)
    assert found.outside == pytest.approx(truth.outside_m2, abs=1e-4 * field)


def test_every_finding_is_a_sound_polygon_in_the_geojson(audit):
    """Ragged patches, valid in metres, used to cross themselves in degrees and stop the writer."""
    features = json.loads(findings_geojson(audit))["features"]
    named = {feature["id"] for feature in features}
    assert {strip.id for strip in (*audit.missed_strips, *audit.double_patches)} <= named
    for feature in features:
        assert shapely.geometry.shape(feature["geometry"]).is_valid
