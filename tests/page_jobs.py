"""Jobs begun and finished by what the page's script sends."""

from __future__ import annotations

import json

import numpy as np
from phone_log import PLACE, phone_log

from coverage_audit.drive.model import PlaneOrigin
from coverage_audit.drive.plane import Plane
from coverage_audit.page.desk import Desk

__all__ = ["LOG", "PLACE", "corners_on", "finished", "job_of", "papers"]

LOG = phone_log(scale=0.45)


def job_of(house, data=LOG.gpx, name="Tuesday.gpx"):
    """Drop a log and begin a job with it; the job's id and its mark."""
    kept = house.send("/upload", data, name)
    go = house.post("/jobs", logs=kept["logs"])["go"]
    return go.removeprefix("/job/"), json.loads(house.get(f"{go}/parts").body)["mark"]


def corners_on(house, job):
    """The true corners of the field in the plane of the job's map."""
    desk = Desk(house.root)
    sketch = desk.job(job).notes["sketch"]
    lon, lat = PLACE.to_degrees(*np.array(LOG.corners).T)
    x, y = Plane(PlaneOrigin(sketch["lon"], sketch["lat"])).to_metres(lon, lat)
    return np.column_stack([x, y]).tolist()


def finished(house, data=LOG.gpx):
    """A job with everything that an audit needs; its id."""
    job, _ = job_of(house, data)
    path = house.root / "jobs" / job / "job.toml"
    path.write_text(path.read_text() + "[accuracy]\nreplicates = 4\n")  # few draws: how they come out is not asked here
    mark = Desk(house.root).job(job).mark
    for path, words in (
        ("corners", {"corners": corners_on(house, job)}),
        ("field", {"name": "Long meadow"}),
        ("set", {"keys": {"boom.width": "9 m", "boom.antenna_ahead": "1.4 m"}}),
    ):
        found = house.post(f"/job/{job}/{path}", mark=mark, **words)
        assert found["status"] == 200, found
        mark = found["mark"]
    return job


def papers(folder):
    return {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}
