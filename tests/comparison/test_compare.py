"""Jobs side by side: differences, their intervals from passes resampled in blocks, and the page."""

import dataclasses
import json
import re

import numpy as np
import pytest
from compare_trials import ALIKE, alike_pair, differences, record
from simulator.jobs import GUIDED, gauss_markov

from coverage_audit import run as whole
from coverage_audit.cli import command as cli
from coverage_audit.cli.compare import parse_price
from coverage_audit.comparison.measures import MEASURES
from coverage_audit.comparison.statistics import Series, block_length, compare_series, student_975
from coverage_audit.errors import InputError
from coverage_audit.units import US_GALLON_L

CALLED_AT_MOST = 0.08
FOUND_AT_LEAST = 0.80


def drifting(rng, mean, count=24, drift=0.5):
    """A measure of *count* passes of which neighbours drift together, time constant 600 s, 90 s a pass."""
    return mean * (1 + drift * gauss_markov(count, 0.3, 90.0, 600.0, rng) + rng.normal(0, 0.15, count))


def series(values):
    starts = np.arange(len(values)) * 90.0
    return Series(values, np.ones(len(values)), block_length(starts), 90.0)


def called(rng, seed, shift=0.0):
    one, other = (series(drifting(rng, 1.0)) for _ in range(2))
    other = dataclasses.replace(other, part=other.part + shift)
    told = compare_series("x", one, other, (one.value(), other.value()), seed)
    return told.larger_than_chance, (told.high95 - told.low95) / 2


def test_jobs_drawn_alike_are_seldom_called_different():
    """200 pairs with a drift of 600 s. Three standard errors of 5 % of 200 trials are 4.6 %."""
    rng = np.random.default_rng(4)
    flags = [called(rng, k)[0] for k in range(200)]
    assert np.mean(flags) <= CALLED_AT_MOST + 0.02


def test_a_true_change_of_twice_the_half_width_is_found():
    rng = np.random.default_rng(5)
    half = np.median([called(rng, k)[1] for k in range(50)])
    assert np.mean([called(rng, k, shift=2 * half)[0] for k in range(100)]) >= FOUND_AT_LEAST


@pytest.mark.slow
def test_four_hundred_pairs_of_whole_jobs():
    """Rates per measure, from the log to the flag; the issue's own figures."""
    pairs = [alike_pair(number) for number in range(400)]
    for measure in {name for pair in pairs for name, _, _ in pair}:
        told = np.array([(d, half) for pair in pairs for name, d, half in pair if name == measure])
        assert np.mean(np.abs(told[:, 0]) > told[:, 1]) <= CALLED_AT_MOST, measure
        change = 2 * np.median(told[:, 1])
        assert np.mean(np.abs(told[:, 0] + change) > told[:, 1]) >= FOUND_AT_LEAST, measure


@pytest.fixture(scope="module")
def pair():
    guided = dataclasses.replace(ALIKE, steering=GUIDED)
    return record(ALIKE, 1, "by hand"), record(guided, 2, "guided")


def test_a_guided_job_differs_from_a_hand_steered_one(pair):
    told = {one.measure: one for one in differences(*pair, 3)}
    assert told["cross_track_rms_m"].larger_than_chance
    assert told["cross_track_rms_m"].difference < 0
    assert told["spacing_error_m"].larger_than_chance
    assert not told["hours_per_ha"].larger_than_chance  # same speed, same field


def test_the_same_job_twice_does_not_differ(pair):
    for one in differences(pair[0], pair[0], 3):
        assert one.difference in (0, None)
        assert one.larger_than_chance in (False, None)


def test_difference_is_b_less_a_and_lies_in_its_interval(pair):
    for one in differences(*pair, 3):
        assert one.difference == one.b - one.a
        assert one.low95 <= one.difference <= one.high95


def test_too_few_passes_give_no_interval():
    few = series(np.array([1.0, 2.0, 3.0]))
    told = compare_series("x", few, few, (1.0, 2.0), 1)
    assert (told.difference, told.low95, told.larger_than_chance) == (1.0, None, None)


def test_what_is_not_known_stays_unknown():
    told = compare_series("x", None, None, (None, 2.0), 1)
    assert (told.a, told.difference, told.larger_than_chance) == (None, None, None)


def test_students_t_against_the_table():
    """Any table of Student's t: 97.5th percentiles, to its last digit."""
    table = {1: 12.706, 10: 2.228, 30: 2.042, 120: 1.980}
    assert {n: round(student_975(n), 3) for n in table} == table


def test_blocks_are_neither_single_passes_nor_half_the_job():
    assert block_length(np.arange(24) * 90.0) == 5
    assert block_length(np.arange(200) * 60.0) == 10  # what the drift remembers
    assert block_length(np.arange(8) * 90.0) == 2
    assert block_length(np.array([0.0])) == 1


@pytest.mark.parametrize(
    ("text", "per_l", "currency"),
    [("0.35 EUR/L", 0.35, "EUR"), ("2 USD/gal", 2 / US_GALLON_L, "USD"), ("1.5 £ per L", 1.5, "£")],
)
def test_prices(text, per_l, currency):
    price = parse_price(text)
    assert price.per_l == pytest.approx(per_l)
    assert price.currency == currency


@pytest.mark.parametrize("text", ["0.35", "EUR/L", "0.35 EUR", "-1 EUR/L", "0.35 EUR/ha", "nan EUR/L"])
def test_what_is_no_price_is_refused(text):
    with pytest.raises(InputError, match="--price"):
        parse_price(text)


# --- the command --------------------------------------------------------------------------------


@pytest.fixture
def two(small_job, tmp_path):
    """Two jobs: the small job and the same with one pass set 1 m off; the second as a result folder."""
    small_job.change("flow", '"20 L/min"', "rate")
    first = tmp_path / "first"
    first.mkdir()
    for file in small_job.folder.iterdir():
        (first / file.name).write_bytes(file.read_bytes())
    fixes, _ = small_job.drive()
    moved = [(t, x + (1.0 if 35 < x < 36 else 0.0), y) for t, x, y in fixes]
    small_job.write("track.gpx", small_job.gpx_of(moved))
    result = tmp_path / "second"
    assert cli.main(["check", str(small_job.path), "-o", str(result), "--quiet"]) == 0
    return first / "job.toml", result


def run(two, out, *more):
    return cli.main(["compare", str(two[0]), str(two[1]), "-o", str(out), *more])


def test_the_json_is_as_promised(two, tmp_path):
    assert run(two, tmp_path / "out", "--quiet") == 0
    told = json.loads((tmp_path / "out" / "compare.json").read_text())
    assert [one["label"] for one in told["jobs"]] == ["job", "second"]
    keys = {"measure", "job_a", "job_b", "a", "b", "difference", "low95", "high95", "larger_than_chance"}
    assert [set(one) for one in told["differences"]] == [keys] * len(MEASURES)
    for one in told["differences"]:
        assert (one["job_a"], one["job_b"]) == ("job", "second")
        if one["difference"] is not None:
            assert one["difference"] == one["b"] - one["a"]


def test_labels_price_and_json_on_the_terminal(two, tmp_path, capsys):
    code = run(
        two, tmp_path / "out", "--label", "By <b>hand</b>", "--label", "guided", "--price", "0.35 EUR/L", "--json"
    )
    out = capsys.readouterr().out
    assert code == 0
    told = json.loads(out)
    assert [one["label"] for one in told["jobs"]] == ["By <b>hand</b>", "guided"]
    assert told["price"]["currency"] == "EUR"
    page = (tmp_path / "out" / "compare.html").read_text()
    assert "<b>hand" not in page
    assert "EUR" in page


def test_the_page_loads_nothing_and_says_what_it_cannot(two, tmp_path):
    run(two, tmp_path / "out", "--quiet")
    page = (tmp_path / "out" / "compare.html").read_text()
    assert not re.search(r'(?:src|href)="(?!data:|#)', page)
    assert "<script" not in page
    assert page.count('<svg class="pair"') == 2
    assert "speaks of these jobs only" in page
    assert "chance alone would call about" in page
    assert "looks too good" in page


def test_maps_have_one_scale(two, tmp_path):
    run(two, tmp_path / "out", "--quiet")
    page = (tmp_path / "out" / "compare.html").read_text()
    bars = re.findall(r'<path class="bar" d="M6 \d+v6H([\d.]+)v-6"/><text[^>]*>([^<]+)', page)
    assert len(bars) == 2
    assert bars[0] == bars[1]


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["only_one"], "two jobs"),
        (["nowhere.toml", "nowhere_else"], "no such job file"),
    ],
)
def test_bad_arguments_take_one_line(arguments, said, tmp_path, capsys):
    assert cli.main(["compare", *arguments, "-o", str(tmp_path / "out")]) == 2
    err = capsys.readouterr().err
    assert said in err
    assert err.count("\n") == 1
    assert not (tmp_path / "out").exists()


def test_labels_must_match_the_jobs(two, tmp_path, capsys):
    assert run(two, tmp_path / "out", "--label", "one") == 2
    assert "1 labels stand beside 2 jobs" in capsys.readouterr().err


@pytest.mark.parametrize("damage", ["{", "[]", '{"schema": "other"}'])
def test_a_damaged_result_is_refused(two, tmp_path, capsys, damage):
    (two[1] / "summary.json").write_text(damage)
    assert run(two, tmp_path / "out") == 2
    assert capsys.readouterr().err.count("\n") == 1


# --- more than two jobs, and a log of two fields ----------------------------------------------------------


@pytest.fixture
def three(pair):
    """Three jobs of one invented meadow, the worst first; the second ran on 1 June 2026 at 05:30 in Boise."""
    hand, guided = pair
    summary = {**guided.summary, "job": {**guided.summary["job"], "start": "2026-06-01T11:30:00Z"}}
    summary["job"]["timezone"] = "America/Boise"
    worse = {**hand.summary, "area_m2": {**hand.summary["area_m2"], "missed": 0.2 * hand.summary["area_m2"]["target"]}}
    return (
        dataclasses.replace(hand, label="worst", summary=worse),
        dataclasses.replace(guided, label="guided <i>", summary=summary),
        hand,
    )


def test_more_than_two_jobs_have_a_row_each_the_least_missed_first(three):
    papers = whole.comparison_papers(whole.compared(three))
    page = papers["compare.html"]
    rows = re.findall(r'<tr><th scope="row">([^<]+)<span class="fine">([^<]+)', page)
    shares = {one["label"]: one["measures"]["missed_share"] for one in json.loads(papers["compare.json"])["jobs"]}
    assert [name.replace("&lt;", "<").replace("&gt;", ">") for name, _ in rows] == sorted(shares, key=shares.get)
    assert dict(rows)["guided &lt;i&gt;"] == "1 Jun 2026, 05:30 MDT"  # daylight time: 6 hours behind UTC (tz database)
    assert page.count('<svg class="pair"') == 3
    assert "UTC" not in dict(rows)["guided &lt;i&gt;"]


def test_ways_driven_with_the_boom_off_are_no_passes(pair):
    hand = pair[0]
    rows = [dict(one) for one in hand.summary["passes"]]
    straight = next(one for one in rows if one["kind"] == "straight")
    straight["on_m"] = 0.0
    moved = dataclasses.replace(hand, summary={**hand.summary, "passes": rows})
    assert len(moved.straight) == len(hand.straight) - 1
    assert straight["n"] not in {one["n"] for one in moved.passes}


def test_a_log_of_two_fields_is_refused_with_what_to_do(pair):
    areas = {**pair[1].summary["area_m2"], "outside": 0.9 * pair[1].summary["area_m2"]["target"]}
    two_fields = dataclasses.replace(pair[1], summary={**pair[1].summary, "area_m2": areas})
    with pytest.raises(InputError, match=r"outside this field: does the log hold another field.*coverage-audit day"):
        whole.compared((pair[0], two_fields))
