"""Two machines in one field: what one left and the other took is no skip.

100 x 60 m. A quad with a 10 m boom sprays x from 0 to 60, a tractor with 20 m from 57 to 77 and from 80 to 100.
Together they cover 97 m of width, miss 3 m (77 to 80) and spray 3 m twice (57 to 60); times 60 m.
"""

import dataclasses

import pytest
import shapely
from jobs import boom, job, log, parallel_passes

from coverage_audit.errors import InputError
from coverage_audit.jobs.settings import AccuracySettings, BoomSettings, ProductSettings
from coverage_audit.papers.proof.record import refuse
from coverage_audit.papers.record import job_record
from coverage_audit.papers.summary import summary_dict
from coverage_audit.papers.terminal import terminal_text
from coverage_audit.recipe.audit import audit_job

FIELD = shapely.box(0, 0, 100, 60)
NEAR_M2 = 0.6
"""0.01 % of the field, as asked of an audit at ten fixes a second. [m2]"""


def quad(**more):
    return _job([5.0 + 10.0 * k for k in range(6)], 10.0, "quad", **more)


def tractor(xs=(67.0, 90.0), **more):
    return _job(list(xs), 20.0, "tractor", **more)


def _job(xs, width_m, name, *, beyond_m=0.0, **more):
    times, points, on = parallel_passes(xs, -beyond_m, 60.0 + beyond_m)
    found = job(log(times, points, name=f"{name}.gpx"), on, FIELD, boom=boom(width_m), name=name, **more)
    return dataclasses.replace(found, sources=((f"{name}.toml", name * 8),))


def with_other(one, *others):
    return dataclasses.replace(one, together=others)


@pytest.mark.parametrize(
    ("one", "other", "own_m", "taken_m"), [(quad(), tractor(), 60, 37), (tractor(), quad(), 40, 57)]
)
def test_machines_of_two_widths_on_their_common_ground(one, other, own_m, taken_m):
    audit = audit_job(with_other(one, other))
    areas, told = audit.area_m2, audit.together
    assert dict(told.area_m2) == pytest.approx(
        {"target": 6000.0, "covered": 97 * 60, "missed": 3 * 60, "double": 3 * 60}, abs=NEAR_M2
    )
    assert (told.taken_m2, told.both_m2) == pytest.approx((taken_m * 60, 3 * 60), abs=NEAR_M2)
    # what is told of this machine: all that it sprayed, and what neither did
    assert (areas.covered, areas.missed, areas.double) == pytest.approx((own_m * 60, 3 * 60, 0), abs=NEAR_M2)
    assert areas.target == pytest.approx((own_m + 3) * 60, abs=NEAR_M2)
    assert areas.excluded_sprayed == pytest.approx(0, abs=1e-6)  # ground of the other is no no-spray area
    assert sum(areas.by_visits) == pytest.approx(areas.target, rel=1e-6)
    assert audit.checks.ok
    (strip,) = audit.missed_strips
    assert (strip.area_m2, strip.where) == (pytest.approx(180, abs=NEAR_M2), "between passes")


def test_alone_the_others_ground_is_missed():
    audit = audit_job(quad())
    assert audit.area_m2.missed == pytest.approx(40 * 60, abs=NEAR_M2)
    assert audit.together is None
    assert summary_dict(audit)["together"] is None


def test_papers_say_that_another_machine_was_there():
    audit = audit_job(with_other(quad(), tractor()))
    text = terminal_text(audit).replace("\u00a0", " ")
    assert (
        "Another machine sprayed this field too (tractor). Together: 97.0 % of 0.60 ha covered, 180 m² missed by both"
        in text
    )
    assert "without 0.22 ha that the other took by its own log." in text
    assert summary_dict(audit)["together"]["machines"] == ["tractor"]


def test_the_record_keeps_the_whole_field():
    """What the other took is still ground of the field that this one did not spray, so that a ledger adds up."""
    alone, beside = (job_record(audit_job(one), "a").ground for one in (quad(), with_other(quad(), tractor())))
    for name in ("target", "missed", "double"):
        apart = shapely.symmetric_difference(getattr(alone, name), getattr(beside, name))
        # in degrees: 6000 m2 are 6e-7 square degrees here
        assert apart.area < 1e-4 * alone.target.area, name


def test_errors_of_the_receiver_make_no_skip_where_the_other_machine_sprayed():
    """The tractor's swath lies three metres over the quad's last edge: that edge, 60 m long, may err by what it likes.

    Each of the quad's other edges is held by its neighbour, so that nothing of a whole pass is ever missed. Passes that
    meet to the centimetre by receivers 0.3 m off miss something in nearly every draw: in one of twenty no more than
    2 cm along their five seams of 60 m.
    """
    rtk = AccuracySettings(sigma_m=0.3, noise_m=0.0, replicates=200)
    beside, alone = (
        audit_job(one).accuracy
        for one in (with_other(quad(accuracy=rtk), tractor((67.0, 87.0, 90.0))), quad(accuracy=rtk))
    )
    assert beside.covered_m2.observed == pytest.approx(60 * 60, abs=NEAR_M2)
    assert beside.covered_m2.low90 <= 60 * 60 <= beside.covered_m2.high90 + 5 * 60 * 0.02
    assert beside.covered_m2.high90 - beside.covered_m2.low90 < alone.covered_m2.high90 - alone.covered_m2.low90


PRODUCTS = [{"products": (ProductSettings(name=name),)} for name in ("Larkmoor 200 SL", "Fescol DF")]
ASSUMED = BoomSettings((20.0,), "assume", antenna_ahead_m=0.0)


@pytest.mark.parametrize(
    ("one", "other", "code"),
    [
        (quad(**PRODUCTS[0]), tractor(**PRODUCTS[1]), "other product"),
        (
            quad(),
            dataclasses.replace(tractor(), settings=dataclasses.replace(tractor().settings, boom=ASSUMED)),
            "other assumed",
        ),
        (quad(), tractor((400.0, 420.0)), "other elsewhere"),
        (quad(), dataclasses.replace(tractor(), intervals=()), "other unread"),
    ],
)
def test_what_cannot_be_followed_is_told_and_counts_as_missed(one, other, code):
    audit = audit_job(with_other(one, other))
    assert audit.together is None
    assert audit.area_m2.missed == pytest.approx(40 * 60, abs=NEAR_M2)
    (caution,) = [found for found in audit.cautions if found.code.startswith("other ")]
    assert (caution.code, dict(caution.values)["job"]) == (code, "tractor")
    assert "tractor" in terminal_text(audit)


def test_a_machine_for_which_nothing_was_left_is_refused():
    """It sprayed the pond alone, and the other one all about it."""
    times, points, on = parallel_passes([95.0], 0.0, 60.0)
    pond = job(log(times, points), on, FIELD, exclude=(shapely.box(90, 0, 100, 60),))
    with pytest.raises(InputError, match="sprayed the whole field"):
        audit_job(with_other(pond, tractor((9.0, 27.0, 45.0, 63.0, 81.0), beyond_m=1.0)))


def test_no_proof_is_made_of_a_part():
    audit = audit_job(with_other(quad(), tractor()))
    with pytest.raises(InputError, match=r"job\.together"):
        refuse([audit], audit.job.settings.proof, "2027-01-01T00:00:00Z")
