"""Fields of any shape and heading, booms of 4.5 to 18 m, a wandering phone: one job each, at its time."""

import numpy as np
import pytest
import shapely
from contractor_week import MACHINES, PLANE, REFILL, YARD, ZONE, Day, at, gpx_text, ground, nmea_text

from coverage_audit.days.cut import cut_days
from coverage_audit.days.model import DayLog, DayMachine
from coverage_audit.jobs.settings import BoomSettings
from coverage_audit.read.source import InputFile
from coverage_audit.read.tracks.form import Asked
from coverage_audit.read.tracks.registry import track_of


@pytest.mark.parametrize("seed", range(16))
def test_one_job_is_found_within_five_seconds_and_none_invented(seed, monkeypatch):
    """In seed 13 the machine drives from the road straight into its first pass."""
    rng = np.random.default_rng(seed)
    width = float(rng.choice([4.5, 6, 9, 12, 18]))
    size = rng.uniform(8, 16) * width, rng.uniform(9, 16) * width
    field = ground(rng.uniform(200, 600), rng.uniform(200, 600), *size)
    if seed % 2:
        field = shapely.affinity.rotate(field, rng.uniform(0, 90), origin="centroid")
    monkeypatch.setitem(MACHINES, "any", width)
    day = Day("any", "switch" if seed % 4 == 3 else "plain", at(1, 8), seed)
    heading = float(rng.uniform(0, 180)) if seed % 3 else 0.0
    day.spray("field", field, heading_deg=heading, stops=REFILL if seed % 5 == 0 else ())
    day.drive_to(YARD)
    times, places, on = day.logged(white_m=0.05, drift_m=0.9)  # 0.9 m: autonomous class of accuracy.tolerances
    text = nmea_text(times, places, on) if day.kind == "switch" else gpx_text(times, places, [], "plain")
    log = DayLog("a", "any", track_of(InputFile("a", text.encode(), "0"), Asked()))
    machine = DayMachine("any", BoomSettings((width,), "assume", antenna_ahead_m=0.0))
    found = cut_days([machine], [log], [field], PLANE, ZONE, lambda _stage, _part: None)
    (truth,) = day.truth()
    (job,) = found.jobs
    assert (job.start_s, job.end_s) == (pytest.approx(truth.start_s, abs=5), pytest.approx(truth.end_s, abs=5))
    assert (found.unknown, found.not_jobs) == ((), ())
    assert job.state == ("log" if day.kind == "switch" else "assume")
