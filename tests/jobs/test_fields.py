"""A field's own file: no-spray areas in it are no target, and an outline made from a drive proves nothing."""

import io
import json
import zipfile

import pytest

from coverage_audit.errors import InputError
from coverage_audit.facts import Caution
from coverage_audit.jobs.read import read_job
from coverage_audit.jobs.settings import ProofSettings
from coverage_audit.papers.proof.record import refuse
from coverage_audit.read.packed import Memory, Zip
from coverage_audit.read.source import Folder
from coverage_audit.recipe.audit import audit_job

MADE = "2026-06-01T00:00:00Z"


def with_shape(small_job, corners, **properties):
    shapes = json.loads(small_job.read("boundary.geojson"))
    ring = [small_job.place(*corner) for corner in (*corners, corners[0])]
    shapes["features"].append(
        {"type": "Feature", "properties": properties, "geometry": {"type": "Polygon", "coordinates": [ring]}}
    )
    small_job.write("boundary.geojson", json.dumps(shapes))


def test_a_no_spray_shape_in_the_field_file_is_no_target(small_job):
    before = audit_job(read_job(small_job.path)).area_m2
    with_shape(small_job, ((40, 20), (60, 20), (60, 30), (40, 30)), name="pond", kind="no-spray")
    after = audit_job(read_job(small_job.path)).area_m2
    # 20 m x 10 m; 1e-3 m2: corners are written to nine decimals of a degree, 0.1 mm over a 60 m outline
    assert before.target - after.target == pytest.approx(200.0, abs=1e-2)
    assert after.excluded_sprayed == pytest.approx(200.0, abs=1e-2)
    assert after.outside == pytest.approx(before.outside, abs=1e-6)


def test_a_file_with_no_spray_areas_alone_is_no_field_but_takes_some_away(small_job):
    text = small_job.read("boundary.geojson")
    small_job.write("pond.geojson", text.replace('"name": "Lower meadow"', '"kind": "no-spray"'))
    small_job.change("exclude", '"pond.geojson"', "field")
    assert len(read_job(small_job.path).exclude) == 1
    small_job.change("boundary", '"pond.geojson"', "field")
    with pytest.raises(InputError, match="there are only no-spray areas in it"):
        read_job(small_job.path)


def test_an_outline_made_from_a_drive_is_told_and_proves_nothing(small_job):
    small_job.change("antenna_ahead", '"0 m"', "boom")
    refuse([audit_job(read_job(small_job.path))], ProofSettings(), MADE)  # as it is, it would do
    text = small_job.read("boundary.geojson")
    small_job.write("boundary.geojson", text.replace('"name"', '"outline": "derived", "name"'))
    audit = audit_job(read_job(small_job.path))
    assert Caution("outline from drive", file="boundary.geojson") in audit.cautions
    with pytest.raises(InputError, match="outline was made from a drive over it"):
        refuse([audit], ProofSettings(), MADE)


def test_files_of_a_folder_are_listed_alike_from_disk_memory_and_zip(tmp_path):

    wanted = ("logs/a.gpx", "logs/quad/b.gpx")
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        for name in (*wanted, "farm.toml"):
            path = tmp_path / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text("x")
            archive.writestr(f"Larch Hollow/{name}", "x")
    (tmp_path / "logs" / ".hidden").write_text("x")
    sources = (
        Folder(tmp_path),
        Memory(dict.fromkeys((*wanted, "farm.toml"), b"x")),
        Zip(buffer.getvalue(), "farm.zip").folder_of("Larch Hollow/farm.toml"),
    )
    for source in sources:
        assert source.files_in("logs") == wanted
        assert source.files_in("nowhere") == ()
