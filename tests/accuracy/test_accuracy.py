"""How sure the figures are: zero and very large error, regimes, gaps, probabilities, words."""

import dataclasses
import json
import math
import statistics

import calibrate_accuracy
import numpy as np
import pytest
import shapely
from jobs import job, log, parallel_passes, straight_lines, worked_job

from coverage_audit.accuracy import counting, draws, error
from coverage_audit.accuracy.counting import with_knots
from coverage_audit.accuracy.draws import narrow_enough, range_of
from coverage_audit.accuracy.jumps import Jumps
from coverage_audit.accuracy.model import WRONG_FIX, Learnt
from coverage_audit.accuracy.standing import Spread
from coverage_audit.accuracy.strips import cross_cuts
from coverage_audit.jobs.accuracy import with_replicates
from coverage_audit.jobs.settings import AccuracySettings
from coverage_audit.papers.page import report_html
from coverage_audit.papers.summary import summary_dict
from coverage_audit.papers.words import accuracy as accuracy_words
from coverage_audit.papers.words.accuracy import chance_class, chance_words
from coverage_audit.papers.words.passes import verdict_of
from coverage_audit.recipe import accuracy as recipe
from coverage_audit.recipe import answer
from coverage_audit.recipe.audit import audit_job
from coverage_audit.recipe.decision import facts_of


def settings(steering="hand", sigma_m=0.2, replicates=20, **more):
    return AccuracySettings(sigma_m, 600.0, more.pop("noise_m", 0.0), steering=steering, replicates=replicates, **more)


def audited(steering="hand", hz=1.0, **more):
    return audit_job(worked_job(hz=hz, accuracy=settings(steering, **more)))


@pytest.fixture(scope="module")
def by_hand():
    return audited()


# --- limits -------------------------------------------------------------------------------------


@pytest.mark.parametrize("steering", ["hand", "guided", "guided-other", "unknown"])
def test_without_error_every_figure_is_the_plain_audit_s(steering):
    plain, found = audit_job(worked_job()), audited(steering, hz=10.0, sigma_m=0.0)
    assert dataclasses.replace(found.area_m2) == plain.area_m2
    for name in ("missed", "double", "covered"):
        figure = getattr(found.accuracy, f"{name}_m2")
        value = getattr(plain.area_m2, name)
        assert (figure.observed, figure.estimate or value, figure.low90, figure.high90) == (value,) * 4
    assert [strip.probability for strip in found.missed_strips] == [1.0] * len(plain.missed_strips)


@pytest.mark.parametrize("steering", ["hand", "guided", "unknown"])
def test_with_very_large_error_nothing_can_be_told(steering):
    found = audited(steering, sigma_m=50.0)
    assert found.accuracy.smallest_detectable_skip_m is None
    assert not found.accuracy.missed_m2.told
    told = verdict_of(found)
    assert told.headline.startswith("How much was missed cannot be told")
    assert "No skip narrower than the boom" in " ".join(told.sentences)


def test_without_the_table_both_ways_of_steering_are_tried_unasked():
    found = audit_job(worked_job(hz=1.0, accuracy=None)).accuracy
    assert (found.asked, found.replicates, found.regime) == (False, 100, "unknown")


def test_no_replicates_turn_it_off():
    found = audited(replicates=0)
    assert found.accuracy is None
    assert {strip.probability for strip in found.missed_strips} == {None}


@pytest.mark.parametrize("steering", ["hand", "unknown"])
def test_a_single_draw_is_no_trouble(steering):
    found = audited(steering, replicates=1).accuracy
    assert found.missed_m2.low90 <= found.missed_m2.high90


def test_two_draws_say_nothing_of_nine_chances_in_ten():
    found = audited("unknown", replicates=3).accuracy
    assert found.replicates == 4  # two for each way of steering
    assert not found.missed_m2.told
    assert audited("hand", replicates=20).accuracy.missed_m2.told


def test_a_log_shorter_than_the_smoothing_is_no_trouble():
    """Six fixes a second apart; straights are smoothed over seven."""
    y = 2.5 * np.arange(6.0)
    short = job(log(np.arange(6.0), np.column_stack([0 * y + 5, y])), [(0.0, 5.0)], shapely.box(0, 0, 10, 20))
    found = audit_job(with_replicates(short, 4))
    assert found.accuracy.missed_m2.low90 <= found.accuracy.missed_m2.high90


@pytest.mark.parametrize("boundary_m", [0.3, 300.0])
def test_boundary_that_alone_errs_is_no_trouble_by_hand(boundary_m):
    found = audited("hand", sigma_m=0.0, boundary_m=boundary_m).accuracy
    assert 0 <= found.missed_m2.low90 <= found.missed_m2.high90


def test_error_of_a_kilometre_counts_as_a_hundred_metres():
    found = audited("guided", sigma_m=1000.0).accuracy
    assert found.error.sigma_m.max() == 100.0
    assert not found.missed_m2.told


def test_assumed_boom_state_and_receiver_are_one_range():
    """A second range on top would say the same doubt twice, and differently."""
    whole = worked_job(accuracy=settings())
    boom = dataclasses.replace(whole.settings.boom, intervals="assume")
    found = audit_job(
        dataclasses.replace(whole, settings=dataclasses.replace(whole.settings, boom=boom), intervals=None)
    )
    assert found.assumed is not None
    told = found.assumed.ranges["missed"]
    assert (told.low, told.high) == (found.accuracy.missed_m2.low90, found.accuracy.missed_m2.high90)


def test_many_draws_are_worked_off_in_parts(monkeypatch):
    """Memory stays bounded; every part counts."""
    told = []
    monkeypatch.setattr(counting, "MOST_AT_ONCE", 5)
    whole = worked_job(hz=1.0, accuracy=settings(replicates=12))
    found = audit_job(whole, lambda stage, share: told.append((stage, share)))
    assert [share for stage, share in told if stage == "how sure"] == pytest.approx(np.arange(1, 13) / 12)
    assert found.accuracy.missed_m2.low90 < found.accuracy.missed_m2.high90


def test_covered_is_what_is_not_missed(by_hand):
    found, target = by_hand.accuracy, by_hand.area_m2.target
    missed, covered = found.missed_m2, found.covered_m2
    assert (covered.low90, covered.high90) == pytest.approx((target - missed.high90, target - missed.low90))
    assert covered.estimate + missed.estimate == pytest.approx(target)
    assert covered.observed + missed.observed == pytest.approx(target)


def test_same_job_gives_the_same_figures(by_hand):
    again = audited().accuracy
    assert (again.missed_m2, again.probability) == (by_hand.accuracy.missed_m2, by_hand.accuracy.probability)


# --- regimes --------------------------------------------------------------------------------------


def test_guided_passes_were_less_even_than_they_look(monkeypatch):
    """Ten meeting passes show nothing missed; with 0.2 m of error in the steering ground was.

    In closed form for an error of known size, drawn as it comes: what is unknown of it, and the factors that were found
    on simulated jobs, would move and spread the draws.
    """
    plain = {"GUIDED_SHIFT": (0.0, 0.0), "GUIDED_BELOW": ((1.0,) * 3,) * 2, "GUIDED_ABOVE": ((1.0,) * 3,) * 2}
    plain |= {"GUIDED_DOUBT": 0.0, "HAND_SHIFT": (0.0,) * 3}
    for name, value in plain.items():
        monkeypatch.setattr(draws, name, value)
    monkeypatch.setitem(error.SCALE_LOG_SD, error.BY_FILE, 0.0)
    times, points, spans = parallel_passes(np.arange(5.0, 100.0, 10.0), 0.0, 100.0, hz=1.0)
    field = shapely.box(0, 0, 100, 100)
    found = audit_job(job(log(times, points), spans, field, accuracy=settings("guided", replicates=40))).accuracy
    # nine edges 100 m long between passes about 60 s apart: sd 0.2 sqrt(2 (1 - exp(-0.1))) = 0.087 m, and half
    # of the mean of |normal| = 0.4 sd; the two sides with 0.4 * 0.2 m, and the ends inside as much
    between, edges = 9 * 100 * 0.4 * 0.087, 2 * 100 * 0.4 * 0.2
    ends = 2 * 100 * 0.4 * 0.2
    # the mean of 40 draws, of which the edges alone vary by about half: 10 % standard error; three of these
    assert found.missed_m2.estimate == pytest.approx(between + edges + ends, rel=0.3)
    assert found.missed_m2.observed < 1.0


@pytest.mark.parametrize(
    ("by_eye", "logged_m2", "sigma_m", "middle_m2"),
    [
        (1.0, 100.0, 0.7, 150.0),  # draws show 200: halfway back to the log
        (0.4, 100.0, 0.7, 180.0),  # as far as by eye
        (1.0, 300.0, 0.7, 185.0),  # they take ground away: on by 0.15 of the way, as by hand
        (None, 100.0, 0.7, 215.0),
        (None, 300.0, 0.7, 185.0),
        (None, 300.0, 0.2, 200.0),
        (None, 300.0, 0.01, 230.0),  # a small error: swings of the steering were taken for it
        (1.0, 300.0, 0.01, 230.0),
    ],
)
def test_draws_are_moved_to_the_log_where_they_add_to_it_and_on_where_they_take_away(
    monkeypatch, by_eye, logged_m2, sigma_m, middle_m2
):
    """By hand on in either case beside a great error: gaps take off too little of it."""
    monkeypatch.setattr(draws, "HAND_SHIFT", (0.3, 0.0, -0.15))
    monkeypatch.setattr(draws, "GUIDED_SHIFT", (0.5, 0.5))
    for factors in ("HAND_BELOW", "HAND_ABOVE", "GUIDED_BELOW", "GUIDED_ABOVE"):
        monkeypatch.setattr(draws, factors, ((1.0, 1.0, 1.0),) * 2)
    areas = np.array([[190.0, 190.0], [210.0, 210.0]])
    found = draws.about_the_log(areas, np.full(2, logged_m2), by_eye, sigma_m)
    assert found.mean(axis=0) == pytest.approx([middle_m2] * 2)


@pytest.mark.parametrize("by_eye", [None, 0.5])
def test_where_the_antennas_place_was_drawn_no_factor_draws_areas_together(monkeypatch, by_eye):
    for name, factor in (("BELOW", 1.2), ("ABOVE", 0.5)):
        for steered in ("HAND", "GUIDED"):
            monkeypatch.setattr(draws, f"{steered}_{name}", ((factor,) * 3,) * 2)
    areas, logged = np.array([[190.0, 190.0], [210.0, 210.0]]), np.full(2, 200.0)
    drawn_in = draws.about_the_log(areas, logged, by_eye, 0.2)
    found = draws.about_the_log(areas, logged, by_eye, 0.2, placed=True)
    assert drawn_in == pytest.approx(np.array([[188.0] * 2, [205.0] * 2]))
    assert found == pytest.approx(np.array([[188.0] * 2, [210.0] * 2]))


def test_unknown_steering_gives_no_estimate_and_the_widest_range():
    found = audited("unknown", replicates=24).accuracy
    ranges = [(one.missed_m2.low90, one.missed_m2.high90) for one in found.by_regime.values()]
    assert found.missed_m2.estimate is None
    assert (found.missed_m2.low90, found.missed_m2.high90) == (min(ranges)[0], max(high for _, high in ranges))
    assert set(found.by_regime) == {"classical", "berkson"}


def test_boundary_error_alone_widens_the_range():
    sharp = audited("guided", sigma_m=0.001, replicates=24).accuracy
    vague = audited("guided", sigma_m=0.001, replicates=24, boundary_m=0.5).accuracy
    assert vague.missed_m2.high90 - vague.missed_m2.low90 > 5 * (sharp.missed_m2.high90 - sharp.missed_m2.low90)


def test_no_bias_is_taken_off():
    """Without any error to speak of, the range lies about what was seen."""
    figure = audited("guided", sigma_m=1e-5, replicates=200).accuracy.missed_m2
    # the audit's own scatter is 1.2e-4 of 6000 m2 and seldom more: medians of 200 draws vary by 0.1 m2; three of these
    assert figure.estimate == pytest.approx(figure.observed, abs=0.3)
    assert figure.low90 < figure.observed < figure.high90


def test_metre_wide_strip_is_real_and_its_chance_is_told(by_hand):
    # 1 m wide, error between passes 0.09 m; twenty draws leave room for half a one in 21
    assert by_hand.missed_strips[0].probability == pytest.approx(20.5 / 21)
    assert 0.3 <= by_hand.accuracy.smallest_detectable_skip_m < 1.0


def with_skip(width_m):
    """Five even passes of 100 m and the third *width_m* aside for 30 m, eased over 5 m; steered by the receiver."""
    times, points, intervals = parallel_passes([5, 15, 25, 35, 45], 0.0, 100.0, hz=1.0)
    x, y = np.array(points).T
    eased = np.interp(y, [30, 35, 65, 70], [0, 1, 1, 0])
    third = (times >= intervals[2][0]) & (times <= intervals[2][1])
    points = np.column_stack([x + np.where(third, width_m * eased, 0.0), y])
    told = settings("guided", sigma_m=0.6, replicates=300)
    return audit_job(job(log(times, points), intervals, shapely.box(0, 0, 50, 100), accuracy=told))


@pytest.mark.parametrize("share", [0.6, 0.8, 1.0, 1.5])
def test_skip_of_the_width_that_can_be_told_is_real_with_nine_chances_in_ten(share):
    """The figure comes from the linear model of the gaps; here the skip is driven and its chance counted in draws.

    Half of a skip so wide is as many standard deviations of the middle error as leave 0.9 ** (1 / power) of draws real;
    of one *share* as wide it is so much less or more. Of a stated error each draw has another size: e^0.8 either way.
    """
    width = with_skip(1.0).accuracy.smallest_detectable_skip_m
    found = with_skip(share * width)
    skip = max(found.missed_strips, key=lambda strip: strip.area_m2)
    assert 28 < skip.length_m < 45  # with what the easing leaves at both ends, less than a sixth of which counts
    (regime,) = found.accuracy.by_regime.values()
    power = 1.0 + 0.6 * math.log(regime.learnt.sigma_m.best / 0.15) / math.log(0.7 / 0.15)
    normal = statistics.NormalDist()
    sizes = [math.exp(0.8 * normal.inv_cdf((k + 0.5) / 200)) for k in range(200)]
    sure = normal.inv_cdf(0.9 ** (1 / power))
    expected = statistics.fmean(normal.cdf(sure * share / size) for size in sizes)
    # three standard errors of 300 draws (0.02 to 0.07), the easing's narrower ends and what the fence tells: 0.03
    allowed = 3 * math.sqrt(expected * (1 - expected) / 300) + 0.03
    assert skip.probability ** (1 / power) == pytest.approx(expected, abs=allowed)


# --- small parts -----------------------------------------------------------------------------------


def test_knots_change_no_line():
    dense = with_knots(straight_lines(5.0, 0, 0).take(np.arange(101) % 50 == 0), 8.0)
    assert np.diff(dense.travel_m).max() <= 8.0
    assert (dense.y_m[0], dense.y_m[-1], len(dense.y_m)) == (0.0, 100.0, 15)
    assert dense.x_m == pytest.approx(5.0)


def test_gap_of_the_log_stays_one_step():
    lines = straight_lines(5.0, 0, 0)
    cut = np.arange(101) == 50
    sparse = dataclasses.replace(lines, gap_after=cut).take(np.arange(101) % 25 == 0)
    dense = with_knots(sparse, 8.0)
    assert dense.y_m[np.flatnonzero(dense.gap_after)[0] :][:2] == pytest.approx([50.0, 75.0])
    assert dense.gap_after.sum() == 1


def test_moving_shifts_every_line():
    lines = [straight_lines(5.0, 0, 0), straight_lines(15.0, 1, 1)]
    shifted = calibrate_accuracy.moved(lines, np.tile([1.0, -2.0], (202, 1)))
    assert shifted[1].x_m == pytest.approx(16.0)
    assert shifted[0].y_m == pytest.approx(lines[0].y_m - 2.0)


def test_cuts_lie_square_across_a_strip(by_hand):
    strip = by_hand.missed_strips[0]
    cuts = cross_cuts([strip], 1.0)
    assert shapely.length(cuts) == pytest.approx(strip.max_width_m + 2.0)
    assert shapely.intersects(cuts, strip.line).all()


@pytest.mark.parametrize("count", [19, 39])
def test_range_of_few_draws_holds_one_more_in_nine_of_ten(count):
    """Order statistics: of n + 1 alike, the last is as likely at any rank; (n + 1) / 20 lie out on each side."""
    drawn = np.random.default_rng(1012).standard_normal((4000, count + 1))
    low, high = np.array([range_of(one[1:]) for one in drawn]).T
    held = np.mean((drawn[:, 0] > low) & (drawn[:, 0] < high))
    assert held == pytest.approx(0.9, abs=0.0142)  # three standard errors of 4000


def test_range_is_too_wide_by_either_rule():
    assert narrow_enough(10.0, 30.0, 20.0, 100.0)
    assert not narrow_enough(0.0, 60.0, 40.0, 100.0)  # over half the target
    assert not narrow_enough(0.0, 21.0, 10.0, 1000.0)  # over twice the estimate


# --- papers ------------------------------------------------------------------------------------------


def test_summary_has_every_key(by_hand):
    found = json.loads(json.dumps(summary_dict(by_hand)))
    assert {"regime", "missed_m2", "double_m2", "covered_m2", "by_regime", "smallest_detectable_skip_m"} <= set(
        found["accuracy"]
    )
    assert {"observed", "estimate", "low90", "high90"} <= set(found["accuracy"]["missed_m2"])
    assert 0.9 < found["missed_strips"][0]["probability"] < 1.0
    assert summary_dict(audit_job(worked_job(hz=1.0)))["accuracy"] is None


def test_verdict_gives_the_range_and_counts_likely_strips(by_hand):
    told = verdict_of(by_hand)
    assert told.headline.startswith("Between ")
    assert "likely real" in told.headline
    assert any("9 chances in 10" in sentence for sentence in told.sentences)
    assert any(sentence.startswith("Missed as logged: 1") for sentence in told.sentences)


def test_range_narrower_than_its_digits_is_one_figure(by_hand):
    near = dataclasses.replace(by_hand.accuracy.double_m2, low90=2_201.0, high90=2_204.0, estimate=2_202.0, told=True)
    accuracy = dataclasses.replace(by_hand.accuracy, double_m2=near, missed_m2=near)
    told = verdict_of(dataclasses.replace(by_hand, accuracy=accuracy))
    assert told.headline.startswith("About 0.22\u00a0ha missed; ")
    assert "Truly sprayed twice or more, 9 chances in 10: about 0.22\u00a0ha, to the digits shown." in told.sentences


@pytest.mark.parametrize(("jumped_m", "doubts"), [(0.05, ()), (0.5, (WRONG_FIX,))])
def test_jump_between_fixed_positions_is_named_as_a_wrong_fix(monkeypatch, jumped_m, doubts):
    found = Jumps(np.array([100]), np.array([jumped_m]), jumped_m)
    monkeypatch.setattr(recipe, "jumps_of", lambda _track: found)
    audit = audited(sigma_m=0.01)
    assert audit.accuracy.doubts == doubts
    assert ("as a wrong fix does" in " ".join(verdict_of(audit).sentences)) == bool(doubts)


@pytest.mark.parametrize(
    ("narrowest_m", "learnt_m", "off_m"), [(0.6, 9.0, 0.1968), (0.3, 0.01, 0.0141), (None, 0.2, 0.05)]
)
def test_width_of_a_sure_strip_is_as_sure_as_the_smallest_skip_tells(by_hand, narrowest_m, learnt_m, off_m):
    """Half of the skip is 1.5243 standard deviations where the error is large; two errors differ by sqrt(2) of one."""
    spread = Spread(learnt_m, learnt_m, learnt_m)
    (name, one), *_ = by_hand.accuracy.by_regime.items()
    learnt = dataclasses.replace(one, learnt=Learnt(spread, spread))
    audit = dataclasses.replace(by_hand, accuracy=dataclasses.replace(by_hand.accuracy, by_regime={name: learnt}))
    facts = dataclasses.replace(facts_of(audit), narrowest_m=narrowest_m, wander_m=0.05)
    assert answer.strip_off_m(facts, audit) == pytest.approx(off_m, rel=0.01)


def test_what_was_not_shown_on_simulated_jobs_is_said(by_hand):
    model = dataclasses.replace(by_hand.accuracy.error, fix_class="RTK float")
    unshown = dataclasses.replace(by_hand, accuracy=dataclasses.replace(by_hand.accuracy, error=model))
    told = [" ".join(verdict_of(audit).sentences) for audit in (by_hand, unshown)]
    assert by_hand.accuracy.error.fix_class == "RTK fixed"
    assert ["has not been shown" in words for words in told] == [False, True]


@pytest.mark.parametrize(
    ("judged", "told", "proof"),
    [
        ((12, 11, 10), "missed 11 of 12, sprayed twice 10 of 12", "too few to prove 9 in 10"),
        ((200, 180, 181), "missed 180 of 200, sprayed twice 181 of 200", None),
        (None, "not judged", "too few to prove 9 in 10"),
    ],
)
def test_report_says_how_many_jobs_of_its_kind_were_judged(monkeypatch, by_hand, judged, told, proof):
    monkeypatch.setattr(accuracy_words, "JUDGED", {} if judged is None else {("RTK fixed", "classical"): judged})
    (row,) = [row for row in accuracy_words.certainty_facts(by_hand) if row[0] == "Ranges held on simulated jobs"]
    assert row[1] == told
    assert "steered by hand" in row[3]
    assert row[3].endswith("looked at before" if proof is None else proof)


@pytest.mark.parametrize(
    ("chance", "words"),
    [(None, ""), (0.004, "; most likely only error"), (0.62, "; 62 chances in 100"), (0.996, "; almost surely missed")],
)
def test_chances_are_told_in_words(by_hand, chance, words):
    strip = dataclasses.replace(by_hand.missed_strips[0], probability=chance)
    assert chance_words(strip, by_hand).startswith(words)
    assert chance_words(strip, dataclasses.replace(by_hand, accuracy=None)) == ""


def test_report_shades_by_probability_and_names_the_assumptions(by_hand):
    unsure = dataclasses.replace(by_hand.missed_strips[0], probability=0.5)
    assert chance_class(unsure, by_hand) == " map-chance-2"
    page = report_html(dataclasses.replace(by_hand, missed_strips=(unsure,)))
    assert "map-find-missed map-chance-2" in page
    assert "steered by hand" in page
    assert "taken as exact unless" in page


def test_job_file_and_option(check, small_job):
    small_job.change("sigma", '"0.3 m"', "accuracy")
    small_job.change("steering", '"guided"', "accuracy")
    small_job.change("replicates", "8", "accuracy")
    code, error, out = check()
    assert (code, error) == (0, "")
    found = json.loads((out / "summary.json").read_text(encoding="utf-8"))["accuracy"]
    assert (found["regime"], found["replicates"], found["error"]["sigma_m"]) == ("berkson", 8, pytest.approx(0.3))


def test_without_a_word_the_ranges_stand_beside_what_the_log_shows(check, small_job):
    """Both ways of steering are tried, and the chance of each strip is the lower one."""
    fixes, _ = small_job.drive()
    aside = [(t, x + 1.0 if abs(x - 35.0) < 0.01 else x, y) for t, x, y in fixes]
    small_job.write("track.gpx", small_job.gpx_of(aside))
    code, error, out = check()
    assert (code, error) == (0, "")
    summary = json.loads((out / "summary.json").read_text(encoding="utf-8"))
    found = summary["accuracy"]
    assert (found["regime"], found["replicates"], found["missed_m2"]["estimate"]) == ("unknown", 100, None)
    assert 0 <= found["missed_m2"]["low90"] < found["missed_m2"]["high90"]
    assert summary["missed_strips"]
    assert all(0 <= strip["probability"] <= 1 for strip in summary["missed_strips"])
    page = (out / "report.html").read_text(encoding="utf-8")
    assert "may truly be missed" in page
    assert ". Write [accuracy]" in page
    assert "likely real" not in page


def test_no_replicates_leave_everything_as_logged(check):
    code, error, out = check("--replicates", "0")
    assert (code, error) == (0, "")
    summary = json.loads((out / "summary.json").read_text(encoding="utf-8"))
    assert summary["accuracy"] is None
    assert all(strip["probability"] is None for strip in summary["missed_strips"])


def test_what_the_job_file_says_of_the_positions_is_not_asked_for_again(check, small_job):
    assert "does not say how good its positions are" in (check()[2] / "report.html").read_text(encoding="utf-8")
    small_job.change("sigma", '"0.3 m"', "accuracy")
    assert "how good its positions are" not in (check()[2] / "report.html").read_text(encoding="utf-8")


@pytest.mark.parametrize(("key", "value", "told"), [("steering", '"cruise"', "guided-other"), ("sigma", '"-1 m"', "")])
def test_bad_settings_are_told(check, small_job, key, value, told):
    small_job.change(key, value, "accuracy")
    code, error, _ = check()
    assert code == 2
    assert f"accuracy.{key}" in error
    assert told in error


@pytest.mark.slow
@pytest.mark.parametrize(("name", "steering"), calibrate_accuracy.CELLS)
def test_calibration_holds_on_unseen_jobs(name, steering):
    """Few jobs, so only gross failure shows; the script makes the whole table."""
    rows = [calibrate_accuracy.run(seed, name, steering, 1.0, 40) for seed in range(2000, 2006)]
    held = [row[what][3] <= row[what][0] <= row[what][4] for row in rows for what in ("missed", "double")]
    assert sum(held) >= 6  # of 12; with the promised 90 % fewer happen once in a thousand times
