"""Path tricks in every word that the page takes: nothing outside the farm's folder is read, written or named."""

from __future__ import annotations

import json

import pytest
from page_house import open_house
from page_jobs import job_of

from coverage_audit.page import changes, fields
from coverage_audit.page.desk import Desk

TRICKS = (
    "../../secret.gpx",
    "..\\..\\secret.gpx",
    "%2e%2e/%2e%2e/secret.gpx",
    "/etc/hostname",
    "\\\\server\\share\\secret.gpx",
    "C:\\secret.gpx",
    "C:secret.gpx",
    "secret.gpx\0.gpx",
    "./secret.gpx",
    "con",
    "secret.gpx:stream",
)


@pytest.fixture
def farm(tmp_path):
    (tmp_path / "secret.gpx").write_text("not for the page")
    with open_house(tmp_path / "farm") as opened:
        yield opened


def everything(folder):
    return {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}


@pytest.mark.parametrize("trick", TRICKS)
def test_no_word_of_a_request_leads_anywhere(trick, farm, tmp_path):
    job, mark = job_of(farm)
    before = everything(tmp_path)
    asked = [
        ("/jobs", {"logs": [trick]}),
        ("/bin", {"job": trick}),
        ("/unbin", {"name": trick}),
        ("/together", {"jobs": [trick, job]}),
        (f"/job/{job}/logs", {"logs": [trick]}),
        (f"/job/{job}/use-field", {"file": trick}),
        (f"/job/{job}/machine", {"use": trick}),
        (f"/job/{job}/product", {"use": trick}),
        (f"/job/{job}/set", {"keys": {"boom.intervals": trick}}),
        (f"/job/{job}/set", {"keys": {"job.farm": trick}}),
        (f"/job/{job}/set", {"keys": {"field.exclude": trick}}),
        (f"/job/{job}/set", {"keys": {f"product.{trick}.name": "x"}}),
        (f"/job/{job}/set", {"keys": {trick: "x"}}),
        (f"/job/{job}/field", {"what": trick, "name": "x"}),
        (f"/job/{job}/corners", {"what": trick, "corners": []}),
        (f"/job/{job}/work", {"do": "stop", "job": trick}),
    ]
    for path, words in asked:
        found = farm.post(path, mark=mark, **words)
        assert found["status"] in (200, 409, 422), (path, found)
        assert found["status"] != 200 or words.get("do") == "stop", (path, found)
        assert "not for the page" not in json.dumps(found)
    assert everything(tmp_path) == before


@pytest.mark.parametrize("trick", TRICKS)
def test_a_name_that_is_kept_becomes_a_plain_name_of_the_farm(trick, farm, tmp_path):
    job, _ = job_of(farm)
    mark = farm.post(f"/job/{job}/edge", mark=Desk(farm.root).job(job).mark)["mark"]
    farm.post(f"/job/{job}/field", mark=mark, name=trick)
    outside = [path for path in everything(tmp_path) if farm.root not in path.parents]
    assert outside == [tmp_path / "secret.gpx"]
    (kept,) = (farm.root / "fields").iterdir()
    assert not set(kept.name) - set("abcdefghijklmnopqrstuvwxyz0123456789-.")
    assert kept.name.count(".") == 1


def test_without_looking_names_up_a_trick_would_get_through(farm, tmp_path, monkeypatch):
    """The guard of these words is that each is looked up among what is there; it is taken out here."""
    job, mark = job_of(farm)
    log = next((farm.root / "logs").iterdir())
    (tmp_path / "secret.gpx").write_bytes(log.read_bytes())
    assert farm.post("/jobs", logs=["../../secret.gpx"])["status"] == 422
    monkeypatch.setattr(changes, "_log_paths", lambda _desk, names: [f"../../logs/{name}" for name in names])
    assert farm.post("/jobs", logs=["../../secret.gpx"])["status"] == 200
    assert farm.post(f"/job/{job}/use-field", mark=mark, file="../../x.geojson")["status"] == 422
    monkeypatch.setattr(fields, "use_field", fields._with_field)  # noqa: SLF001
    assert farm.post(f"/job/{job}/use-field", mark=mark, file="../../x.geojson")["status"] == 200
