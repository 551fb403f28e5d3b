"""From an empty folder and a phone's log to the answer, by what the page's script sends; then the command."""

from __future__ import annotations

import io
import json
import stat
import subprocess
import sys
import zipfile
from pathlib import Path

import numpy as np
import pytest
from page_house import open_house
from page_jobs import LOG, PLACE, corners_on, finished, job_of, papers
from simulator.files import to_nmea_text

from coverage_audit.cli import command as cli
from coverage_audit.errors import InputError
from coverage_audit.page.desk import Desk


@pytest.fixture
def house(tmp_path):
    with open_house(tmp_path / "farm", made=False) as opened:
        yield opened


@pytest.fixture
def farm(house):
    assert house.post("/farm", name="Larch Hollow", units="us", timezone="America/Boise")["go"] == "/"
    return house


def test_answer_is_what_check_writes_of_the_saved_job_byte_for_byte(farm, tmp_path, capsys):
    job = finished(farm)
    assert farm.facts(job).stage == "done"
    folder = farm.root / "jobs" / job
    assert cli.main(["check", str(folder / "job.toml"), "-o", str(tmp_path / "out"), "--quiet"]) == 0
    assert capsys.readouterr().err == ""
    assert papers(folder / "report") == papers(tmp_path / "out")
    told = json.loads(farm.get(f"/job/{job}/parts").body)["parts"]["answer"]
    assert "headline" in told


def test_plan_is_what_touchup_writes_of_the_saved_job(farm, tmp_path, capsys):
    job = finished(farm)
    farm.facts(job)
    assert farm.post(f"/job/{job}/work", do="plan")["status"] == 200
    assert farm.facts(job).stage == "done"
    folder = farm.root / "jobs" / job
    assert cli.main(["touchup", str(folder / "job.toml"), "-o", str(tmp_path / "plan"), "--quiet"]) == 0
    capsys.readouterr()
    assert papers(folder / "plan") == papers(tmp_path / "plan")


def test_nothing_is_made_before_the_person_has_said_so(house):
    assert b"Before the first job" in house.get("/").body
    assert not house.root.exists()
    assert house.post("/farm", name="x", units="us", timezone="Nowhere/Atall")["status"] == 422
    assert not house.root.exists()


def test_a_zipped_log_is_kept_as_it_came_and_once(farm):
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        archive.writestr("phone/Tuesday.gpx", LOG.gpx)
    first = farm.send("/upload", packed.getvalue(), "day.zip")["logs"]
    again = farm.send("/upload", packed.getvalue(), "the same day.zip")["logs"]
    assert first == again == ["2026-05-21-day.zip"]
    assert (farm.root / "logs" / first[0]).read_bytes() == packed.getvalue()
    job = farm.post("/jobs", logs=first)["go"]
    assert b"driven, one place a second" in farm.get(job).body


def test_a_second_log_is_added_and_taken_off_again(farm):
    job, mark = job_of(farm)
    second = farm.send("/upload", LOG.gpx.replace(b"2026-05-21", b"2026-05-22"), "Wednesday.gpx")["logs"]
    mark = farm.post(f"/job/{job}/logs", mark=mark, logs=second)["mark"]
    assert len(Desk(farm.root).job(job).draft.get("track.files")) == 2
    assert farm.post(f"/job/{job}/unlog", mark=mark, number=2)["status"] == 422
    mark = farm.post(f"/job/{job}/unlog", mark=mark, number=0)["mark"]
    assert Desk(farm.root).job(job).draft.get("track.files") == [f"../../logs/{second[0]}"]
    assert len(list((farm.root / "logs").iterdir())) == 2
    farm.post(f"/job/{job}/unlog", mark=mark, number=0)
    assert Desk(farm.root).job(job).draft.lacks[0] == "logs"


@pytest.mark.parametrize("data", [b"not a log", b"<gpx></gpx>", b"PK\x03\x04broken"])
def test_what_is_no_log_is_refused_in_words_and_not_kept(data, farm):
    found = farm.send("/upload", data, "odd.gpx")
    assert (found["status"], found["fault"] != "") == (422, True)
    assert list((farm.root / "logs").iterdir()) == []


def test_a_zip_bomb_is_refused_before_it_is_unpacked(farm):
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive, archive.open("day.gpx", "w") as file:
        for _ in range(600):
            file.write(bytes(1024**2))  # 600 MiB of nothing
    assert len(packed.getvalue()) < 2 * 1024**2
    found = farm.send("/upload", packed.getvalue(), "day.zip")
    assert (found["status"], list((farm.root / "logs").iterdir())) == (422, [])
    assert "MiB" in found["fault"]


@pytest.mark.parametrize(
    "name",
    ["../../evil.gpx", "..\\..\\evil.gpx", "C:\\x.gpx", "\\\\server\\share\\x.gpx", "a\0b.gpx", "con.gpx", "é" * 300],
)
def test_names_of_dropped_files_never_decide_where_they_go(name, farm):
    kept = farm.send("/upload", LOG.gpx, name)["logs"]
    assert [path.name for path in (farm.root / "logs").iterdir()] == kept
    assert kept[0].startswith("2026-05-21-")
    assert not set(kept[0]) - set("abcdefghijklmnopqrstuvwxyz0123456789-.")


def test_a_kept_field_is_taken_by_the_next_job_there(farm):
    finished(farm)
    job, _ = job_of(farm)
    draft = Desk(farm.root).job(job).draft
    assert draft.get("field.boundary") == "../../fields/long-meadow.geojson"
    assert job == "2026-05-20-long-meadow"  # the local day: 02:38 UTC is the evening before in Boise


def test_a_kept_machine_is_named_in_the_job_and_counts_there(farm):
    job = finished(farm)
    mark = Desk(farm.root).job(job).mark
    assert farm.post(f"/job/{job}/machine", mark=mark, keep="Quad")["status"] == 200
    text = (farm.root / "jobs" / job / "job.toml").read_text()
    assert 'machine = "Quad"' in text
    assert "width" not in text
    assert Desk(farm.root).job(job).draft.get("boom.width") == "9 m"
    assert farm.facts(job).stage == "done"


def test_outline_from_a_file_becomes_a_field_of_the_farm(farm):
    job, _ = job_of(farm)
    found = farm.send(f"/job/{job}/outline", LOG.geojson.encode(), "meadow.geojson")
    assert found["status"] == 200
    assert "Long meadow" in found["parts"]["field"]
    assert (farm.root / "fields" / "long-meadow.geojson").is_file()


def test_driven_edge_runs_half_a_boom_outside_the_outer_passes(farm):
    job, mark = job_of(farm)
    mark = farm.post(f"/job/{job}/set", mark=mark, keys={"boom.width": "9 m"})["mark"]
    farm.post(f"/job/{job}/edge", mark=mark)
    corners = np.array(json.loads(farm.get(f"/job/{job}/map").body)["corners"])
    x, y = corners.T
    area = abs(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2
    # the outer lap is driven half a boom inside the field's edge; turns beyond it and a phone's metre widen the rest
    assert area == pytest.approx(18_497 * 0.45**2, rel=0.16)


def test_two_windows_the_second_is_told_and_nothing_of_the_first_is_lost(farm):
    job, mark = job_of(farm)
    first = farm.post(f"/job/{job}/set", mark=mark, keys={"job.name": "from the first window"})
    second = farm.post(f"/job/{job}/set", mark=mark, keys={"job.name": "from the second window"})
    assert (first["status"], second["status"]) == (200, 409)
    assert "another window" in second["changed"]
    assert Desk(farm.root).job(job).draft.get("job.name") == "from the first window"


def test_a_change_of_the_file_by_hand_is_seen_and_its_comments_stay(farm):
    job, mark = job_of(farm)
    path = farm.root / "jobs" / job / "job.toml"
    path.write_text(path.read_text() + "# mine\n")
    assert farm.post(f"/job/{job}/set", mark=mark, keys={"job.name": "x"})["status"] == 409
    mark = json.loads(farm.get(f"/job/{job}/parts").body)["mark"]
    assert farm.post(f"/job/{job}/set", mark=mark, keys={"job.name": "x"})["status"] == 200
    assert "# mine" in path.read_text()


def test_only_keys_of_the_page_are_set(farm):
    job, mark = job_of(farm)
    for key, value in (("track.files", "../../../secret"), ("boom.intervals", "../../x.csv"), ("job.farm", "x")):
        before = (farm.root / "jobs" / job / "job.toml").read_bytes()
        assert farm.post(f"/job/{job}/set", mark=mark, keys={key: value})["status"] == 422
        assert (farm.root / "jobs" / job / "job.toml").read_bytes() == before


def test_wrong_quantity_is_told_at_its_place_and_changes_nothing(farm):
    job, mark = job_of(farm)
    found = farm.post(f"/job/{job}/set", mark=mark, keys={"boom.width": "wide ft"})
    assert (found["status"], found["place"]) == (422, "boom.width")
    assert Desk(farm.root).job(job).draft.get("boom.width") is None


def test_markup_in_names_is_data_on_every_screen(farm):
    hostile = "</h1><script>alert(1)</script>"
    job, mark = job_of(farm, name=f"{hostile}.gpx")
    mark = farm.post(f"/job/{job}/set", mark=mark, keys={"job.name": hostile})["mark"]
    farm.post(f"/job/{job}/set", mark=mark, keys={"product.name": hostile})
    named = LOG.geojson.replace("Long meadow", hostile)
    farm.send(f"/job/{job}/outline", named.encode(), f"{hostile}.geojson")
    for page in (farm.get("/").body, farm.get(f"/job/{job}").body):
        assert b"<script>alert" not in page
        assert b"&lt;script&gt;alert(1)" in page


def test_bin_takes_a_job_and_gives_it_back_whole(farm):
    job, _ = job_of(farm)
    before = papers(farm.root / "jobs" / job)
    assert farm.post("/bin", job=job)["go"] == "/"
    assert Desk(farm.root).jobs() == []
    assert papers(farm.root / "bin" / job) == before
    assert farm.post("/unbin", name=job)["go"] == "/"
    assert papers(farm.root / "jobs" / job) == before


def test_work_is_stopped_when_asked_and_leaves_no_half_report(farm):
    job = finished(farm)
    farm.post(f"/job/{job}/work", do="stop")
    assert farm.facts(job).stage == "stopped"
    assert not (farm.root / "jobs" / job / "report" / "summary.json").exists()


def test_a_vanished_folder_is_told_in_words(farm):
    job, mark = job_of(farm)
    farm.root.rename(farm.root.with_name("elsewhere"))
    assert farm.post(f"/job/{job}/set", mark=mark, keys={"job.name": "x"})["status"] == 422
    assert farm.get(f"/job/{job}").status == 404
    assert farm.get("/").status == 200


def test_a_full_disk_is_told_in_words_and_the_job_stays_as_it_was(farm, monkeypatch):
    job, mark = job_of(farm)
    before = papers(farm.root / "jobs" / job)

    def full(*_args, **_more):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("coverage_audit.files.whole_sets.os.fsync", full)
    found = farm.post(f"/job/{job}/set", mark=mark, keys={"job.name": "x"})
    assert found["status"] == 422
    assert "space" in found["fault"]
    monkeypatch.undo()
    assert papers(farm.root / "jobs" / job) == before


def test_a_day_over_kept_fields_is_cut_into_their_jobs(farm):
    """As ``day`` cuts it: with its machine known and its field kept the second log becomes a job by itself."""
    with (farm.root / "farm.toml").open("a", encoding="utf-8") as file:
        file.write('[machine.quad]\nboom.width = "9 m"\naccuracy.replicates = 4\n')
    (farm.root / "fields" / "long-meadow.geojson").write_text(LOG.geojson)
    kept = farm.send("/upload", LOG.gpx, "Wednesday.gpx")["logs"]
    go = farm.post("/jobs", logs=kept)["go"]
    assert go == "/job/2026-05-20-long-meadow"
    draft = Desk(farm.root).job("2026-05-20-long-meadow").draft
    assert (draft.own("job.machine"), draft.own("track.from") is None) == ("quad", False)
    parts = json.loads(farm.get(f"{go}/parts").body)["parts"]
    assert "Long meadow" in parts["field"]
    assert "All passes as a list" in parts["boom"]
    assert farm.facts("2026-05-20-long-meadow").stage == "done"  # nothing was open, so nobody had to ask


def test_a_drawn_field_says_whether_it_was_made_from_the_drive(farm):
    for begin, derived in (("edge", True), ("corners", False)):
        job, mark = job_of(farm)
        mark = farm.post(f"/job/{job}/{begin}", mark=mark, corners=corners_on(farm, job))["mark"]
        assert farm.post(f"/job/{job}/field", mark=mark, name=begin)["status"] == 200
        feature = json.loads((farm.root / "fields" / f"{begin}.geojson").read_text())["features"][0]
        assert ("outline" in feature["properties"]) == derived


def test_two_jobs_side_by_side_and_the_season(farm):
    first = finished(farm)
    farm.facts(first)
    second = finished(farm)
    farm.facts(second)
    assert farm.post("/together", jobs=[first])["status"] == 422
    assert farm.post("/together", jobs=[first, second])["go"] == "/farm/compared/compare.html"
    shown = farm.get("/farm/compared/compare.html")
    assert (shown.status, b"sandbox" in shown.headers[b"content-security-policy"]) == (200, True)
    assert b"Jobs side by side" in farm.get("/").body
    assert farm.get("/farm/compared/compare.json").status == 404  # the table of papers holds what is shown, no more


def test_season_is_added_up_behind_the_page(farm, monkeypatch):
    """What ``season`` itself does is tested with it; here that the page runs it, follows it and shows its ledger."""
    asked = []

    def added(root, wanted, _limits, _workers, tell):
        asked.append((root, wanted))
        tell(1, 1, 0)
        (root / "seasons" / "2026").mkdir(parents=True)
        (root / "seasons" / "2026" / "ledger.html").write_text("the ledger")
        raise InputError("no job of this farm has a date", "season")

    monkeypatch.setattr("coverage_audit.page.together.run_season", added)
    assert farm.post("/season")["status"] == 200
    assert farm.facts("-season").stage == "failed"
    assert "no job of this farm has a date" in json.loads(farm.get("/season/state").body)["words"]
    assert asked == [(farm.root, None)]
    assert farm.get("/farm/season-2026/ledger.html").body == b"the ledger"


def test_killed_while_saving_at_any_moment_the_job_is_the_old_one_or_the_new_one_whole(farm):
    job, _ = job_of(farm)
    script = Path(__file__).parents[1] / "killed_page.py"
    told = subprocess.run(
        [sys.executable, script, farm.root, job], check=True, capture_output=True, text=True, timeout=120
    ).stdout
    found = json.loads(told)
    assert found["wrong"] == []
    assert found["killed"] >= 20  # steps of one saving at which it died
    assert found["random"] == 50


def logged(house):
    """A job whose log says when the boom was on, with all that a proof needs; its id."""
    (house.root / "fields" / "long-meadow.geojson").write_text(LOG.geojson)
    kept = house.send("/upload", to_nmea_text(LOG.job, PLACE).encode(), "terminal.nmea")["logs"]
    go = house.post("/jobs", logs=kept)["go"]
    job = go.removeprefix("/job/")
    path = house.root / "jobs" / job / "job.toml"
    path.write_text(path.read_text() + "[accuracy]\nreplicates = 4\n")
    mark = Desk(house.root).job(job).mark
    found = house.post(f"/job/{job}/set", mark=mark, keys={"boom.width": "9 m", "boom.antenna_ahead": "1.4 m"})
    assert found["status"] == 200, found
    return job


def test_a_logged_job_is_proven_with_keys_that_the_farm_keeps(farm, capsys):
    job = logged(farm)
    assert Desk(farm.root).job(job).draft.get("boom.intervals") == "log"
    assert farm.facts(job).stage == "done"
    assert "Make a proof" in json.loads(farm.get(f"/job/{job}/parts").body)["parts"]["answer"]
    farm.post(f"/job/{job}/work", do="proof")
    assert farm.facts(job).stage == "done", farm.facts(job)
    keys, proof = farm.root / "keys", farm.root / "jobs" / job / "proof" / "proof.pdf"
    assert stat.S_IMODE((keys / "seller.private").stat().st_mode) == 0o600
    check = ["proof", "check", str(proof), "--public-key", str(keys / "seller.public")]
    assert cli.main([*check, "--quiet"]) == 0
    capsys.readouterr()
    before = (keys / "seller.private").read_bytes()
    (keys / "seller.salts").unlink()
    farm.post(f"/job/{job}/work", do="proof")
    assert "a part of your keys is missing" in farm.facts(job).fault
    assert (keys / "seller.private").read_bytes() == before


def test_no_proof_is_offered_of_a_guess(farm):
    job = finished(farm)
    farm.facts(job)
    told = json.loads(farm.get(f"/job/{job}/parts").body)["parts"]["answer"]
    assert "Make a proof" not in told
    assert "No proof can be made of this job" in told
    farm.post(f"/job/{job}/work", do="proof")
    assert farm.facts(job).stage == "failed"
    assert not (farm.root / "keys").exists()


def test_plain_areas_on_the_way_are_those_of_the_answer_as_counted(farm):
    """The likeliest boom state, taken for granted: what the whole audit counts before it asks how sure that is."""
    job = finished(farm)
    areas = dict(farm.facts(job).areas)
    summary = json.loads((farm.root / "jobs" / job / "report" / "summary.json").read_text())
    assert set(areas) == {"target", "covered", "missed", "double"}
    for name, value in areas.items():
        assert value == pytest.approx(summary["area_m2"][name], rel=1e-9), name
