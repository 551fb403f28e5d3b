"""A season with two machines in one field, whose jobs name each other or do not."""

import json

import pytest
from season_farm import PASS_M2, add_job, in_turn, make_farm, write

from coverage_audit import run as house
from coverage_audit.errors import InputError
from coverage_audit.papers.ledger import ledger_files
from coverage_audit.season.model import Limits
from coverage_audit.season.season import run_season


def season(farm):
    return run_season(farm, None, Limits(120.0, 3 * 1024**3), in_turn, lambda *_: None)


def named(farm, job, *others):
    """Have a job name those of other machines."""
    path = farm / job / "job.toml"
    told = ", ".join(f'"{other}"' for other in others)
    path.write_text(path.read_text().replace("[field]", f"together = [{told}]\n[field]"))


def two_machines(folder, *, told=True):
    """One field by two machines, six passes and four (5 and 6 by both, 10 by none); *told*: each names the other."""
    farm = make_farm(folder / "farm")
    jobs = ("2026-05-30-lower-meadow", "2026-05-30-lower-meadow-2")
    add_job(farm, jobs[0], passes=range(1, 7))
    add_job(farm, jobs[1], passes=range(5, 10), machine="tractor")
    for one, other in (jobs, jobs[::-1]) if told else ():
        named(farm, f"jobs/{one}", f"../{other}/job.toml")
    return farm


def test_a_ledger_of_machines_that_name_each_other_is_that_of_machines_that_do_not(tmp_path):
    found = []
    for told in (False, True):
        (field,) = season(two_machines(tmp_path / str(told), told=told)).ledger.fields
        causes = [(cause.kind, cause.area_m2) for job in field.jobs for cause in field.causes(job.job)]
        found.append((field.treatments[0].area_m2, sum(area for _, area in causes), len(field.products)))
    for one, other in zip(*found, strict=True):
        assert other == pytest.approx(one, abs=0.5)  # areas of one log, counted twice from the same pieces [m2]
    assert found[1][1] == pytest.approx(PASS_M2, abs=6.0)  # what both missed is told once


def test_a_job_is_audited_again_when_the_other_machines_job_changed(tmp_path):
    farm = two_machines(tmp_path)
    assert len(season(farm).audited) == 2
    assert season(farm).audited == ()
    (farm / "jobs/2026-05-30-lower-meadow-2/boom.csv").write_text("on,off\n2026-05-30T13:05:24Z,2026-05-30T13:05:54Z\n")
    assert len(season(farm).audited) == 2


def test_another_machines_broken_log_fails_its_own_job_alone(tmp_path):
    farm = two_machines(tmp_path)
    write(farm / "jobs/2026-05-30-lower-meadow-2/track.gpx", "no log at all")
    ledger = season(farm).ledger
    assert [one.job for one in ledger.failed] == ["jobs/2026-05-30-lower-meadow-2"]
    (job,) = ledger.jobs
    assert job.area_m2["missed"] == pytest.approx(4 * PASS_M2, abs=6.0)
    summary = json.loads((farm / job.job / "report/summary.json").read_text())
    assert any("track.gpx" in caution and "cannot be read" in caution for caution in summary["cautions"])


@pytest.mark.parametrize(
    ("name", "what"),
    [("job.toml", "this is the job itself"), ("../nowhere/job.toml", 'there is no file "../nowhere/job.toml"')],
)
def test_a_machine_that_is_none_is_refused(tmp_path, name, what):
    farm = make_farm(tmp_path / "farm")
    job = add_job(farm, "2026-05-30-lower-meadow")
    named(farm, job, name)
    with pytest.raises(InputError, match=what):
        house.read(farm / job / "job.toml")


def test_the_ledger_says_whose_target_is_a_part_of_the_field(tmp_path):
    page = ledger_files(season(two_machines(tmp_path)).ledger)["ledger.html"]
    assert page.count("what other machines left to this one") == 2
    assert "of it by the other machine" not in page  # neither took anything that the other tells as missed
