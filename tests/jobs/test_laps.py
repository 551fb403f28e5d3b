"""A driven outline: of the job's own drive it goes round in a circle, of another day or without times it does not."""

import datetime as dt

import pytest
from cautions_of_files import sentences
from simulator import exported

from coverage_audit.errors import InputError
from coverage_audit.jobs.read import read_job
from coverage_audit.papers.proof.record import refuse
from coverage_audit.recipe.audit import audit_job

CORNERS = ((1, 1), (99, 1), (99, 59), (1, 59), (1, 1.5))


def lap(small_job, days, *, times=True):
    """The job with an outline driven round the field, that many days before its log, for boundary."""
    start = dt.datetime.fromisoformat(small_job.stamp(0)).timestamp() - 86_400 * days
    points = ""
    for k, corner in enumerate(CORNERS):
        lon, lat = small_job.place(*corner)
        told = f"<time>{exported.stamp(start + 40 * k)}</time>" if times else ""
        points += f'<trkpt lat="{lat:.9f}" lon="{lon:.9f}">{told}</trkpt>'
    small_job.write("lap.gpx", f'<gpx version="1.1"><trk><trkseg>{points}</trkseg></trk></gpx>')
    small_job.change("boundary", '"lap.gpx"', "field")
    return read_job(small_job.path)


def said(job, word):
    return [text for text in sentences(job) if word in text]


def test_a_lap_of_the_job_itself_is_a_circle(small_job):
    job = lap(small_job, 0)
    assert (job.own_lap, job.derived_outline) == (True, True)
    (text,) = said(job, "round in a circle")
    assert text.startswith("lap.gpx: this outline was driven in the course of this very job.")
    found = audit_job(job)
    assert all(strip.where != "field edge" for strip in found.missed_strips)
    with pytest.raises(InputError, match="made from a drive over it"):
        refuse([found], found.job.settings.proof, "2026-06-01T08:00:00Z")


def test_a_lap_of_another_day_tells_what_was_missed_along_it_and_its_day(small_job):
    small_job.change("grow", '"3 m"', "field")
    job = lap(small_job, 18)
    assert (job.own_lap, job.derived_outline) == (False, False)
    (text,) = said(job, "walked")
    day = dt.datetime.fromisoformat(small_job.stamp(0)).date() - dt.timedelta(days=18)
    assert text.startswith(f"lap.gpx: this outline was driven or walked on {day} at ")
    assert "ground missed along it shows" in text
    assert any(strip.where == "field edge" for strip in audit_job(job).missed_strips)


def test_a_lap_without_times_may_be_either(small_job):
    job = lap(small_job, 0, times=False)
    assert not job.own_lap
    assert len(said(job, "its line has no times")) == 1


def test_an_outline_that_was_drawn_says_nothing_of_laps(small_job):
    job = read_job(small_job.path)
    assert not job.own_lap
    assert not said(job, "lap") + said(job, "walked")
