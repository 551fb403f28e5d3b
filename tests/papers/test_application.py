"""The application record: every field of both laws with its point, its schema, its CSV, and what is missing."""

import csv
import datetime as dt
import io
import json
import re
import tomllib
from dataclasses import replace

import jsonschema
import pytest
import shapely.geometry
from jobs import worked_job
from proof_kit import FIXTURE
from pyproj import Geod

from coverage_audit.cli import command as cli
from coverage_audit.demo.job import demo_files
from coverage_audit.jobs.settings import ProductSettings, ProofSettings, RecordSettings
from coverage_audit.papers.application.files import (
    CSV_FILE,
    FILES,
    JSON_FILE,
    PAGE_FILE,
    SCHEMA_FILE,
    application_files,
    application_record,
    missing_words,
    record_schema,
)
from coverage_audit.papers.application.laws import EU, LAWS, US
from coverage_audit.recipe.audit import audit_job

DAY = dt.date(2026, 6, 1)
STATED = (
    '[proof]\napplicator = "Nino Beridze"\ncertificate = "TB 4411"\nlocation = "Plot 12, Rowan Spring"\n'
    '[record]\ntype_of_use = "area"\neppo_code = "AVESA"\nbbch = "37-39"\n'
)


@pytest.fixture(scope="module")
def bare():
    """A job that says nothing of product, crop or person."""
    return audit_job(worked_job(10.0))


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    """Files of the demo's record, its job with every field stated, made by the command."""
    folder = tmp_path_factory.mktemp("demo")
    for name, content in demo_files().items():
        (folder / name).write_bytes(content)
    with (folder / "job.toml").open("a", encoding="utf-8") as file:
        file.write(f"\n{STATED}")
    run = ["record", str(folder / "job.toml"), "-o", str(folder / "out"), "--time", "2026-06-10T12:00:00Z", "--quiet"]
    assert cli.main(run) == 0
    return folder


def the_record(folder):
    return json.loads((folder / "out" / JSON_FILE).read_text(encoding="utf-8"))


def test_the_schema_is_one_and_the_record_fits_it(demo):
    """JSON Schema draft 2020-12, by the library jsonschema with its checks of formats."""
    schema = json.loads((demo / "out" / SCHEMA_FILE).read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator.check_schema(schema)
    validator = jsonschema.Draft202012Validator(schema, format_checker=jsonschema.FormatChecker())
    validator.validate(the_record(demo))
    assert schema == record_schema()


@pytest.mark.parametrize(
    ("law", "name", "value"),
    [
        ("eu_2023_564", "eppo_code", "avesa"),
        ("eu_2023_564", "bbch", "late"),
        ("us_7_cfr_110_3", "total_amount", -1),
        ("us_7_cfr_110_3", "date", "3 June"),
        ("eu_2023_564", "place", {"type": "Point", "coordinates": [0, 0]}),
        ("us_7_cfr_110_3", "product_name", ""),
    ],
)
def test_the_schema_refuses_what_is_not_of_its_form(demo, law, name, value):
    record = the_record(demo)
    record["applications"][0][law][name]["value"] = value
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.Draft202012Validator(record_schema()).validate(record)


def test_the_demo_has_every_field_of_both_laws(demo):
    """7 CFR 110.3 (a) (1) to (5) as of 2006; (EU) 2023/564: article 67 (1) in its recital 1, the annex from memory."""
    (one,) = the_record(demo)["applications"]
    truth = tomllib.loads((demo / "job.toml").read_text(encoding="utf-8"))
    us, eu = ({name: field["value"] for name, field in one[law.key].items()} for law in LAWS)
    product = truth["product"][0]
    assert us == {
        "product_name": product["name"],
        "registration_number": product["reg_no"],
        "total_amount": pytest.approx(620 * 1.2 / 150, rel=0.005),  # flow x time, which goes first: 620.5 L
        "location": "Plot 12, Rowan Spring",
        "size_of_area": us["size_of_area"],
        "crop": truth["job"]["crop"],
        "date": us["date"],
        "applicator": "Nino Beridze",
        "certificate": "TB 4411",
    }
    assert set(eu) == {
        *("type_of_use", "product_name", "authorisation_number", "date", "start_time", "dose", "place"),
        *("size_treated", "crop", "eppo_code", "bbch", "user"),
    }
    assert (eu["type_of_use"], eu["eppo_code"], eu["bbch"]) == ("area", "AVESA", "37-39")
    assert one["missing"] == []
    assert dt.datetime.fromisoformat(eu["start_time"]).date().isoformat() == us["date"]
    assert dt.datetime.fromisoformat(eu["start_time"]).utcoffset() == dt.timedelta(hours=4)  # Tbilisi
    # what left the tank over the ground it fell on: within a twentieth of the dose meant, for 1.2 L/ha was typed
    assert eu["dose"] == pytest.approx(us["total_amount"] / us["size_of_area"], rel=0.05)


def test_the_geodata_is_the_outline_that_was_given(demo):
    """Area on the ellipsoid by pyproj, of what was written and of the boundary file."""
    place = the_record(demo)["applications"][0]["eu_2023_564"]["place"]["value"]
    given = json.loads((demo / "boundary.geojson").read_text(encoding="utf-8"))["features"][0]["geometry"]
    geod = Geod(ellps="WGS84")
    written, typed = (geod.geometry_area_perimeter(shapely.geometry.shape(one))[0] for one in (place, given))
    assert abs(written) == pytest.approx(abs(typed), rel=1e-5)


def test_what_is_missing_is_named(bare):
    (one,) = application_record(bare, DAY)["applications"]
    lacking = {(entry["law"], entry["field"]) for entry in one["missing"]}
    assert (US.key, "registration_number") in lacking
    assert (EU.key, "eppo_code") in lacking
    assert (US.key, "date") not in lacking
    for law, field in lacking:
        assert one[law][field]["value"] is None
    page = application_files(bare, DAY)[PAGE_FILE]
    assert page.count("<strong>Missing:</strong>") == len(LAWS)
    named = dict(missing_words(bare))
    assert "EPA registration number" in named[US.title]
    assert "EPPO code of the crop" in named[EU.title]


def test_where_it_was_is_the_field_and_not_the_name_of_the_job(bare):
    named = replace(
        bare, sprayed_fields=("West meadow",), job=replace(bare.job, settings=replace(bare.job.settings, name="Dock"))
    )
    (one,) = application_record(named, DAY)["applications"]
    assert one[US.key]["location"]["value"] == "West meadow"


def test_each_product_is_an_application_of_its_own(bare):
    settings = replace(bare.job.settings, products=(ProductSettings("Larkmoor"), ProductSettings("Fennel oil")))
    record = application_record(audit_job(replace(bare.job, settings=settings)), DAY)
    names = [one["us_7_cfr_110_3"]["product_name"]["value"] for one in record["applications"]]
    assert names == ["Larkmoor", "Fennel oil"]


def test_the_csv_says_the_same_as_the_json(demo):
    rows = list(csv.DictReader(io.StringIO((demo / "out" / CSV_FILE).read_bytes().decode())))
    (one,) = the_record(demo)["applications"]
    assert len(rows) == sum(len(law.fields) for law in LAWS)
    by_title = {law.title: law.key for law in LAWS}
    for row in rows:
        field = one[by_title[row["law"]]][row["field"]]
        assert row["unit"] == (field["unit"] or "")
        if isinstance(field["value"], float):
            assert float(row["value"]) == field["value"]
        elif isinstance(field["value"], str):
            assert row["value"] == field["value"]
        else:
            assert row["value"].startswith("POLYGON ((")


@pytest.mark.parametrize("text", ["=1+1", "+49 1", "-x", "@x"])
def test_no_typed_text_is_a_formula_of_a_spreadsheet(bare, text):
    settings = replace(bare.job.settings, proof=ProofSettings(certificate=text))
    written = application_files(replace(bare, job=replace(bare.job, settings=settings)), DAY)[CSV_FILE]
    assert [row[4] for row in csv.reader(io.StringIO(written)) if row[3] == "certificate"] == [f"'{text}"]


def test_the_page_shows_point_and_origin_of_each_field_and_is_in_the_persons_units(demo, bare):
    page = (demo / "out" / PAGE_FILE).read_text(encoding="utf-8")
    for law in LAWS:
        for one in law.fields:
            point = one.point if one.read else f"{one.point} (from memory)"
            assert re.search(rf'row">{re.escape(one.words)}</th>.*?class="point">{re.escape(point)}<', page)
    assert "<script" not in page
    assert "ha</td>" in page
    settings = replace(bare.job.settings, report=replace(bare.job.settings.report, units="us"))
    ours = application_files(replace(bare, job=replace(bare.job, settings=settings)), DAY)[PAGE_FILE]
    assert "1.46\u00a0ac</td>" in ours  # 5 900 m2 are 1.458 acres


def test_names_are_data(bare):
    settings = replace(bare.job.settings, proof=ProofSettings(location="<b>x</b>\u202e"))
    page = application_files(replace(bare, job=replace(bare.job, settings=settings)), DAY)[PAGE_FILE]
    assert "&lt;b&gt;x&lt;/b&gt;\\u202e" in page


def test_a_record_made_late_says_so_and_how_long_it_is_kept(bare):
    """Days and years of 7 CFR 110.3, from memory."""
    day = dt.date.fromisoformat(application_record(bare, DAY)["applications"][0]["us_7_cfr_110_3"]["date"]["value"])
    record = application_record(bare, day)
    assert record["record_by"] == (day + dt.timedelta(14)).isoformat()
    assert record["keep_until"] == day.replace(year=day.year + 2).isoformat()
    for late, told in ((14, False), (15, True)):
        page = application_files(bare, day + dt.timedelta(late))[PAGE_FILE]
        assert ("more than 14 days" in page) == told


def test_a_guessed_boom_state_is_not_told_as_seen(bare):
    origin = "rests on a boom state that was not logged"
    settings = replace(bare.job.settings, boom=replace(bare.job.settings.boom, intervals="assume"))
    guessed = audit_job(replace(bare.job, settings=settings, intervals=None))
    for audit, wanted in ((bare, "derived"), (guessed, origin)):
        (one,) = application_record(audit, DAY)["applications"]
        assert one["us_7_cfr_110_3"]["size_of_area"]["origin"] == wanted


@pytest.mark.parametrize(
    ("key", "good", "bad"),
    [
        ("eppo_code", ["LOLPE", "1LOLG", "3GRAC"], ["lolpe", "LOLP", "LOLPEX", "", "LOLPE ", "12345"]),
        ("bbch", ["39", "00", "37-39", "102"], ["9", "early", "37-", "37 - 39", "1234"]),
        ("type_of_use", ["area", "closed space", "seed"], ["field", ""]),
    ],
)
def test_codes_are_checked_for_their_form(tmp_path, capsys, key, good, bad):
    """Five letters for plants, a digit first for genus and family: EPPO, General overview of the codes."""
    text = (FIXTURE / "job.toml").read_text(encoding="utf-8")
    for path in FIXTURE.iterdir():
        (tmp_path / path.name).write_bytes(path.read_bytes())
    for value, code in [*((one, 0) for one in good), *((one, 2) for one in bad)]:
        (tmp_path / "job.toml").write_text(f'{text}\n[record]\n{key} = "{value}"\n', encoding="utf-8")
        run = ["record", str(tmp_path / "job.toml"), "-o", str(tmp_path / "out"), "--time", "2026-06-30T12:00:00Z"]
        assert cli.main([*run, "--quiet"]) == code, value
        if code:
            assert f"record.{key}" in capsys.readouterr().err


def test_the_command_names_what_is_missing(tmp_path, capsys):
    assert cli.main(["record", str(FIXTURE / "job.toml"), "-o", str(tmp_path), "--time", "2026-06-30T12:00:00Z"]) == 0
    told = capsys.readouterr().out
    assert "Missing for 7 CFR 110.3: " in told
    assert {path.name for path in tmp_path.iterdir()} >= set(FILES)


def test_settings_have_no_default_that_nobody_said():
    assert RecordSettings() == RecordSettings("", "", "")
