"""A farm's season: what is audited, what is left alone, what it adds up to, and what a bad job does to the others."""

import errno
import json
import shutil
import signal
import subprocess
import sys
import time

import pytest
from season_farm import FARM, PASS_M2, add_job, in_turn, make_farm, poisoned, write

from coverage_audit import run as house
from coverage_audit.cli.command import main
from coverage_audit.errors import InputError
from coverage_audit.papers.ledger import ledger_files
from coverage_audit.read.result_saved import load_record
from coverage_audit.season.jobs import season_of
from coverage_audit.season.model import Ended, Limits
from coverage_audit.season.pool import on_this_machine
from coverage_audit.season.season import run_season, sorted_out
from coverage_audit.season.store import AUDIT, stored

LIMITS = Limits(120.0, 3 * 1024**3)


def season(farm, wanted=None, limits=LIMITS):
    return run_season(farm, wanted, limits, in_turn, lambda *_: None)


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """A farm with three jobs on one field, audited: a whole one, its touch-up, and another whole one in June."""
    farm = make_farm(tmp_path_factory.mktemp("made") / "farm")
    add_job(farm, "2026-05-30-lower-meadow", passes=[1, 2, 3, 4, 6, 7, 8, 9, 10])
    add_job(farm, "2026-06-02-lower-meadow", days=3, passes=[5])
    add_job(farm, "2026-06-20-lower-meadow", days=21)
    return farm, season(farm)


@pytest.fixture
def farm(made, tmp_path):
    """A copy of that farm."""
    return shutil.copytree(made[0], tmp_path / "farm")


def changed(farm, name, old, new):
    path = farm / name
    path.write_text(path.read_text(encoding="utf-8").replace(old, new), encoding="utf-8")


# --- what it adds up to ---------------------------------------------------------------------------


def test_the_field_adds_up(made):
    """1.67 L/ha by 20 L/min at 2 m/s and 10 m (mix of 1.6 in 160 L: 1/100); twice everywhere."""
    ledger = made[1].ledger
    (field,) = ledger.fields
    assert (ledger.farm, ledger.season, field.field) == ("Larch Hollow", "2026", "Lower meadow")
    (product,) = field.products
    once = 20 / 60 / (2.0 * 10.0) * 10_000 * 0.01
    # the log's seconds and the cells at swath edges move it; a closed form of an even drive is met within 2 %
    assert product.at_least_per_ha == pytest.approx(2 * once, rel=0.02)
    assert product.closing == pytest.approx(1.0, abs=1e-3)
    assert product.above_m2 == pytest.approx(6000.0, rel=0.01)
    assert field.earliest_cut == "2026-07-04"  # 20 June and 14 days


def test_the_touchup_is_joined_to_what_it_mended(made):
    (field,) = made[1].ledger.fields
    assert field.touchups == ("jobs/2026-06-02-lower-meadow",)
    assert [(one.job, one.by) for one in field.mended] == [
        ("jobs/2026-05-30-lower-meadow", "jobs/2026-06-02-lower-meadow")
    ]
    assert field.mended[0].mended_m2 == pytest.approx(PASS_M2, rel=0.01)


def test_two_machines_did_one_field_together(tmp_path):
    """Passes 1 to 6 by one, 6 to 9 by the other: pass 6 is twice, pass 10 missed; each has its own map and one sum."""
    farm = make_farm(tmp_path / "farm")
    add_job(farm, "2026-05-30-lower-meadow", passes=range(1, 7))
    add_job(farm, "2026-05-30-lower-meadow-2", passes=range(6, 10), machine="tractor")
    ledger = season(farm).ledger
    (field,) = ledger.fields
    (together,) = field.treatments
    # a fix a second, and ends of passes by the second: 0.1 % of the field
    for name, wanted in {"target": 10, "covered": 9, "missed": 1, "double": 1}.items():
        assert together.area_m2[name] == pytest.approx(wanted * PASS_M2, abs=6.0), name
    assert field.touchups == ()
    # what the other took over is no skip
    assert sum(cause.area_m2 for job in together.jobs for cause in field.causes(job)) == pytest.approx(PASS_M2, abs=6.0)
    assert "quad and tractor together" in ledger_files(ledger)["ledger.html"]


def test_papers_of_a_job_are_those_of_check(made, tmp_path):
    farm, _ = made
    job = farm / "jobs" / "2026-06-02-lower-meadow"
    assert main(["check", str(job / "job.toml"), "-o", str(tmp_path / "out"), "--quiet"]) == 0
    names = sorted(path.name for path in (tmp_path / "out").iterdir())
    assert names == sorted(path.name for path in (job / "report").iterdir())
    for name in names:
        assert (tmp_path / "out" / name).read_bytes() == (job / "report" / name).read_bytes(), name


def test_a_saved_record_is_the_audit_read_again(made):
    farm, _ = made
    path = farm / "jobs" / "2026-05-30-lower-meadow"
    saved = load_record(path / AUDIT, "x")
    fresh = house.record(house.audited(house.read(path / "job.toml")), "x")
    assert saved.summary == fresh.summary
    assert saved.findings == fresh.findings
    assert (saved.surface.row == fresh.surface.row).all()
    assert (saved.surface.column == fresh.surface.column).all()
    assert saved.surface.rate_l_ha == pytest.approx(fresh.surface.rate_l_ha, rel=1e-4)  # 14 bits


def test_saved_audits_are_compared_like_job_files(made, tmp_path):
    farm, _ = made
    jobs = [farm / "jobs" / name for name in ("2026-05-30-lower-meadow", "2026-06-20-lower-meadow")]
    for files, out in (([job / "job.toml" for job in jobs], "fresh"), ([job / AUDIT for job in jobs], "saved")):
        names = ("--label", "first", "--label", "second")
        assert main(["compare", *map(str, files), *names, "-o", str(tmp_path / out), "--quiet"]) == 0
    fresh, saved = ((tmp_path / out / "compare.json").read_bytes() for out in ("fresh", "saved"))
    assert fresh == saved


# --- what is audited ------------------------------------------------------------------------------


def test_touching_nothing_audits_nothing(farm, made):
    again = season(farm)
    assert again.audited == ()
    assert ledger_files(again.ledger) == ledger_files(made[1].ledger)


@pytest.mark.parametrize(
    ("name", "old", "new", "wanted"),
    [
        ("farm.toml", '"2.4 L/ha"', '"2.2 L/ha"', 3),  # the product that all three use
        ("farm.toml", '"5 L/ha"', '"4 L/ha"', 0),  # one that none uses
        ("jobs/2026-06-02-lower-meadow/boom.csv", "on,off\n", "on,off\n\n", 1),
        ("jobs/2026-06-20-lower-meadow/job.toml", '"20 L/min"', '"21 L/min"', 1),
        ("fields/lower-meadow.geojson", "Lower meadow", "Low meadow", 3),
    ],
)
def test_what_changed_is_audited_again(farm, name, old, new, wanted):
    changed(farm, name, old, new)
    folders = sorted(f"jobs/{path.name}" for path in (farm / "jobs").iterdir())
    assert len(sorted_out(farm, folders, LIMITS)[1]) == wanted


def test_a_lost_report_is_made_again(farm):
    shutil.rmtree(farm / "jobs" / "2026-06-02-lower-meadow" / "report")
    assert season(farm).audited == ("jobs/2026-06-02-lower-meadow",)


def test_another_program_audits_all(farm, monkeypatch):
    monkeypatch.setattr("coverage_audit.season.season.program_stamp", lambda: "newer")
    folders = [f"jobs/{path.name}" for path in (farm / "jobs").iterdir()]
    assert len(sorted_out(farm, folders, LIMITS)[1]) == 3


def test_a_season_holds_its_own_jobs(farm):
    add_job(farm, "2025-05-30-lower-meadow", days=-365)
    assert season(farm).ledger.season == "2026"
    last = season(farm, "2025")
    assert [job.job for job in last.ledger.jobs] == ["jobs/2025-05-30-lower-meadow"]
    with pytest.raises(InputError, match="no job of the season 2020"):
        season(farm, "2020")


@pytest.mark.parametrize(
    ("day", "wanted"), [("2026-06-09", "2025"), ("2026-06-10", "2026"), ("2026-12-31", "2026"), ("2027-06-09", "2026")]
)
def test_a_season_begins_on_its_day(day, wanted):
    assert season_of(day, (6, 10)) == wanted


def test_the_day_on_which_a_season_begins_is_the_farms(farm):
    write(farm / "farm.toml", FARM.replace("[farm]\n", '[farm]\nseason_starts = "06-10"\n'))
    assert {job.job for job in season(farm).ledger.jobs} == {"jobs/2026-06-20-lower-meadow"}
    assert len(season(farm, "2025").ledger.jobs) == 2


# --- jobs that go wrong ---------------------------------------------------------------------------


def test_a_bad_job_is_listed_and_the_others_stand(farm):
    (farm / "jobs" / "2026-05-30-lower-meadow" / "track.gpx").unlink()
    add_job(farm, "2026-06-25-lower-meadow", days=26)
    write(farm / "jobs" / "2026-06-25-lower-meadow" / "track.gpx", "no log")
    add_job(farm, "2026-06-26-lower-meadow", days=27)
    changed(farm, "jobs/2026-06-26-lower-meadow/job.toml", "flow", "flaw")
    found = season(farm)
    reasons = {one.job: one.reason for one in found.ledger.failed}
    assert 'there is no file "track.gpx"' in reasons["jobs/2026-05-30-lower-meadow"]
    assert "track.gpx" in reasons["jobs/2026-06-25-lower-meadow"]
    assert "rate.flaw" in reasons["jobs/2026-06-26-lower-meadow"]
    assert len(reasons) == 3
    assert all("\n" not in reason for reason in reasons.values())
    assert {job.job for job in found.ledger.jobs} == {"jobs/2026-06-02-lower-meadow", "jobs/2026-06-20-lower-meadow"}
    assert season(farm).audited == ()


def test_a_report_that_somebody_changed_is_not_lost(farm):
    page = farm / "jobs" / "2026-06-02-lower-meadow" / "report" / "report.html"
    page.write_text("mine", encoding="utf-8")
    changed(farm, "jobs/2026-06-02-lower-meadow/job.toml", '"20 L/min"', '"21 L/min"')
    (failed,) = season(farm).ledger.failed
    assert (failed.job, failed.kind) == ("jobs/2026-06-02-lower-meadow", "writing")
    assert page.read_text(encoding="utf-8") == "mine"
    page.unlink()
    assert season(farm).ledger.failed == ()


def test_a_file_of_somebody_else_is_not_taken_for_an_audit(farm):
    write(farm / "jobs" / "2026-06-02-lower-meadow" / AUDIT, "my own archive")
    (failed,) = season(farm).ledger.failed
    assert "not one that this program wrote" in failed.reason


def test_workers_that_hang_die_or_eat_cost_their_own_task():
    """Real processes; the hanging one has 3 s."""
    tasks = ["a", "kill", "hang", "b", "eat", "raise", "c", "d"]
    found = dict(on_this_machine(poisoned, tasks, 2, Limits(3.0, 2**31)))
    assert {task: end for task, end in found.items() if task in "abcd"} == {task: task for task in "abcd"}
    kinds = {task: end.kind for task, end in found.items() if isinstance(end, Ended)}
    assert kinds == {"kill": "killed", "hang": "time", "eat": "memory", "raise": "killed"}


def test_each_worker_takes_one_core():
    """As many work as cores are to be used: more threads than that only wait for one another, and need memory."""
    assert dict(on_this_machine(poisoned, ["cores"], 1, Limits(60.0, 2**31))) == {"cores": 1}


def test_more_time_tries_a_slow_job_again(farm):
    folder = farm / "jobs" / "2026-06-02-lower-meadow"
    changed(farm, "jobs/2026-06-02-lower-meadow/job.toml", '"20 L/min"', '"21 L/min"')

    def slow(function, tasks):
        ended = Ended("time", "it took longer than 120 s")
        return ((task, ended if hasattr(task, "stamp") else function(task)) for task in tasks)

    found = run_season(farm, None, LIMITS, slow, lambda *_: None)
    assert [one.kind for one in found.ledger.failed] == ["time"]
    assert stored(folder, "x").outcome.kind == "time"
    assert season(farm).audited == ()
    assert season(farm, limits=Limits(240.0, 2**31)).ledger.failed == ()


def test_no_farm_is_told_in_one_line(tmp_path, capsys):
    for folder, said in ((tmp_path / "none", "no such folder"), (tmp_path, 'no folder "jobs"')):
        assert main(["season", str(folder)]) == 2
        error = capsys.readouterr().err
        assert said in error
        assert error.count("\n") == 1
    (tmp_path / "jobs").mkdir()
    assert main(["season", str(tmp_path)]) == 2


def test_a_farm_file_that_is_wrong_is_one_line(farm, capsys):
    write(farm / "farm.toml", FARM.replace("timezone", "timezon"))
    assert main(["season", str(farm)]) == 2
    error = capsys.readouterr().err
    assert "farm.timezon" in error
    assert error.count("\n") == 1


def test_a_log_of_another_place_is_listed(farm):
    """A degree of longitude east of the field."""
    job = farm / "jobs" / "2026-06-02-lower-meadow"
    text = (job / "track.gpx").read_text(encoding="utf-8")
    write(job / "track.gpx", text.replace('lon="-116.', 'lon="-115.'))
    (failed,) = season(farm).ledger.failed
    assert (failed.job, failed.kind) == ("jobs/2026-06-02-lower-meadow", "input")
    assert "never sprayed inside the field" in failed.reason


def test_a_full_disk_loses_nothing(farm, monkeypatch):
    """Whatever cannot be written is told, and what stood before stands."""
    ledger = {path.name: path.read_bytes() for path in (farm / "jobs").rglob("audit.zip")}
    changed(farm, "jobs/2026-06-02-lower-meadow/job.toml", '"20 L/min"', '"21 L/min"')

    def full(_file):
        raise OSError(errno.ENOSPC, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr("os.fsync", full)
        (failed,) = season(farm).ledger.failed
    assert "No space left on device" in failed.reason
    assert {path.name: path.read_bytes() for path in (farm / "jobs").rglob("audit.zip")} == ledger
    assert season(farm).ledger.failed == ()


# --- the command ----------------------------------------------------------------------------------


def command(farm, *options):
    return subprocess.Popen(
        [sys.executable, "-m", "coverage_audit", "season", str(farm), "--quiet", *options],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )


def papers(farm):
    return {path.name: path.read_bytes() for path in sorted((farm / "seasons" / "2026").iterdir())}


def test_a_killed_run_is_resumed_to_the_same_bytes(tmp_path):
    """Killed when its first job is done, and its workers with it; what was done is not done again."""
    calm, killed = (make_farm(tmp_path / name / "farm") for name in ("calm", "killed"))
    for farm in (calm, killed):
        for day in range(3):
            add_job(farm, f"2026-06-0{day + 1}-lower-meadow", days=2 + day)
    assert command(calm, "--workers", "2").wait() == 0
    process = command(killed, "--workers", "1")
    first = killed / "jobs" / "2026-06-01-lower-meadow" / AUDIT
    until = time.monotonic() + 120
    while not first.exists() and time.monotonic() < until:
        time.sleep(0.02)
    process.send_signal(signal.SIGKILL)
    process.wait()
    written = first.stat().st_mtime_ns
    assert command(killed, "--workers", "2").wait() == 0
    assert papers(killed) == papers(calm)
    assert first.stat().st_mtime_ns == written


def test_a_stopped_run_says_what_is_kept(farm, monkeypatch, capsys):
    def stopped(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr("coverage_audit.season.season.run_season", stopped)
    assert main(["season", str(farm)]) == 2
    assert "stopped; jobs that are done are kept" in capsys.readouterr().err


def test_json_is_the_file_and_nothing_else(farm, capsys):
    assert main(["season", str(farm), "--json", "--workers", "1"]) == 0
    told = capsys.readouterr().out
    assert told == (farm / "seasons" / "2026" / "season.json").read_text(encoding="utf-8")
    found = json.loads(told)
    assert found["schema"] == "coverage-audit season 1"
    assert {one["state"] for one in found["jobs"]} == {"done"}
    assert found["fields"][0]["products"][0]["max_per_season"] == 2.4


@pytest.mark.parametrize(
    "options",
    [
        ("--season", "26"),
        ("--workers", "0"),
        ("--time-limit", "5"),
        ("--memory-limit", "3 sheep"),
    ],
)
def test_options_that_make_no_sense(made, options, capsys):
    assert main(["season", str(made[0]), *options]) == 2
    assert options[0] in capsys.readouterr().err
