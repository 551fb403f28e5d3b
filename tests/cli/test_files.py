"""The output folder: a whole set or nothing whatever happens, and nobody else's file lost."""

import errno
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from coverage_audit import run
from coverage_audit.cli import check, terminal
from coverage_audit.cli import command as cli
from coverage_audit.errors import InputError
from coverage_audit.files import lock, mark
from coverage_audit.files import whole_sets as files

ROOT = Path(__file__).parents[2]
FIXTURE = ROOT / "fixtures" / "one_pass_off"
MARK = mark.MARK


def content(folder):
    return {path.name: path.read_text() for path in folder.iterdir() if path.name not in (MARK, lock.LOCK)}


@pytest.fixture
def quick(monkeypatch):
    """Replace the audit by none at all: arguments, readers and files at work, papers of fixed text."""
    monkeypatch.setattr(run, "audited", lambda job, *_: job)
    monkeypatch.setattr(run, "fetch_report_room", lambda: None)
    monkeypatch.setattr(run, "papers", lambda *_, **__: dict.fromkeys(run.REPORT_PAPERS, "paper\n"))
    monkeypatch.setattr(terminal, "tell", lambda *_: None)


def copied_job(folder, **names):
    """Copy the fixture into *folder*, its boundary under another name."""
    folder.mkdir(exist_ok=True)
    for path in FIXTURE.iterdir():
        if path.name in ("job.toml", "boom.csv", "track.gpx", "boundary.geojson", "field.geojson"):
            text = path.read_text(encoding="utf-8")
            for name, other in names.items():
                text = text.replace(f'"{name}.geojson"', f'"{other}"') if path.suffix == ".toml" else text
            (folder / names.get(path.stem, path.name)).write_text(text, encoding="utf-8")
    return folder / "job.toml"


# --- whole or not at all ------------------------------------------------------------------------


@pytest.mark.skipif(not hasattr(os, "fork"), reason="kills children that this system cannot fork")
def test_killed_at_every_step_the_folder_holds_the_old_or_the_new_set(tmp_path):
    """Killed before every step that touches the disk, and the repair killed at every step of its own."""
    command = [sys.executable, str(Path(__file__).parents[1] / "killed_writer.py"), str(tmp_path)]
    done = subprocess.run(
        command, capture_output=True, text=True, check=False, env=os.environ | {"PYTHONPATH": str(ROOT)}
    )
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout)
    assert told["wrong"] == []
    assert told["seen"] == ["new", "old"]
    assert told["steps"] > 20


def test_failure_at_every_step_puts_everything_back(tmp_path, monkeypatch):
    """As on a system that refuses to replace a file that is open elsewhere: each rename in turn fails once."""
    for failing in range(50):
        folder = tmp_path / str(failing)
        files.write_all(folder, {"a": "old a", "b": "old b"}, kind="report")
        real, left = os.replace, [failing]

        def replace(source, target, real=real, left=left):
            left[0] -= 1
            if left[0] == -1:
                raise PermissionError(errno.EACCES, "in use by another program")
            return real(source, target)

        with monkeypatch.context() as patch:
            patch.setattr(os, "replace", replace)
            try:
                files.write_all(folder, {"a": "new a", "c": "new c"}, kind="report")
            except InputError as error:
                assert "in use by another program" in str(error)  # noqa: PT017 - the last rounds pass
                assert content(folder) == {"a": "old a", "b": "old b"}
            else:
                assert content(folder) == {"a": "new a", "c": "new c"}
                break
    assert failing == 4  # two marks and two papers


def test_papers_are_written_by_what_windows_can_do(tmp_path):
    """Stand-ins with the rules of Windows: what they refuse was seen to fail with a POSIX-only call put in."""
    command = [sys.executable, str(Path(__file__).parents[1] / "windows_writer.py"), str(tmp_path)]
    done = subprocess.run(
        command, capture_output=True, text=True, check=False, env=os.environ | {"PYTHONPATH": str(ROOT)}
    )
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout)
    assert told["found"] == {"report.html": "new", "summary.json": "new"}
    assert "another run is writing" in told["between"]


def test_half_written_files_of_a_run_that_is_gone_are_removed(tmp_path):
    files.write_all(tmp_path, {"a": "old"}, kind="report")
    for name in (".coverage-audit.0.part", ".coverage-audit.7.old", ".coverage-audit.json.part", lock.LOCK):
        (tmp_path / name).write_text("half")
    (tmp_path / ".mine.part").write_text("mine")
    files.check_folder(tmp_path)
    assert content(tmp_path) == {"a": "old", ".mine.part": "mine"}


def test_two_runs_do_not_write_into_one_folder_at_once(tmp_path):
    with lock.only_writer(tmp_path), pytest.raises(InputError, match="another run is writing"):
        files.write_all(tmp_path, {"a": "new"})
    files.write_all(tmp_path, {"a": "new"})
    assert content(tmp_path) == {"a": "new"}


def test_a_file_system_without_locks_is_written_to(tmp_path, monkeypatch):
    def refuse(_descriptor):
        raise OSError(errno.ENOLCK, "no locks available")

    monkeypatch.setattr(lock, "_take", refuse)
    files.write_all(tmp_path, {"a": "new"})
    assert content(tmp_path) == {"a": "new"}


def test_interruption_after_the_last_step_says_that_all_is_written(tmp_path, monkeypatch, capsys, quick):  # noqa: ARG001
    """Ctrl-C at every removal of what the exchange needed: by then the new set stands."""
    job = copied_job(tmp_path / "job")
    real, out = Path.unlink, tmp_path / "out"
    for stopped_at in range(30):
        assert cli.main(["check", str(job), "-o", str(out), "--quiet"]) == 0
        before = content(out)
        fresh = dict.fromkeys(run.REPORT_PAPERS, f"paper {stopped_at}\n")
        monkeypatch.setattr(run, "papers", lambda *_, fresh=fresh, **__: fresh)
        left = [stopped_at]

        def unlink(self, missing_ok=False, left=left):  # noqa: FBT002
            left[0] -= 1
            if left[0] == -1:
                raise KeyboardInterrupt
            return real(self, missing_ok=missing_ok)

        with monkeypatch.context() as patch:
            patch.setattr(Path, "unlink", unlink)
            code = cli.main(["check", str(job), "-o", str(out), "--quiet"])
        told = capsys.readouterr().err
        if code == 0:
            break
        written = content(out) == fresh
        assert written or content(out) == before
        assert told == (
            f"coverage-audit: stopped; all was written to {out} already\n"
            if written
            else "coverage-audit: stopped; nothing was written\n"
        )
    assert stopped_at > 4


def test_interruption_while_the_result_is_printed_does_not_say_that_nothing_was_written(
    tmp_path, monkeypatch, capsys, quick  # noqa: ARG001
):  # fmt: skip
    def stop(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr(terminal, "tell", stop)
    out = tmp_path / "out"
    assert cli.main(["check", str(copied_job(tmp_path / "job")), "-o", str(out)]) == 2
    assert capsys.readouterr().err == f"coverage-audit: stopped; all was written to {out} already\n"


# --- nobody else's file -------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["job.toml", "track.gpx", "boom.csv", "report.html"])
def test_demo_does_not_replace_files_of_somebody_else(tmp_path, monkeypatch, capsys, name):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(run, "audited", lambda job, *_: job)
    monkeypatch.setattr(run, "papers", lambda *_, **__: dict.fromkeys(run.REPORT_PAPERS, "paper\n"))
    monkeypatch.setattr("coverage_audit.demo.truth.truth_text", lambda _: "")
    monkeypatch.setattr(terminal, "tell", lambda *_: None)
    Path(name).write_text("mine")
    assert cli.main(["demo", "-o", "."]) == 2
    told = capsys.readouterr().err
    assert told.startswith(f"coverage-audit: {name}: this file is there already")
    assert "--replace" in told
    assert content(tmp_path) == {name: "mine"}
    assert cli.main(["demo", "-o", ".", "--replace"]) == 0
    assert Path(name).read_text() != "mine"
    assert cli.main(["demo", "-o", "."]) == 0  # its own files, unchanged


@pytest.mark.parametrize("more", [(), ("--replace",)])
def test_an_input_is_never_replaced(tmp_path, monkeypatch, capsys, quick, more):  # noqa: ARG001
    folder = tmp_path / "job"
    copied_job(folder, boundary="findings.geojson", field="findings.geojson")
    assert (folder / "findings.geojson").exists()
    monkeypatch.chdir(folder)
    before = content(folder)
    assert cli.main(["check", "job.toml", "-o", ".", *more]) == 2
    told = capsys.readouterr().err
    assert told.startswith("coverage-audit: findings.geojson: this file is ")
    assert content(folder) == before


def test_a_paper_of_ours_that_is_an_input_now_is_neither_replaced_nor_removed(tmp_path):
    files.write_all(tmp_path, {"a": "paper a", "b": "paper b"}, kind="report")
    inputs = {mark.sha256_of("paper a"), mark.sha256_of("paper b")}
    for replace in (False, True):
        with pytest.raises(InputError, match="a: this file is an input"):
            files.write_all(tmp_path, {"a": "new"}, kind="report", permit=files.Permit(inputs, replace=replace))
    files.write_all(tmp_path, {"c": "new"}, kind="report", permit=files.Permit(inputs))
    assert content(tmp_path) == {"a": "paper a", "b": "paper b", "c": "new"}


def test_a_paper_that_was_changed_since_is_kept(tmp_path):
    files.write_all(tmp_path, {"a": "paper a", "b": "paper b"}, kind="report")
    (tmp_path / "a").write_text("edited")
    with pytest.raises(InputError, match="a: this file is there already"):
        files.write_all(tmp_path, {"a": "new"}, kind="report")
    with pytest.raises(InputError, match="a: this file is there already"):
        files.check_folder(tmp_path, ["a"])
    files.write_all(tmp_path, {"c": "new"}, kind="report")
    assert content(tmp_path) == {"a": "edited", "c": "new"}
    files.write_all(tmp_path, {"a": "new"}, kind="report", permit=files.Permit(replace=True))
    assert content(tmp_path) == {"a": "new"}


def test_foreign_files_are_refused_before_any_work(tmp_path, monkeypatch, capsys, quick):  # noqa: ARG001
    monkeypatch.setattr(check, "read_job_of", lambda *_: pytest.fail("the work has begun"))
    (tmp_path / "summary.json").write_text("mine")
    assert cli.main(["check", "job.toml", "-o", str(tmp_path)]) == 2
    assert "summary.json: this file is there already" in capsys.readouterr().err


@pytest.mark.parametrize("damage", ["", "[]", "{", '{"schema": "x"}', "[" * 100_000])
def test_a_mark_that_cannot_be_read_owns_nothing(tmp_path, damage):
    files.write_all(tmp_path, {"a": "paper"}, kind="report")
    (tmp_path / MARK).write_text(damage)
    with pytest.raises(InputError, match="a: this file is there already"):
        files.write_all(tmp_path, {"a": "new"}, kind="report")


def test_a_mark_cannot_reach_out_of_its_folder(tmp_path):
    folder = tmp_path / "out"
    files.write_all(folder, {"a": "paper"}, kind="report")
    victim = tmp_path / "victim"
    victim.write_text("mine")
    sha256 = mark.sha256_of("mine")
    undo = {"fresh": {"../victim": sha256, str(victim): sha256}, "copies": {"../victim": "a", "b": "../victim"}}
    sets = {"report": {"job": "", "files": {"../victim": sha256}}}
    (folder / MARK).write_text(json.dumps({"schema": mark.SCHEMA, "sets": sets, "undo": undo}))
    files.settle(folder)
    files.write_all(folder, {"c": "new"}, kind="report")
    assert victim.read_text() == "mine"


# --- nothing stale --------------------------------------------------------------------------------


def test_a_new_set_takes_the_place_of_the_whole_set_before(tmp_path):
    files.write_all(tmp_path, {"report.html": "A", "touchup.gpx": "A", "rate.asc": "A"}, kind="report", job="A")
    files.write_all(tmp_path, {"proof.json": "A", "proof.pdf": "A"}, kind="proof")
    files.write_all(tmp_path, {"boom.csv": "mine from now on"})
    files.write_all(tmp_path, {"report.html": "B"}, kind="report", job="B")
    files.write_all(tmp_path, {"proof.json": "B"}, kind="proof")
    assert content(tmp_path) == {"report.html": "B", "proof.json": "B", "boom.csv": "mine from now on"}


def test_a_plan_stays_beside_the_report_of_its_own_job_only(tmp_path):
    files.write_all(tmp_path, {"report.html": "A", "summary.json": "A"}, kind="report", job="A")
    files.write_all(tmp_path, {"report.html": "plan", "touchup.gpx": "A"}, kind="report", job="A", beside=True)
    assert content(tmp_path) == {"report.html": "plan", "summary.json": "A", "touchup.gpx": "A"}
    files.write_all(tmp_path, {"report.html": "plan", "touchup.gpx": "B"}, kind="report", job="B", beside=True)
    assert content(tmp_path) == {"report.html": "plan", "touchup.gpx": "B"}


def test_check_removes_the_plan_and_grid_of_the_run_before(tmp_path):
    job, out = str(FIXTURE / "job.toml"), tmp_path / "out"
    assert cli.main(["check", job, "-o", str(out), "--quiet", "--touchup", "--rate-grid", "--replicates", "0"]) == 0
    assert {"touchup.gpx", "rate.asc"} < {path.name for path in out.iterdir()}
    assert cli.main(["check", job, "-o", str(out), "--quiet", "--replicates", "0"]) == 0
    assert {path.name for path in out.iterdir()} == {*run.REPORT_PAPERS, MARK}


def test_files_that_are_loose_belong_to_the_person(tmp_path):
    """The demo's own job, then a report of that job into the same folder: the job stays."""
    files.write_all(tmp_path, {"job.toml": "job", "report.html": "demo"}, kind="report", loose=["job.toml"])
    files.write_all(tmp_path, {"report.html": "check"}, kind="report")
    assert content(tmp_path) == {"job.toml": "job", "report.html": "check"}
