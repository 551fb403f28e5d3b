"""Bad input to the command itself: every row of the contract's list of refusals.

A refusal exits with 2, says on one line of standard error the file or key, what is wrong and
what to do, and leaves no output folder. What is lived with stands in ``test_odd_input.py``.
"""

import os
import re
import resource
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from coverage_audit.cli import command as cli
from coverage_audit.files import whole_sets as files
from coverage_audit.read import tolerances as tol

ROOT = Path(__file__).parents[2]


@pytest.fixture
def refusal(check):
    """Assert a refusal in one line with nothing written; its text."""

    def run():
        code, err, out = check()
        assert code == 2, err
        assert err.startswith("coverage-audit: ")
        assert err.count("\n") == 1
        assert err.endswith("\n")
        assert "Traceback" not in err
        assert not out.exists()
        return err

    return run


# --- exit 2: files that are no logs ---------------------------------------------------------


@pytest.mark.parametrize("name", ["track.gpx", "boundary.geojson", "boom.csv", "job.toml"])
def test_empty_file(small_job, refusal, name):
    small_job.write(name, b"")
    err = refusal()
    assert name in err
    assert "empty" in err


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"hello\n", "neither GPX nor NMEA"),
        (b"\x89PNG\r\n\x1a\n" + bytes(range(256)), "neither GPX nor NMEA"),
        (b"<html/>", "not GPX"),
        (b"<kml/>", "no place with a time"),
        (b"lat,lon\n1,2\n", "it has no column time_utc"),
    ],
)
def test_no_log(small_job, refusal, content, said):
    small_job.write("track.gpx", content)
    assert re.search(rf"track\.gpx: .*{said}", refusal())


def test_truncated_xml(small_job, refusal):
    text = small_job.read("track.gpx")
    small_job.write("track.gpx", text[: text.index("<trkpt") + 20])  # no whole point is left to read
    assert re.search(r"track\.gpx, line \d+: .*(damaged|cut off)", refusal())


@pytest.mark.parametrize("name", ["track.gpx", "boundary.gpx"])
@pytest.mark.parametrize(
    "entity", ['<!ENTITY x SYSTEM "secret.txt">', '<!ENTITY a "aaaaaaaaaa"><!ENTITY x "&a;&a;&a;&a;&a;&a;&a;&a;">']
)
def test_entity_bombs_and_external_entities(small_job, refusal, name, entity):
    small_job.write("secret.txt", "do not read me")
    text = small_job.read("track.gpx").replace(
        '<?xml version="1.0"?>', f'<?xml version="1.0"?><!DOCTYPE gpx [{entity}]>'
    )
    small_job.write(name, text.replace("<trk>", "<trk><name>&x;</name>", 1))
    if name == "boundary.gpx":
        small_job.change("boundary", '"boundary.gpx"', "field")
    err = refusal()
    assert name in err
    assert re.search("entity|document type", err)
    assert "do not read me" not in err


def test_file_over_the_size_limit(small_job, refusal):
    """A hole in the file system, so that no disk is filled by it."""
    with (small_job.folder / "track.gpx").open("wb") as file:
        file.truncate(tol.MAX_FILE_BYTES + 1)
    err = refusal()
    assert "track.gpx" in err
    assert f"{tol.MAX_FILE_BYTES // 1024**2} MiB" in err


# --- exit 2: positions and times ------------------------------------------------------------


def test_every_position_out_of_range(small_job, refusal):
    small_job.write("track.gpx", re.sub(r'lat="[^"]*"', 'lat="143.6"', small_job.read("track.gpx")))
    err = refusal()
    assert "track.gpx: every track point" in err
    assert "outside latitude -90..90" in err


def test_latitude_and_longitude_swapped(small_job, refusal):
    text = re.sub(r'lat="([^"]*)" lon="([^"]*)"', r'lat="\2" lon="\1"', small_job.read("track.gpx"))
    small_job.write("track.gpx", text)
    err = refusal()
    assert "track.gpx" in err
    assert "swapped" in err


def test_every_position_zero(small_job, refusal):
    text = re.sub(r'lat="[^"]*" lon="[^"]*"', 'lat="0.0" lon="0.0"', small_job.read("track.gpx"))
    small_job.write("track.gpx", text)
    assert "track.gpx: every track point" in refusal()


def test_no_times(small_job, refusal):
    small_job.write("track.gpx", small_job.gpx_of(small_job.drive()[0], times=False))
    err = refusal()
    assert "track.gpx" in err
    assert "time" in err


def test_log_too_sparse(small_job, refusal):
    fixes, _ = small_job.drive()
    small_job.write("track.gpx", small_job.gpx_of(fixes[::10]))
    err = refusal()
    assert "track.gpx" in err
    assert "10.0 s" in err
    assert "one fix a second, no distance filter" in err


def test_overlapping_track_files(small_job, refusal):
    fixes, _ = small_job.drive()
    small_job.write("other.gpx", small_job.gpx_of(fixes[100:200]))
    small_job.change("files", '["track.gpx", "other.gpx"]', "track")
    err = refusal()
    assert "track.gpx" in err
    assert "other.gpx" in err


# --- exit 2: boom intervals -----------------------------------------------------------------


def test_intervals_of_one_section_overlap(small_job, refusal):
    lines = small_job.read("boom.csv").splitlines()
    small_job.write("boom.csv", "\n".join([*lines, lines[4]]))
    err = refusal()
    assert "boom.csv, line" in err
    assert "line 5" in err


def test_interval_runs_backwards(small_job, refusal):
    on, off = small_job.read("boom.csv").splitlines()[3].split(",")
    small_job.write("boom.csv", f"on,off\n{off},{on}\n")
    assert "boom.csv, line 2: off" in refusal()


@pytest.mark.parametrize(
    ("shift_s", "said"), [(6 * 3600, r"6 h.*after the first fix.*time zone"), (-3 * 86_400, r"-3 whole day")]
)
def test_intervals_miss_the_track_by_hours_or_whole_days(small_job, refusal, shift_s, said):
    _, intervals = small_job.drive()
    rows = [f"{small_job.stamp(on + shift_s)},{small_job.stamp(off + shift_s)}\n" for on, off in intervals]
    small_job.write("boom.csv", "on,off\n" + "".join(rows))
    err = refusal()
    assert "boom.csv, line 2: " in err
    assert re.search(said, err)


@pytest.mark.parametrize("word", ["log", "marks"])
def test_boom_state_that_the_log_does_not_have(small_job, refusal, word):
    small_job.change("intervals", f'"{word}"', "boom")
    assert f'job.toml, boom.intervals: intervals = "{word}"' in refusal()


# --- exit 2: boundaries ---------------------------------------------------------------------


def test_boundary_that_is_a_point(small_job, refusal):
    small_job.write("boundary.geojson", small_job.geojson_of(list(small_job.place(0, 0)), "Point"))
    assert "boundary.geojson: there is no area" in refusal()


def test_boundary_crosses_itself(small_job, refusal):
    ring = [small_job.place(*corner) for corner in ((0, 0), (100, 60), (100, 0), (0, 60), (0, 0))]
    small_job.write("boundary.geojson", small_job.geojson_of([ring]))
    err = refusal()
    assert 'boundary.geojson, "Lower meadow"' in err
    assert re.search(r"crosses or touches itself at 43\.600\d+, -116\.199\d+ \(lat, lon\)", err)


def test_projected_boundary_without_its_system(small_job, refusal):
    ring = [(564_000.0, 4_828_000.0), (564_100.0, 4_828_000.0), (564_100.0, 4_828_060.0), (564_000.0, 4_828_000.0)]
    small_job.write("boundary.geojson", small_job.geojson_of([ring]))
    err = refusal()
    assert "boundary.geojson" in err
    assert "projected coordinates without a coordinate reference system" in err


def test_boundary_in_another_place(small_job, refusal):
    ring = [(x + 6.0, y) for x, y in (small_job.place(*c) for c in ((0, 0), (100, 0), (100, 60), (0, 0)))]
    small_job.write("boundary.geojson", small_job.geojson_of([ring]))
    err = refusal()
    # 6 degrees of longitude at 43.6 N are 484 km (pyproj.Geod)
    assert re.search(r"job\.toml, field\.boundary: .* 48\d km", err)


def test_swapped_boundary_that_could_be_degrees(small_job, refusal):
    """Both numbers are below 90 degrees, so only the distance from the track gives it away."""
    text = re.sub(r'lon="-116\.(\d+)"', r'lon="16.\1"', small_job.read("track.gpx"))
    small_job.write("track.gpx", text)
    ring = [(y, x + 132.0) for x, y in (small_job.place(*c) for c in ((0, 0), (100, 0), (100, 60), (0, 0)))]
    small_job.write("boundary.geojson", small_job.geojson_of([ring]))
    err = refusal()
    assert "field.boundary" in err
    assert "swapped" in err


def test_job_never_enters_the_field(small_job, refusal):
    ring = [small_job.place(*corner) for corner in ((500, 0), (600, 0), (600, 60), (500, 60), (500, 0))]
    small_job.write("boundary.geojson", small_job.geojson_of([ring]))
    err = refusal()
    assert "job.toml, field.boundary" in err
    assert re.search(r"\b39\d m|\b4\d\d m", err)


def test_open_driven_boundary(small_job, refusal):
    small_job.write("line.gpx", small_job.gpx_of([(0, 0, 0), (50, 100, 0), (80, 100, 60)]))
    small_job.change("boundary", '"line.gpx"', "field")
    err = refusal()
    assert "line.gpx" in err
    assert "117 m apart" in err  # sqrt(100^2 + 60^2) = 116.6 m


# --- exit 2: the job file -------------------------------------------------------------------


@pytest.mark.parametrize(
    ("table", "key", "value"),
    [
        ("boom", "width", '"-9 m"'),
        ("boom", "width", '"9000 m"'),
        ("boom", "width", '"9"'),
        ("boom", "width", '"nan m"'),
        ("boom", "width", '"9 L/ha"'),
        ("boom", "width", "9.0"),
        ("boom", "width", "nan"),
        ("track", "max_gap", '"-5 s"'),
        ("field", "setback", '"1 ha"'),
        ("rate", "target", '"1e9 L/ha"'),
        ("report", "min_width", '"a foot"'),
    ],
)
def test_quantities_negative_absurd_unitless_nan_or_of_the_wrong_kind(small_job, refusal, table, key, value):
    small_job.change(key, value, table)
    assert f"job.toml, {table}.{key}: " in refusal()


def test_unknown_key(small_job, refusal):
    small_job.change("antena_ahead", '"1 m"', "boom")
    assert 'job.toml, boom.antena_ahead: there is no such key; did you mean "antenna_ahead"?' in refusal()


def test_missing_files(small_job, refusal):
    (small_job.folder / "track.gpx").unlink()
    assert 'job.toml, track.files: there is no file "track.gpx"' in refusal()


# --- exit 2: the output folder --------------------------------------------------------------


def test_output_folder_below_a_file(small_job, tmp_path, capsys):
    (tmp_path / "file").write_text("mine")
    for out in (tmp_path / "file", tmp_path / "file" / "below"):
        assert cli.main(["check", str(small_job.path), "-o", str(out)]) == 2
        err = capsys.readouterr().err
        assert err.count("\n") == 1
        assert f"{out}: file is a file" in err
    assert (tmp_path / "file").read_text() == "mine"


def test_output_folder_that_may_not_be_written(small_job, tmp_path, capsys, monkeypatch):
    """The system's answer is put in, since a superuser running the tests would be let through."""
    monkeypatch.setattr(os, "access", lambda *_: False)
    assert cli.main(["check", str(small_job.path), "-o", str(tmp_path / "out")]) == 2
    assert "out: this output folder may not be written to" in capsys.readouterr().err
    assert not (tmp_path / "out").exists()


def test_permission_refused_while_writing(refusal, monkeypatch):
    def refuse(*_):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(files, "_write_through", refuse)
    assert "out: the output cannot be written (Permission denied)" in refusal()


def command(*arguments):
    return [sys.executable, "-m", "coverage_audit", *map(str, arguments)]


def test_disk_full_half_way(small_job, tmp_path):
    """No file may grow beyond 20 kB: the report does not fit, so nothing stays, and old papers keep their content."""
    out = tmp_path / "out"
    files.write_all(out, {"summary.json": "old"}, kind="report")

    def small_disk():
        resource.setrlimit(resource.RLIMIT_FSIZE, (20_000, 20_000))

    done = subprocess.run(
        command("check", small_job.path, "-o", out),
        capture_output=True, text=True, check=False, cwd=ROOT, preexec_fn=small_disk,
        env=os.environ | {"PYTHONDONTWRITEBYTECODE": "1"},
    )  # fmt: skip
    assert (done.returncode, done.stdout) == (2, "")
    assert re.fullmatch(
        r"coverage-audit: .*out: the output cannot be written \(File too large\); free some space.*\n", done.stderr
    )
    assert {path.name for path in out.iterdir()} == {".coverage-audit.json", "summary.json"}
    assert (out / "summary.json").read_text() == "old"


def test_interrupted_half_way(small_job, tmp_path):
    """Ctrl-C to a process of its own, between the audit and the writing of its papers."""
    code = (
        "import os, signal, sys\n"
        "from coverage_audit import run\n"
        "from coverage_audit.cli import main\n"
        "run.audited = lambda job, *_: job\n"
        "run.papers = lambda *_, **__: os.kill(os.getpid(), signal.SIGINT)\n"
        "sys.exit(main())\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, "check", small_job.path, "-o", tmp_path / "out"],
        capture_output=True, text=True, check=False, cwd=ROOT,
    )  # fmt: skip
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr == "coverage-audit: stopped; nothing was written\n"
    assert not (tmp_path / "out").exists()


def test_interrupted_while_writing(check, monkeypatch):
    """The third temporary file is not finished; the two before it go too."""
    real = files._write_through  # noqa: SLF001
    written = []

    def interrupt(path, content, mode):
        real(path, content, mode)
        written.append(path)
        if len(written) == 3:
            signal.raise_signal(signal.SIGINT)

    monkeypatch.setattr(files, "_write_through", interrupt)
    code, err, out = check()
    assert (code, err) == (2, "coverage-audit: stopped; nothing was written\n")
    assert len(written) == 3
    assert not out.exists()


@pytest.mark.parametrize("name", ["track.gpx", "boundary.geojson", "boom.csv"])
def test_refusal_of_the_command_as_a_process(small_job, tmp_path, name):
    """What the tests above see from inside is what the shell sees."""
    small_job.write(name, "\n")
    done = subprocess.run(
        command("check", small_job.path, "-o", tmp_path / "out"), capture_output=True, text=True, check=False, cwd=ROOT
    )
    assert (done.returncode, done.stdout) == (2, "")
    assert re.fullmatch(rf"coverage-audit: {re.escape(name)}: [^\n]+\n", done.stderr)
    assert not (tmp_path / "out").exists()
