"""What a dishonest seller could turn: each stops the proof with its reason, or stands on the front in words."""

import io
import re
import shutil
from dataclasses import fields, replace

import numpy as np
import pypdf
import pytest
import shapely
from jobs import FIELD_100_X_60, boom, job, log, parallel_passes, worked_job
from proof_kit import FIXTURE, TIME

from coverage_audit.cli import command as cli
from coverage_audit.drive.plane import Plane
from coverage_audit.errors import InputError
from coverage_audit.jobs.settings import (
    AccuracySettings,
    FieldSettings,
    ProductSettings,
    ProofSettings,
    RateSettings,
    TrackSettings,
)
from coverage_audit.papers.proof import contradictions as proof_contradictions
from coverage_audit.papers.proof import picture as proof_picture
from coverage_audit.papers.proof.form import form_faults
from coverage_audit.papers.proof.page import page_of, rests_rows, rows_of, sentence_of
from coverage_audit.papers.proof.pdf import pdf_of
from coverage_audit.papers.proof.record import buyer_record, grower_record, refuse
from coverage_audit.papers.proof.rests import RESTS
from coverage_audit.papers.proof.verify import told as verify_told
from coverage_audit.read.records import NamedArea
from coverage_audit.recipe.audit import accuracy_unasked, audit_job

MADE = "2026-06-30T12:00:00Z"
MISSED = shapely.box(20, 0, 21, 100)
"""Ground that the worked job misses, by its geometry: its passes end at x = 20 and begin at x = 21."""


def stopped(audit):
    """Why no proof is made of *audit*; "" when one is."""
    try:
        refuse([audit], ProofSettings(), MADE)
    except InputError as error:
        return error.what
    return ""


def told(audit):
    """Lines of the buyer's copy by name, and its PDF's whole text."""
    full = grower_record([audit], MADE)
    record = buyer_record(full, audit, "blurred", "00" * 32)
    assert form_faults(record) == []
    paper = pypdf.PdfReader(io.BytesIO(pdf_of(record)))
    text = " ".join(" ".join(page.extract_text() for page in paper.pages).replace("\xa0", " ").split())
    lines = {name: value.replace("\xa0", " ") for name, value, _ in rests_rows(record)}
    for value in lines.values():
        assert value in text
    return lines, text, record


def share(record):
    return float(record["figures"]["proven_share"]["value"])


@pytest.fixture(scope="module")
def honest():
    return audit_job(worked_job(10.0, accuracy=None))


# --- what stops -----------------------------------------------------------------------------------


def test_an_honest_job_is_not_stopped(honest):
    assert stopped(honest) == ""


def test_a_no_spray_area_over_the_missed_strip_stops():
    audit = audit_job(replace(worked_job(10.0), exclude=worked_with([MISSED.buffer(0.05)]).exclude))
    assert "strip between passes that is narrower than the boom" in stopped(audit)


def test_a_missed_strip_cut_into_many_no_spray_areas_stops():
    parts = [shapely.box(20, y, 21, y + 2.4) for y in range(0, 100, 4)]
    audit = audit_job(replace(worked_job(10.0), exclude=worked_with(parts).exclude))
    assert "strip between passes" in stopped(audit)


def worked_with(exclude):
    return job(worked_job(10.0).logs, [], FIELD_100_X_60, exclude=exclude)


def test_a_jagged_pond_under_a_wide_boom_is_never_moved_as_one_curve(honest, monkeypatch):
    """A pond of 20 000 corners joined within a quarter of a boom of 100 m took more than 6 GB."""
    angle = np.linspace(0, 2 * np.pi, 3000, endpoint=False)
    reach = 4 + 2 * np.random.default_rng(3).random(3000)
    pond = shapely.Polygon(np.column_stack([50 + reach * np.cos(angle), 150 + reach * np.sin(angle)]))
    place = Plane(honest.origin)
    areas = [place.geometry_to_degrees(one) for one in (shapely.box(0, 0, 100, 200), pond)]
    field, kept = (NamedArea("ground", one) for one in areas)
    audit = audit_job(replace(honest.job, boundary=(field,), exclude=(kept,)))
    moved, sizes = shapely.buffer, []

    def seen(shapes, *given, **style):
        sizes.extend(np.atleast_1d(shapely.get_num_coordinates(shapes)).tolist())
        return moved(shapes, *given, **style)

    monkeypatch.setattr(shapely, "buffer", seen)
    wide = replace(audit.job.settings, boom=boom(100.0))
    list(proof_contradictions._excluded_strips(replace(audit, job=replace(audit.job, settings=wide))))  # noqa: SLF001
    assert sizes
    assert max(sizes) < 1000


def test_an_island_is_not_stopped_and_its_ground_is_told(honest):
    """A pond of 12 m across over passes: sprayed across on the log, so the front says that it was."""
    pond = shapely.Point(45, 50).buffer(6)
    audit = audit_job(replace(honest.job, exclude=worked_with([pond]).exclude))
    assert stopped(audit) == ""
    lines, _, _ = told(audit)
    assert lines["No-spray areas"].startswith("Areas: 1. Together less than 0.1 ha; sprayed there: less than 0.1 ha")
    assert "(1.9 %)" in lines["Whole field, and ground left out"]  # 113 of 6 000 m2


def test_a_hole_in_the_outline_over_the_missed_strip_stops(honest):
    holed = shapely.difference(FIELD_100_X_60, shapely.box(20, 2, 21, 98))
    audit = audit_job(replace(honest.job, boundary=job(honest.job.logs, [], holed).boundary))
    assert "strip between passes" in stopped(audit)


def test_a_boundary_that_cuts_the_bad_edge_off_stops(honest):
    """Two passes of the job lie outside: the middle of the nearer one half a boom and more."""
    cut = shapely.box(0, 0, 39, 100)
    audit = audit_job(replace(honest.job, boundary=job(honest.job.logs, [], cut).boundary))
    assert "more than a boom's width beyond it" in stopped(audit)


def test_an_outline_a_metre_inside_the_driven_edge_is_not_stopped(honest):
    cut = shapely.box(1, 1, 59, 99)
    assert stopped(audit_job(replace(honest.job, boundary=job(honest.job.logs, [], cut).boundary))) == ""


def passes_apart(spacing_m, width_m):
    times, points, on = parallel_passes((spacing_m * np.arange(10)).tolist(), 0.0, 150.0)
    field = shapely.box(-spacing_m / 2, 0, 9.5 * spacing_m, 150)
    return audit_job(job(log(times, points), [(a + 0.3, b - 0.4) for a, b in on], field, boom=boom(width_m)))


def test_a_boom_typed_34_ft_for_30_stops_and_an_overlap_does_not():
    foot = 0.3048
    assert "passes lie 9.1\xa0m apart" in stopped(passes_apart(30 * foot, 34 * foot))
    assert stopped(passes_apart(30 * foot, 31.5 * foot)) == ""  # 5 % overlap, common practice, no source


def test_the_programs_own_guess_handed_in_as_logged_stops(tmp_path, capsys):
    """propose, then the column "assumed" deleted."""
    inputs = shutil.copytree(FIXTURE, tmp_path / "inputs")
    guess = tmp_path / "guess.csv"
    assert cli.main(["propose", str(inputs / "job.toml"), "-o", str(guess), "--quiet"]) == 0
    rows = [line.rpartition(",")[0] for line in guess.read_text().splitlines()]
    assert rows[0] == "on,off"
    (inputs / "boom.csv").write_text("\n".join(rows) + "\n")
    assert cli.main(["proof", str(inputs / "job.toml"), "-o", str(tmp_path / "out"), "--time", TIME, "--quiet"]) == 2
    assert "nobody logged them" in capsys.readouterr().err
    assert not (tmp_path / "out").exists()


def test_a_clock_offset_of_more_than_a_day_stops(honest):
    def moved(offset_s):
        return replace(
            honest, job=replace(honest.job, settings=replace(honest.job.settings, track=TrackSettings(offset_s)))
        )

    assert "365.0 days are added" in stopped(moved(365 * 86400.0))
    assert "2.0 days are added" in stopped(moved(-2 * 86400.0))
    assert "days are added" not in stopped(moved(3600.0))


def test_too_much_ground_on_gaps_of_the_log_is_told_and_not_proven():
    """Eight seconds of log are missing on a pass of 40 s: 20 m of 10 m, bridged, of 6 000 m2."""
    whole = worked_job(10.0, accuracy=None, proof=ProofSettings(max_bridged=0.05))
    fixes = whole.logs[0].fixes
    apart = fixes.time_s - fixes.time_s[0]
    kept = np.flatnonzero((apart < 16.0) | (apart > 24.0))
    thinned = replace(fixes, **{one.name: getattr(fixes, one.name)[kept] for one in fields(fixes)})
    log_ = replace(whole.logs[0], fixes=thinned, fixes_read=len(kept))
    audit = audit_job(replace(whole, logs=(log_,)))
    lines, _, record = told(audit)
    assert lines["Gaps in the log"].startswith("In 0 s of them nothing is counted; 3.4")  # 8.2 s at 2.5 m/s
    assert share(record) < 98.33 - 3.4
    assert "rests on bridging gaps" in stopped(audit)


def test_a_date_after_the_proof_is_made_stops(honest):
    with pytest.raises(InputError, match="after the proof is made"):
        refuse([honest], ProofSettings(), "2026-05-01T00:00:00Z")


def test_an_outline_made_of_the_drive_stops(honest):
    derived = replace(honest, job=replace(honest.job, derived_outline=True))
    assert "made from a drive over it" in stopped(derived)


def test_every_contradiction_is_looked_for(honest, monkeypatch):
    """A rule that yields stops the proof, whichever it is."""
    for rule in ("_offset", "_zone", "_width", "_cut_edge", "_excluded_strips", "_guessed_times"):
        with monkeypatch.context() as patch:
            patch.setattr(proof_contradictions, rule, lambda _audit, rule=rule: [(f"rule {rule}", "job")])
            assert f"rule {rule}" in stopped(honest)


# --- what stands on the front ---------------------------------------------------------------------


def test_the_front_says_every_lever_in_words(honest):
    lines, text, record = told(honest)
    assert {RESTS[key].name for key in RESTS} | {"When this was made"} == set(lines)
    assert lines["Whole field, and ground left out"] == "The outline encloses 0.6 ha; all of it was to be sprayed."
    assert lines["Boom width"] == "10.00 m; passes side by side lie 10.00 m apart in the middle of 5 spacings."
    assert "handed in by the seller" in lines["How it is known when the boom was on"]
    assert lines["Receiver"] == "Positions by carrier phase, fixed."
    assert lines["Gaps in the log"] == "There is none; the seller lets the log be silent for 5.0 s."
    assert lines["Switch read the other way round"] == "No."
    assert lines["Clock of the log"] == "As it is."
    assert lines["How the date is known"] == "From the log; the seller's days begin 0.00 h from UTC."
    assert sentence_of(record).replace("\xa0", " ") in text
    assert text.index("Of the ") < text.index("Field Larch" if "Field Larch" in text else "What was done")


def test_a_setback_is_told_with_what_was_missed_in_it(honest):
    """5 m of setback on 100 x 60 m: 6 000 - 90 x 50 = 1 500 m2, 25 %, most of it sprayed all the same."""
    settings = replace(honest.job.settings, field=FieldSettings(setback_m=5.0))
    lines, _, _ = told(audit_job(replace(honest.job, settings=settings)))
    assert "0.1 ha (25.0 %) of it are left out" in lines["Whole field, and ground left out"]
    assert lines["Strip left out along the edge"].startswith(
        "5.0 m wide; sprayed there: 0.1 ha, not sprayed: less than 0.1 ha"
    )


def test_typed_dates_offsets_and_cuts_are_told(honest):
    settings = replace(honest.job.settings, date_given=True, track=TrackSettings(-3600.0, max_gap_s=60.0, from_s=0.0))
    settings = replace(settings, boom=replace(settings.boom, invert_switch=True, on_delay_s=-2.0))
    lines, _, _ = told(replace(honest, job=replace(honest.job, settings=settings)))
    assert lines["How the date is known"] == "Typed by the seller, whose days begin 0.00 h from UTC."
    assert lines["Clock of the log"] == "-3600 s were added to its times by the seller."
    assert lines["Gaps in the log"] == "There is none; the seller lets the log be silent for 60.0 s."
    assert lines["Switch read the other way round"] == "Yes."
    assert lines["Delay of the switch"] == "On -2.0 s later, off 0.0 s later."
    assert lines["Part of the log"] == "Only a part of its time, chosen by the seller."


@pytest.mark.parametrize("claim", [{"sigma_m": 3.0}, {"sigma_m": 0.001, "noise_m": 0.0}, {"steering": "guided"}, {}])
def test_no_claim_about_the_receiver_moves_the_proven_share(honest, claim):
    """The trick: sigma 3 m raised "covered at least". Here a claim changes nothing but the line that names it."""
    _lines, _, record = told(honest)
    settings = replace(honest.job.settings, accuracy=AccuracySettings(**{"replicates": 40, **claim}))
    other, _, claimed = told(audit_job(replace(honest.job, settings=settings)))
    assert share(claimed) == share(record)
    assert other["What the seller says of receiver and steering"].startswith("Something")
    assert share(record) <= float(record["figures"]["logged_share"]["value"])


def test_how_sure_without_claims_is_that_of_an_audit_without_them(honest):
    """The second route: the whole audit again."""
    claimed = replace(honest.job.settings, accuracy=AccuracySettings(sigma_m=3.0, steering="hand", replicates=50))
    unclaimed = replace(honest.job.settings, accuracy=None)
    whole = audit_job(replace(honest.job, settings=unclaimed)).accuracy
    found = accuracy_unasked(audit_job(replace(honest.job, settings=claimed)))
    assert (found.missed_m2, found.covered_m2, found.replicates) == (
        whole.missed_m2,
        whole.covered_m2,
        whole.replicates,
    )
    assert not found.asked


def test_the_units_of_the_job_are_those_of_the_paper(honest):
    settings = replace(honest.job.settings, report=replace(honest.job.settings.report, units="us"))
    lines, text, record = told(replace(honest, job=replace(honest.job, settings=settings)))
    assert "Of the 1.5 acres of this field that were to be sprayed" in text  # 6 000 / 4046.856 = 1.48
    assert "passed over 1.5 acres (98 %)" in text  # 5 900 / 4046.856 = 1.46, 98.33 %
    assert lines["Boom width"].startswith("32.8 ft;")
    assert dict(row[:2] for row in rows_of(record))["Ground to be sprayed"] == "1.5 ac"
    sheet = pypdf.PdfReader(io.BytesIO(pdf_of(record))).pages[0].mediabox
    assert (round(float(sheet.width)), round(float(sheet.height))) == (612, 792)  # Letter, ANSI/ASME Y14.1: 8.5 x 11 in


def test_the_first_sentence_gives_the_ground_passed_over_and_both_shares_each_with_its_name(honest):
    """Worked job: 5 900 of 6 000 m2, 98.33 %. Less is sure, and no share is told as more than it is."""
    _, _, record = told(honest)
    at_least = int(share(record))
    assert 95 <= at_least <= 98
    assert sentence_of(record).replace("\xa0", " ") == (
        "Of the 0.6 hectares of this field that were to be sprayed the boom passed over 0.6 hectares (98 %), switched "
        f"on, on 28 May 2026, as logged; at least {at_least} % counting GPS error."
    )
    record["later"] = [{"date": day, "products": []} for day in ("2026-05-28", "2026-06-09")]
    record["figures"]["logged_share"]["value"], record["figures"]["proven_share"]["value"] = "99.97", "95.99"
    assert "(99 %), switched on, on 28 May 2026 and 9 June 2026, as" in sentence_of(record)
    assert "at least 95 %" in sentence_of(record)
    record["figures"]["logged_share"]["value"] = "95.95"
    assert "(96 %)" in sentence_of(record)
    record["says"]["is"] = "logged"
    assert sentence_of(record).endswith("How much of that GPS error may take away cannot be told.")


def test_a_record_without_a_proven_share_does_not_hold(honest):
    _, _, record = told(honest)
    for name in ("proven_share", "logged_share", "target_m2"):
        lacking = {**record, "figures": {**record["figures"], name: {**record["figures"][name], "value": None}}}
        assert form_faults(lacking), name


def test_one_sentence_and_one_picture_stand_first(honest):
    _, _, record = told(honest)
    page = page_of(record)
    assert page.index('class="sentence"') < page.index('svg class="share"') < page.index("<table>")
    names = [name for name, _, _ in rows_of(record)]
    assert names[-1] == "Not stated, or not known"
    assert not any(value == "not stated" for _, value, _ in rows_of(record))


# --- ten more tricks --------------------------------------------------------------------------------


def with_settings(audit, **changed):
    return replace(audit, job=replace(audit.job, settings=replace(audit.job.settings, **changed)))


def test_strips_that_a_report_does_not_list_stand_on_the_map(honest):
    """min_width 5 m empties the list of missed strips; the map of an exact copy still has the strip of 1 m."""
    report = replace(honest.job.settings.report, min_width_m=5.0)
    audit = audit_job(with_settings(honest, report=report).job)
    assert audit.missed_strips == ()
    record = buyer_record(grower_record([audit], MADE), audit, "exact", "00" * 32)
    drawn = shapely.union_all([shapely.Polygon(one) for one in record["map"]["missed"]])
    assert drawn.area == pytest.approx(10 * 1000, rel=0.02)  # 1 m of 60, in a box whose 1000 units are 100 m


def test_missed_ground_with_a_hole_is_drawn_as_it_is():
    """A ring 1 m wide along the edge of 100 x 100 m: 396 m2 black, and the field within it not."""
    ring = shapely.box(0, 0, 100, 100).difference(shapely.box(1, 1, 99, 99))
    parts = proof_picture.without_holes(ring)
    assert sum(one.area for one in parts) == pytest.approx(396)
    assert sum(shapely.Polygon(one.exterior).area for one in parts) == pytest.approx(396)


@pytest.mark.parametrize("zone", ["Pacific/Kiritimati", "Asia/Tokyo", "Europe/Berlin"])
def test_a_time_zone_that_moves_the_day_stops(honest, zone):
    """The field lies at 70.5 degrees west, where the sun is 4.7 h behind UTC."""
    moved = with_settings(honest, timezone=zone, timezone_given=True)
    assert "hours off the sun's time at the field" in stopped(moved)
    fitting = with_settings(honest, timezone="America/Argentina/Buenos_Aires", timezone_given=True)
    assert stopped(fitting) == ""
    assert told(fitting)[0]["How the date is known"] == "From the log; the seller's days begin -3.00 h from UTC."


def test_what_the_rate_rests_on_is_told(honest):
    """A flow typed too high makes the rate look right."""
    rate = RateSettings(target_l_ha=100.0, flow_l_min=15.0)
    lines, _, _ = told(audit_job(with_settings(honest, rate=rate).job))
    assert lines["What the rate rests on"] == "A flow typed by the seller."
    assert lines["Whether the tank ran dry"] == "Cannot be told: nothing is said of its loads."
    lines, _, _ = told(honest)
    assert lines["What the rate rests on"] == "No rate is told."


def test_a_lever_arm_that_moves_the_boom_is_told(honest):
    """An axle or a drawbar that is not there swings the boom in turns, into the corners that were missed."""
    boom = replace(honest.job.settings.boom, towed_m=4.0, towed_axle_m=3.0, axle_behind_antenna_m=1.2)
    lines, _, _ = told(with_settings(honest, boom=boom))
    assert lines["Boom drawn behind a hitch"] == "4.0 m behind it; its wheels 3.0 m behind it."
    assert lines["Axle behind the antenna"] == "1.2 m."


def test_a_field_name_that_says_a_figure_is_named_as_typed(honest):
    proof = ProofSettings(field_name="Proven covered, share: 100.00 % (measured)")
    _, text, record = told(with_settings(honest, proof=proof))
    assert ("Field", proof.field_name, "typed") in rows_of(record)
    assert f"Field {proof.field_name}" in text
    assert f'Field: "{proof.field_name}" (typed)' in verify_told(record)


def test_look_alike_letters_are_named(honest):
    """A Cyrillic es in the name of a product that has one."""
    proof = ProofSettings(crop_name="\u0441lean hay")
    _, _, record = told(with_settings(honest, proof=proof))
    assert ("Crop", "\u0441lean hay", "typed; with Cyrillic letters") in rows_of(record)


def test_the_interval_before_the_cut_is_said_to_be_typed(honest):
    products = (ProductSettings("Larkmoor 200 SL", phi_days=1.0),)
    _, _, record = told(audit_job(with_settings(honest, products=products).job))
    origins = {name: origin for name, _, origin in rows_of(record)}
    assert origins["Earliest cut by the interval given"] == "derived from a typed interval"


def test_ground_left_out_in_other_outlines_is_told(honest):
    """The bad half given as another outline, and left out of the job."""
    bad = job(honest.job.logs, [], shapely.box(200, 0, 300, 100)).boundary
    audit = audit_job(replace(honest.job, boundary=(*honest.job.boundary, *bad)))
    assert told(audit)[0]["Other outlines in the seller's file"] == "1, which this does not speak of."


def test_a_wide_strip_around_a_pond_is_told(honest):
    pond = shapely.Point(45, 50).buffer(6)
    settings = replace(honest.job.settings, field=FieldSettings(exclude_setback_m=15.0))
    audit = audit_job(replace(honest.job, settings=settings, exclude=worked_with([pond]).exclude))
    lines, _, _ = told(audit)
    assert lines["Strip left out around no-spray areas"] == "15.0 m wide, counted with them above."
    assert float(re.search(r"\(([\d.]+) %\)", lines["Whole field, and ground left out"])[1]) > 15


def test_the_same_drive_counted_again_makes_nothing_good(honest):
    """The log of the job, an hour later, as a touch-up: the strip that was missed is missed again."""
    settings = replace(honest.job.settings, track=TrackSettings(3600.0))
    rows = tuple(replace(one, on_s=one.on_s + 3600, off_s=one.off_s + 3600) for one in honest.job.intervals)
    again = audit_job(replace(honest.job, settings=settings, intervals=rows))
    one, two = (grower_record(audits, MADE)["figures"] for audits in ([honest], [honest, again]))
    assert two["missed_left_m2"] == one["missed_left_m2"]
    assert float(two["proven_share"]["value"]) <= float(one["proven_share"]["value"]) + 0.01


@pytest.mark.parametrize("version", ["1.0 (certified)", "1 2", "", "x", "1" * 40, "1.0\n"])
def test_no_words_are_signed_in_as_a_version(honest, version):
    """The version stands in the sentence about checking."""
    _, _, record = told(honest)
    record["software"]["coverage-audit"] = version
    assert form_faults(record)


@pytest.mark.parametrize("forged", ["certified clean", "5 ha, all of it", "1\n2", "<b>5</b>", "5.0\xa0ha!"])
def test_no_words_can_be_signed_in_place_of_a_quantity(honest, forged):
    _, _, record = told(honest)
    record["says"]["target"] = forged
    assert form_faults(record)
    _, _, record = told(honest)
    record["rests"][0]["boom"]["is"] = forged
    assert form_faults(record)
