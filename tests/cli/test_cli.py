"""The command from outside: exit codes, what is printed where, files whole or not at all."""

import json
import os
import re
import signal
import subprocess
import sys
import threading
import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import coverage_audit
from coverage_audit import run as house
from coverage_audit.cli import command as cli
from coverage_audit.cli import terminal
from coverage_audit.errors import InputError
from coverage_audit.files import whole_sets as files

PAPERS = {"report.html", "summary.json", "findings.geojson", "missed.gpx", "passes.geojson"}
MARK = ".coverage-audit.json"
ROOT = Path(__file__).parents[2]


def run(*arguments, **options):
    """Run the command as a process of its own."""
    command = [sys.executable, "-m", "coverage_audit", *map(str, arguments)]
    return subprocess.run(command, capture_output=True, text=True, check=False, cwd=ROOT, **options)


@pytest.fixture
def written(monkeypatch):
    """Replace the audit: readers and arguments at work, papers of fixed text."""
    monkeypatch.setattr(house, "audited", lambda job, *_: job)
    monkeypatch.setattr(house, "fetch_report_room", lambda: None)
    monkeypatch.setattr(house, "papers", lambda *_, **__: dict.fromkeys(PAPERS, "paper\n"))
    monkeypatch.setattr(terminal, "tell", lambda *_: None)


# --- a job that is right ------------------------------------------------------------------


def test_check_writes_its_papers_and_says_where(small_job, tmp_path):
    out = tmp_path / "new" / "out"
    done = run("check", small_job.path, "-o", out)
    assert (done.returncode, done.stderr) == (0, "")
    assert {path.name for path in out.iterdir()} == PAPERS | {"report.png", "report.pdf", MARK}
    assert f"Open {out / 'report.html'}" in done.stdout
    assert done.stdout.splitlines()[-1].startswith("missed.gpx")


def test_small_job_covers_its_field(small_job, tmp_path, capsys):
    """Ten 10 m passes side by side on 100 x 60 m: 6 000 m2 covered; 0.1 % at one fix a second (6 m2)."""
    assert cli.main(["check", str(small_job.path), "-o", str(tmp_path / "out"), "--json"]) == 0
    summary = json.loads(capsys.readouterr().out)
    assert summary["area_m2"]["field"] == pytest.approx(6000, rel=1e-5)
    assert summary["area_m2"]["covered"] == pytest.approx(6000, abs=6)
    assert summary["area_m2"]["double"] == pytest.approx(0, abs=6)
    assert summary["job"]["name"] == "small job"


def test_json_prints_the_summary_and_nothing_else(small_job, tmp_path, capsys):
    out = tmp_path / "out"
    assert cli.main(["check", str(small_job.path), "-o", str(out), "--json"]) == 0
    captured = capsys.readouterr()
    assert json.loads(captured.out) == json.loads((out / "summary.json").read_text(encoding="utf-8"))
    assert captured.err == ""


def test_json_alone_writes_no_folder(small_job, tmp_path, capsys):
    before = sorted(tmp_path.rglob("*"))
    assert cli.main(["check", str(small_job.path), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["schema"] == "coverage-audit summary 1"
    assert sorted(tmp_path.rglob("*")) == before


def test_quiet_prints_nothing(small_job, tmp_path, capsys):
    assert cli.main(["check", str(small_job.path), "-o", str(tmp_path / "out"), "--quiet"]) == 0
    captured = capsys.readouterr()
    assert (captured.out, captured.err) == ("", "")


def test_check_without_a_job_file_finds_the_same_areas(small_job, tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(small_job.folder)
    options = ["--track", "track.gpx", "--field", "boundary.geojson", "--boom", "10 m", "--intervals", "boom.csv"]
    assert cli.main(["check", *options, "-o", str(tmp_path / "out"), "--json"]) == 0
    without = json.loads(capsys.readouterr().out)
    assert cli.main(["check", "job.toml", "--json"]) == 0
    assert without["area_m2"] == json.loads(capsys.readouterr().out)["area_m2"]


def test_several_tracks(small_job, monkeypatch, capsys):
    """The log cut into two files between two passes is the same job."""
    monkeypatch.chdir(small_job.folder)
    fixes, _ = small_job.drive()
    small_job.write("one.gpx", small_job.gpx_of(fixes[:405]))
    small_job.write("two.gpx", small_job.gpx_of(fixes[405:]))
    options = ["--field", "boundary.geojson", "--boom", "10 m", "--intervals", "boom.csv", "--json"]
    assert cli.main(["check", "--track", "two.gpx", "--track", "one.gpx", *options]) == 0
    apart = json.loads(capsys.readouterr().out)
    assert cli.main(["check", "--track", "track.gpx", *options]) == 0
    together = json.loads(capsys.readouterr().out)
    assert len(apart["inputs"]) == 2
    # 1e-6 m2: sums of the same pieces in another order
    assert apart["area_m2"]["covered"] == pytest.approx(together["area_m2"]["covered"], abs=1e-6)


def test_demo_ends_by_saying_where_to_look(tmp_path):
    out = tmp_path / "demo"
    done = run("demo", "-o", out)
    assert (done.returncode, done.stderr) == (0, "")
    assert {path.name for path in out.iterdir()} > PAPERS
    assert f"Open {out / 'report.html'}" in done.stdout
    again = run("check", next(out.glob("*.toml")), "--json")
    assert json.loads(again.stdout)["area_m2"] == json.loads((out / "summary.json").read_text())["area_m2"]


@pytest.mark.usefixtures("written")
def test_second_run_replaces_the_papers_and_leaves_other_files(small_job, tmp_path):
    out = tmp_path / "out"
    out.mkdir()
    (out / "notes.txt").write_text("mine")
    files.write_all(out, {"report.html": "old", "rate.asc": "old"}, kind="report")
    assert cli.main(["check", str(small_job.path), "-o", str(out)]) == 0
    assert (out / "report.html").read_text() == "paper\n"
    assert {path.name for path in out.iterdir()} == PAPERS | {"notes.txt", MARK}


# --- arguments ----------------------------------------------------------------------------


def test_version_is_the_package_s(capsys):
    with pytest.raises(SystemExit) as caught:
        cli.main(["--version"])
    assert caught.value.code == 0
    version = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]["version"]
    assert capsys.readouterr().out == f"coverage-audit {version}\n"
    assert coverage_audit.__version__ == version


@pytest.mark.parametrize("command", ["check", "demo"])
def test_help_names_every_common_option(capsys, command):
    with pytest.raises(SystemExit):
        cli.main([command, "--help"])
    assert {"--output", "--json", "--quiet"} <= set(re.findall(r"--\w+", capsys.readouterr().out))


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ([], "check, demo, touchup"),
        (["chek"], "invalid choice"),
        (["check"], "-o DIR"),
        (
            ["check", "-o", "out"],
            "--track, --field OUTLINE (where there is none: --field driven), --boom, --intervals BOOM.csv (",
        ),
        (
            ["check", "--track", "t.gpx", "-o", "out"],
            "missing: --field OUTLINE (where there is none: --field driven), --boom, --intervals",
        ),
        (["check", "job.toml"], "-o DIR"),
        (["check", "job.toml", "--boom", "9 m", "-o", "out"], "--boom cannot stand beside a job file"),
        (["check", "job.toml", "--out", "out"], "unrecognized arguments: --out"),
        (["check", "gone.toml", "-o", "out"], "gone.toml: there is no such file"),
        (["check", "--units", "feet"], "invalid choice"),
    ],
)
def test_wrong_arguments_take_one_line(arguments, said, capsys, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert cli.main(arguments) == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    assert captured.err.startswith("coverage-audit: ")
    assert captured.err.count("\n") == 1
    assert said in captured.err
    assert list(tmp_path.iterdir()) == []


def test_messages_are_one_printable_line_even_when_names_are_not(capsys):
    cli._fail(2, 'a\nb\x1b[31m\r\u2028"c" ' + "x" * 5000 + " end")  # noqa: SLF001
    line = capsys.readouterr().err
    assert line.startswith('coverage-audit: a b [31m "c" xxx')
    assert line.endswith("x end\n")
    assert len(line) < 900


def test_help_does_not_pay_for_the_heavy_libraries():
    code = "import sys, coverage_audit.cli; print([m for m in ('numpy', 'shapely', 'geopandas') if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT)
    assert done.stdout == "[]\n"


# --- faults of ours and interruptions -----------------------------------------------------


@pytest.mark.usefixtures("written")
def test_fault_of_ours_is_one_line_and_exit_1(small_job, tmp_path, monkeypatch, capsys):
    monkeypatch.setattr(house, "audited", lambda *_: 1 / 0)
    monkeypatch.delenv(cli.TRACEBACK_VARIABLE, raising=False)
    assert cli.main(["check", str(small_job.path), "-o", str(tmp_path / "out")]) == 1
    err = capsys.readouterr().err
    assert err.count("\n") == 1
    assert "ZeroDivisionError" in err
    assert f"{cli.TRACEBACK_VARIABLE}=1" in err
    assert not (tmp_path / "out").exists()
    monkeypatch.setenv(cli.TRACEBACK_VARIABLE, "1")
    assert cli.main(["check", str(small_job.path), "-o", str(tmp_path / "out")]) == 1
    assert "Traceback" in capsys.readouterr().err


@pytest.mark.usefixtures("written")
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_signals_stop_it_with_nothing_written(small_job, tmp_path, monkeypatch, capsys, number):
    monkeypatch.setattr(house, "audited", lambda *_: os.kill(os.getpid(), number))
    before = signal.getsignal(signal.SIGTERM)
    assert cli.main(["check", str(small_job.path), "-o", str(tmp_path / "out")]) == 2
    assert capsys.readouterr().err == "coverage-audit: stopped; nothing was written\n"
    assert not (tmp_path / "out").exists()
    assert signal.getsignal(signal.SIGTERM) is before


@pytest.mark.usefixtures("written")
def test_command_runs_in_a_thread_too(small_job, tmp_path):
    codes = []
    arguments = ["check", str(small_job.path), "-o", str(tmp_path / "out")]
    thread = threading.Thread(target=lambda: codes.append(cli.main(arguments)))
    thread.start()
    thread.join()
    assert codes == [0]


def test_reader_that_stops_reading_is_no_fault(small_job):
    """As in ``coverage-audit check ... --json | head -1``: the pipe is closed before anything is printed."""
    read_end, write_end = os.pipe()
    os.close(read_end)
    command = [sys.executable, "-m", "coverage_audit", "check", str(small_job.path), "--json"]
    done = subprocess.run(command, stdout=write_end, stderr=subprocess.PIPE, text=True, check=False, cwd=ROOT)
    os.close(write_end)
    assert (done.returncode, done.stderr) == (0, "")


@pytest.mark.usefixtures("written")
def test_progress_bar_only_on_a_terminal(small_job, monkeypatch, capsys, tmp_path):
    arguments = ["check", str(small_job.path), "-o", str(tmp_path / "out")]
    monkeypatch.setattr(house, "audited", lambda _job, progress, _file: progress("counting visits", 0.5))
    assert cli.main(arguments) == 0
    assert capsys.readouterr().err == ""
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True, raising=False)
    assert cli.main(arguments) == 0
    assert "counting visits" in capsys.readouterr().err
    assert cli.main([*arguments, "--quiet"]) == 0
    assert capsys.readouterr().err == ""


# --- files whole or not at all ------------------------------------------------------------


def names(folder):
    return sorted(path.name for path in folder.iterdir())


def test_failing_rename_puts_everything_back(tmp_path, monkeypatch):
    """The third of four renames fails: the first two targets get their old content back."""
    files.write_all(tmp_path, {"a": "old a"}, kind="report")
    real = Path.replace

    def replace(self, target):
        if Path(target).name == "c":
            raise OSError(5, "Input/output error")
        return real(self, target)

    monkeypatch.setattr(Path, "replace", replace)
    with pytest.raises(InputError, match="Input/output error"):
        files.write_all(tmp_path, {"a": "new a", "b": "new b", "c": "new c", "d": "new d"}, kind="report")
    assert names(tmp_path) == [MARK, "a"]
    assert (tmp_path / "a").read_text() == "old a"


def test_interruption_between_renames_puts_everything_back(tmp_path, monkeypatch):
    files.write_all(tmp_path, {"b": "old b"}, kind="report")
    real = Path.replace

    def replace(self, target):
        result = real(self, target)
        if Path(target).name == "b" and self.name.endswith(".part"):
            raise KeyboardInterrupt
        return result

    monkeypatch.setattr(Path, "replace", replace)
    with pytest.raises(KeyboardInterrupt):
        files.write_all(tmp_path, {"a": "new a", "b": "new b", "c": "new c"}, kind="report")
    assert names(tmp_path) == [MARK, "b"]
    assert (tmp_path / "b").read_text() == "old b"


def test_folder_in_the_place_of_a_paper(tmp_path):
    (tmp_path / "out" / "b").mkdir(parents=True)
    with pytest.raises(InputError, match="a folder stands where this file belongs"):
        files.write_all(tmp_path / "out", {"a": "new", "b": "new"})
    assert names(tmp_path / "out") == ["b"]


def test_folders_made_for_a_failed_call_go_again(tmp_path, monkeypatch):
    monkeypatch.setattr(
        files, "_write_through", lambda *_: (_ for _ in ()).throw(OSError(28, "No space left on device"))
    )
    with pytest.raises(InputError, match="No space left on device"):
        files.write_all(tmp_path / "one" / "two", {"a": "new"})
    assert names(tmp_path) == []


NAMES = st.text(st.characters(categories=("L", "N")), min_size=1, max_size=20).filter(
    lambda name: len(name.encode()) < 60
)


@given(st.dictionaries(NAMES, st.text(st.characters(exclude_categories=("Cs",))) | st.binary(), max_size=4))
def test_what_is_written_is_what_is_there(tmp_path_factory, contents):
    folder = tmp_path_factory.mktemp("out")
    files.write_all(folder, contents)
    found = {path.name: path.read_bytes() for path in folder.iterdir()}
    assert found == {name: text.encode() if isinstance(text, str) else text for name, text in contents.items()}
