"""A job takes from its farm what it does not say itself, and its facts say which was which."""

import pytest

from coverage_audit.errors import InputError
from coverage_audit.jobs.farm import read_farm
from coverage_audit.jobs.read import read_job
from coverage_audit.papers.figures.facts import fact_groups
from coverage_audit.read.packed import Memory
from coverage_audit.read.source import Folder
from coverage_audit.recipe.audit import audit_job
from coverage_audit.units import FOOT_M

FARM_TOML = """\
[farm]
name = "Larch Hollow"
timezone = "America/Boise"
units = "us"
season_starts = "11-01"
[machine.quad]
boom.width = "30 ft"
boom.antenna_ahead = "4 ft"
accuracy.steering = "hand"
rate.flow = "4 gal/min"
rate.tank = "50 gal"
[machine.tractor]
boom.sections = ["3 m", "3 m", "3 m"]
boom.intervals = "log"
[product.larkmoor]
name = "Larkmoor 200 SL"
reg_no = "0000-11"
phi = "14 days"
max_per_season = "2.4 L/ha"
"""
JOB_TOML = """\
[job]
farm = "../farm.toml"
machine = "quad"
[field]
boundary = "boundary.geojson"
[track]
files = ["track.gpx"]
[boom]
intervals = "boom.csv"
[[product]]
from = "larkmoor"
rate = "1.2 L/ha"
"""


@pytest.fixture
def farm_job(small_job):
    small_job.write("../farm.toml", FARM_TOML)
    small_job.write("job.toml", JOB_TOML)
    return small_job


def refused(small_job):
    with pytest.raises(InputError) as caught:
        read_job(small_job.path)
    return caught.value


def test_what_the_job_does_not_say_stands_in_the_farm(farm_job):
    settings = read_job(farm_job.path).settings
    assert settings.boom.width_m == pytest.approx(30 * FOOT_M, abs=1e-12)  # 1e-12 m: rounding
    assert (settings.operator, settings.timezone, settings.report.units) == ("Larch Hollow", "America/Boise", "us")
    assert settings.accuracy.steering == "hand"
    assert settings.rate.tank.tank_l == pytest.approx(50 * 3.785411784, abs=1e-9)  # the US gallon by definition
    (product,) = settings.products
    assert (product.name, product.reg_no, product.phi_days, product.rate.value) == (
        "Larkmoor 200 SL",
        "0000-11",
        14,
        1.2,
    )


def test_what_was_taken_from_the_farm_is_told_key_by_key(farm_job):
    use = read_job(farm_job.path).settings.farm
    assert (use.file, use.name, use.machine, use.products) == ("farm.toml", "Larch Hollow", "quad", ("larkmoor",))
    taken = {key: (place, value) for key, place, value in use.taken}
    assert taken["boom.width"] == ("farm.toml, machine.quad.boom.width", "30 ft")
    assert taken["product[1].phi"] == ("farm.toml, product.larkmoor.phi", "14 days")
    assert "boom.intervals" not in taken
    assert "product[1].rate" not in taken


def test_a_key_of_the_job_wins(farm_job):
    farm_job.change("antenna_ahead", '"0.5 m"', "boom")
    farm_job.change("units", '"metric"', "report")
    farm_job.write("job.toml", farm_job.read("job.toml") + 'phi = "21 days"\n')
    text = farm_job.read("job.toml")
    farm_job.write("job.toml", text.replace('phi = "21 days"\n', "").replace("rate = ", 'phi = "21 days"\nrate = '))
    settings = read_job(farm_job.path).settings
    assert (settings.boom.antenna_ahead_m, settings.report.units, settings.products[0].phi_days) == (0.5, "metric", 21)
    assert not {"boom.antenna_ahead", "report.units", "product[1].phi"} & set(settings.farm.places)


def test_a_width_of_the_job_wins_however_the_farm_says_it(farm_job):
    farm_job.change("machine", '"tractor"', "job")
    farm_job.change("width", '"6 m"', "boom")
    settings = read_job(farm_job.path).settings
    assert settings.boom.sections_m == (6.0,)
    assert not any(key.startswith("boom.") for key in settings.farm.places)  # intervals stand in the job


def test_a_machine_may_say_where_the_boom_state_always_comes_from(farm_job):
    farm_job.change("machine", '"tractor"', "job")
    farm_job.write("job.toml", farm_job.read("job.toml").replace('intervals = "boom.csv"\n', ""))
    assert read_job(farm_job.path).settings.boom.intervals == "log"


def test_a_job_without_a_farm_took_nothing(small_job):
    assert read_job(small_job.path).settings.farm is None


def test_the_farm_is_one_of_the_files_of_the_job(farm_job):
    assert [name for name, _ in read_job(farm_job.path).sources][:2] == ["job.toml", "farm.toml"]


@pytest.mark.parametrize(
    ("old", "new", "place", "what"),
    [
        ("units =", "unit =", "farm.toml, farm.unit", 'did you mean "units"?'),
        ("boom.antenna_ahead", "boom.antena_ahead", "farm.toml, machine.quad.boom.antena_ahead", '"antenna_ahead"?'),
        ("rate.tank", "rate.applied", "farm.toml, machine.quad.rate.applied", "no such key"),
        ("[product.larkmoor]", "[products.larkmoor]", "farm.toml, products", 'did you mean "product"?'),
        ('"30 ft"', '"30"', "farm.toml, machine.quad.boom.width", "unit"),
        ('"log"', '"boom.csv"', "farm.toml, machine.tractor.boom.intervals", "is not one of log"),
        ('"11-01"', '"02-30"', "farm.toml, farm.season_starts", "no day of every year"),
        ('name = "Larkmoor 200 SL"\n', "", "farm.toml, product.larkmoor.name", "missing"),
        ('"America/Boise"', '"America/Boize"', "farm.toml, farm.timezone", "America/Boise"),
    ],
)
def test_a_fault_of_the_farm_file_is_told_there(farm_job, old, new, place, what):
    farm_job.write("../farm.toml", FARM_TOML.replace(old, new))
    fault = refused(farm_job)
    assert fault.place == place
    assert what in fault.what


@pytest.mark.parametrize(
    ("old", "new", "place", "what"),
    [
        ('"quad"', '"quat"', "job.toml, job.machine", 'did you mean "quad"?'),
        ('machine = "quad"\n', "", "job.toml, job.machine", "quad, tractor"),
        ('"larkmoor"', '"larkmor"', "job.toml, product[1].from", 'did you mean "larkmoor"?'),
        ('"../farm.toml"', '"farm.toml"', "job.toml, job.farm", "there is no file"),
        ('farm = "../farm.toml"\n', "", "job.toml, job.machine", "name its file"),
        ('farm = "../farm.toml"', "farm = 3", "job.toml, job.farm", "text in quotes"),
    ],
)
def test_a_job_that_does_not_fit_its_farm_is_refused(farm_job, old, new, place, what):
    farm_job.write("job.toml", JOB_TOML.replace(old, new))
    fault = refused(farm_job)
    assert fault.place == place
    assert what in fault.what


def test_keys_of_both_that_do_not_fit_are_told_where_they_stand(farm_job):
    farm_job.write(
        "../farm.toml", FARM_TOML.replace("boom.antenna_ahead", 'boom.sections = ["3 m"]\nboom.antenna_ahead')
    )
    assert refused(farm_job).place == "farm.toml, machine.quad.boom.sections"


def test_a_farm_says_when_its_seasons_begin():
    assert read_farm(Memory({"farm.toml": FARM_TOML.encode()}), "farm.toml").season_starts == (11, 1)
    assert read_farm(Memory({"farm.toml": b"[farm]\n"}), "farm.toml").season_starts == (1, 1)


def test_a_log_is_no_farm_file(farm_job):
    farm_job.write("../farm.toml", "<gpx/>")
    assert "not a farm file" in refused(farm_job).what
    with pytest.raises(InputError, match="not a farm file"):
        read_farm(Folder(farm_job.folder.parent), "farm.toml")


def test_the_report_lists_every_value_that_came_from_the_farm(farm_job):
    groups = fact_groups(audit_job(read_job(farm_job.path)))
    (facts,) = (group.facts for group in groups if group.title.startswith("Taken from the farm"))
    told = {fact.name: (fact.value, fact.how) for fact in facts}
    assert told["boom.width"] == ("30 ft", "farm.toml, machine.quad.boom.width")
    assert told["product[1].phi"] == ("14 days", "farm.toml, product.larkmoor.phi")
    assert set(told) == {
        *("job.operator", "job.timezone", "report.units", "boom.width", "boom.antenna_ahead", "accuracy.steering"),
        *(
            "rate.flow",
            "rate.tank",
            "product[1].name",
            "product[1].reg_no",
            "product[1].phi",
            "product[1].max_per_season",
        ),
    }


def test_each_figure_that_was_typed_in_says_where(farm_job):
    farm_job.change("antenna_right", '"0.3 m"', "boom")
    groups = fact_groups(audit_job(read_job(farm_job.path)))
    told = {fact.name: fact.how for group in groups for fact in group.facts}
    assert told["Boom width"] == told["Antenna ahead of the boom"] == told["Time zone of the dates"] == "from the farm"
    assert told["Antenna right of the boom's centre"] == "from the job"


def test_a_job_without_a_farm_lists_none(small_job):
    groups = fact_groups(audit_job(read_job(small_job.path)))
    assert [group.facts for group in groups if group.title.startswith("Taken from the farm")] == [()]
