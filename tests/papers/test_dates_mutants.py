"""Days that a proof's record tells, and the area from which land is told in acres: small errors must be noticed."""

import pytest
from jobs import worked_job

from coverage_audit.jobs.settings import Amount, ProductSettings, ProofSettings
from coverage_audit.papers.proof.record import grower_record
from coverage_audit.papers.words.display import SPACE, area
from coverage_audit.recipe.audit import audit_job
from coverage_audit.units import ACRE_M2


@pytest.mark.parametrize(
    ("days", "timezone", "told"),
    [
        # the first fix is of 2026-05-28, 20:26:40 UTC
        (30.0, "UTC", "2026-06-27"),
        (13.01, "UTC", "2026-06-11"),  # an interval is over only when all of it has passed
        (0.5, "UTC", "2026-05-29"),
        (0.0, "UTC", "2026-05-28"),
        (14.0, "Pacific/Auckland", "2026-06-12"),  # the day of the job is the field's own, the 29th there
    ],
)
def test_earliest_days_of_a_proof_are_never_too_early(days, timezone, told):
    product = ProductSettings("a", phi_days=days, grazing_days=days)
    job = worked_job(hz=1.0, products=(product,), timezone=timezone, proof=ProofSettings())
    (found,) = grower_record([audit_job(job)], "2026-06-01T00:00:00Z")["what"]["products"]
    assert (found["earliest_cut"], found["earliest_grazing"]) == (told, told)


def test_what_was_typed_in_of_a_product_stands_in_the_proof_and_what_was_not_is_said():
    amount = Amount(1.2, "L", "ha", "L/ha", 1.0)
    products = (ProductSettings("a", reg_no="0000-11", rate=amount, phi_days=1.0), ProductSettings("b", grazing_days=1))
    job = worked_job(hz=1.0, products=products, proof=ProofSettings())
    first, second = grower_record([audit_job(job)], "2026-06-01T00:00:00Z")["what"]["products"]
    none = "not stated"
    told = {
        "name": "a",
        "reg_no": "0000-11",
        "rate": "1.2 L/ha",
        "earliest_cut": "2026-05-29",
        "earliest_grazing": none,
    }
    assert first == told
    told = {"name": "b", "reg_no": none, "rate": none, "earliest_cut": none, "earliest_grazing": "2026-05-29"}
    assert second == told


@pytest.mark.parametrize(
    ("m2", "units", "told"),
    [
        # 43 560 ft2 to the acre (NIST Handbook 44, Appendix C): a quarter is 10 890 ft2
        (0.25 * ACRE_M2, "us", "0.25 ac"),
        (0.2499 * ACRE_M2, "us", "10,886 ft²"),
        (999.4, "metric", "999 m²"),
        (1000.0, "metric", "0.10 ha"),
    ],
)
def test_land_is_told_in_acres_from_a_quarter_and_in_hectares_from_a_tenth(m2, units, told):
    assert area(m2, units).replace(SPACE, " ") == told
