"""The same job from a folder, from memory and from a zip file: one answer by every door."""

import dataclasses
import io
import zipfile
from collections.abc import Mapping

import geopandas as gpd
import numpy as np
import pytest
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from coverage_audit.errors import InputError
from coverage_audit.jobs.kept_jobs import kept_jobs
from coverage_audit.jobs.read import read_job, read_job_from
from coverage_audit.read import source
from coverage_audit.read.packed import Memory, Zip
from coverage_audit.read.source import Folder
from coverage_audit.recipe.audit import audit_job


def zipped(files):
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in files.items():
            archive.writestr(name, data)
    return buffer.getvalue()


def parts(one):
    """Parts of a record by their name; None for what has none."""
    if dataclasses.is_dataclass(one):
        return {f".{field.name}": getattr(one, field.name) for field in dataclasses.fields(one)}
    if isinstance(one, Mapping):
        return {f"[{key}]": value for key, value in one.items()}
    return {f"[{number}]": value for number, value in enumerate(one)} if isinstance(one, tuple | list) else None


def plain(one):
    """A part without parts as what can be compared to the last bit."""
    return one.tobytes() if isinstance(one, np.ndarray) else one.wkb if isinstance(one, BaseGeometry) else repr(one)


def differences(one, other, at="job"):
    """Places at which two records differ."""
    inside, beside = parts(one), parts(other)
    if inside is None or beside is None or inside.keys() != beside.keys():
        return [] if plain(one) == plain(other) else [at]
    return [place for key in inside for place in differences(inside[key], beside[key], at + key)]


@pytest.fixture
def files(small_job):
    """Files of a job of many kinds: a Shapefile with its parts, a no-spray area, a log in a folder, a boom CSV."""
    gpd.read_file(small_job.folder / "boundary.geojson").to_file(small_job.folder / "field.shp")
    corners = [small_job.place(*corner) for corner in ((40, 20), (50, 20), (50, 30), (40, 30))]
    gpd.GeoDataFrame({"name": ["pond"]}, geometry=[Polygon(corners)], crs="EPSG:4326").to_file(
        small_job.folder / "pond.gpkg"
    )
    (small_job.folder / "logs").mkdir()
    (small_job.folder / "track.gpx").rename(small_job.folder / "logs" / "track.gpx")
    small_job.change("boundary", '"field.shp"', "field")
    small_job.change("exclude", '["pond.gpkg"]', "field")
    small_job.change("files", '["./logs/track.gpx"]', "track")
    found = sorted(path for path in small_job.folder.rglob("*") if path.is_file())
    return {path.relative_to(small_job.folder).as_posix(): path.read_bytes() for path in found}


def test_a_job_is_the_same_from_folder_memory_and_zip(small_job, files):
    job = read_job(small_job.path)
    beside = {f"East bench/{name}": data for name, data in files.items()}
    others = {
        "folder": read_job_from(Folder(small_job.folder)),
        "memory": read_job_from(Memory(files)),
        "zip": read_job_from(Zip(zipped(files), "job.zip")),
        "folder in a zip": read_job_from(Zip(zipped(beside), "job.zip"), "East bench/job.toml"),
    }
    assert [name for name, _ in job.sources] == [
        *("job.toml", "track.gpx", "field.shp", "field.shx", "field.dbf", "field.prj", "field.cpg"),
        *("pond.gpkg", "boom.csv"),
    ]
    for other in others.values():
        assert differences(job, other) == []
    missed = {audit_job(other).area_m2.missed for other in (job, *others.values())}
    assert len(missed) == 1


def test_differences_are_noticed(small_job, files):
    job = read_job(small_job.path)
    text = files["logs/track.gpx"].replace(b"13:00:07Z", b"13:00:07.5Z")
    other = read_job_from(Memory(files | {"logs/track.gpx": text}))
    assert differences(job, other) == ["job.logs[0].sha256", "job.logs[0].fixes.time_s", "job.sources[1][1]"]


def test_a_file_that_is_not_there_is_named_as_beside_the_job_file(files):
    del files["boom.csv"]
    with pytest.raises(InputError, match=r'^job\.toml, boom\.intervals: there is no file "boom\.csv" \(looked for'):
        read_job_from(Memory(files))


def test_a_job_file_that_is_not_there_is_named(files):
    with pytest.raises(InputError, match=r"^job\.zip, work\.toml: there is no such file among the 10 given"):
        read_job_from(Zip(zipped(files), "job.zip"), "work.toml")


def test_no_name_leads_out_of_what_was_given(small_job, files):
    """Beside the folder there is a file of this name; what was dropped on a page has none."""
    outside = small_job.folder.parent / "outside.geojson"
    outside.write_bytes(files["boundary.geojson"])
    files["job.toml"] = files["job.toml"].replace(b'"field.shp"', b'"../outside.geojson"')
    small_job.write("job.toml", files["job.toml"])
    assert read_job(small_job.path).boundary
    for name in ("../outside.geojson", outside.as_posix()):
        text = files["job.toml"].replace(b"../outside.geojson", name.encode())
        with pytest.raises(InputError, match=r"field\.boundary: there is no file"):
            read_job_from(Memory(files | {"job.toml": text}))


@pytest.mark.parametrize("kind", ["folder", "memory", "zip"])
def test_parts_of_a_shapefile_are_missed_by_every_door(small_job, files, kind):
    del files["field.shx"]
    (small_job.folder / "field.shx").unlink()
    sources = {"folder": lambda: Folder(small_job.folder), "memory": lambda: Memory(files)}
    source = sources.get(kind, lambda: Zip(zipped(files), "job.zip"))()
    with pytest.raises(InputError, match=r"^field\.shp: the \.shx file is missing beside it"):
        read_job_from(source)


@pytest.mark.parametrize("kind", ["folder", "memory"])
def test_a_geopackage_with_changes_not_written_out_is_refused_by_every_door(small_job, files, kind):
    files["pond.gpkg-wal"] = b"x"
    small_job.write("pond.gpkg-wal", b"x")
    with pytest.raises(InputError, match=r"^pond\.gpkg: changes to it still lie in pond\.gpkg-wal"):
        read_job_from(Folder(small_job.folder) if kind == "folder" else Memory(files))


def test_a_geopackage_whose_log_would_have_too_long_a_name_is_read(small_job, files):
    """Its name has 252 letters: with "-wal" behind it, more than a file system holds."""
    name = f"{'p' * 247}.gpkg"
    small_job.write(name, files["pond.gpkg"])
    small_job.change("exclude", f'["{name}"]', "field")
    assert read_job(small_job.path).exclude[0].name == "pond"


def test_a_message_is_one_line_whatever_it_quotes():
    error = InputError('"15 L/mi\n\u2028" has an odd unit', "job\r.toml")
    assert str(error) == 'job\ufffd.toml: "15 L/mi\ufffd\ufffd" has an odd unit'
    assert (error.what, error.place) == ('"15 L/mi\ufffd\ufffd" has an odd unit', "job\ufffd.toml")


@pytest.mark.parametrize("files", ["2026-05-30T08:00:00Z", "7", "{a = 1}"])
def test_a_kept_job_whose_logs_are_no_names_has_none(tmp_path, files):
    (tmp_path / "jobs" / "one").mkdir(parents=True)
    (tmp_path / "jobs" / "one" / "job.toml").write_text(f"[track]\nfiles = {files}\n", encoding="utf-8")
    (kept,) = kept_jobs(Folder(tmp_path), "UTC")
    assert not kept.logs


@pytest.mark.parametrize("most", [0, 1, 7, 8, 1000, 1001])
def test_no_more_is_read_than_asked_for_and_never_laid_out_at_once(most, monkeypatch):
    """A machine of little memory lays out what is asked for, not what is there."""
    monkeypatch.setattr(source, "READ_BLOCK_BYTES", 8)
    data, asked = bytes(range(250)) * 4, []

    class File(io.BytesIO):
        def read(self, size):
            asked.append(size)
            return super().read(size)

    assert source.read_most(File(data), most) == data[:most]
    assert all(size <= 8 for size in asked)
