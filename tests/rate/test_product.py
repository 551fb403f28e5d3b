"""Product used against intended, left over, per load; limits in product."""

import pytest
from jobs import worked_job

from coverage_audit.errors import InputError
from coverage_audit.jobs.keys import PRODUCT, list_of, table
from coverage_audit.jobs.rate import product_settings
from coverage_audit.jobs.settings import RateSettings, TankSettings
from coverage_audit.rate.product import mix_strength
from coverage_audit.recipe.audit import audit_job
from coverage_audit.units import ACRE_M2, HECTARE_M2, POUND_KG, US_FLUID_OUNCE_L, US_GALLON_L

GAL_AC = US_GALLON_L / ACRE_M2 * HECTARE_M2


def products(*tables):
    checked = list_of(table(PRODUCT, required=("name",)))(list(tables), "job.toml, product")
    return product_settings(checked, "job.toml, ")


def used(mix, **product):
    settings = products({"name": "Invented 40 SC", "reg_no": "000-00", **product})
    return audit_job(worked_job(10.0, rate=mix, products=settings)).rate.products[0]


def test_thirty_two_ounces_in_twenty_gallons():
    """20 gal/ac and 32 oz/ac are 1.6 oz/gal (Albany County, "Calibrating your sprayer")."""
    (one,) = products({"name": "x", "rate": "32 oz/ac"})
    strength = mix_strength(one.rate, 20 * GAL_AC)
    assert strength * US_GALLON_L / US_FLUID_OUNCE_L == pytest.approx(1.6, rel=1e-12)
    (other,) = products({"name": "x", "rate": "1.6 oz/gal"})
    assert mix_strength(other.rate, None) == pytest.approx(strength, rel=1e-12)


def test_three_pounds_an_acre_on_three_and_a_half():
    """3 lb/ac x 3.5 ac = 10.5 lb (handbook "Agrochemical and Pesticide Safety", ex. 4)."""
    (one,) = products({"name": "x", "rate": "3 lb/ac"})
    assert one.rate.value * 3.5 * ACRE_M2 / HECTARE_M2 / POUND_KG == pytest.approx(10.5, rel=1e-12)


def test_used_intended_left_and_per_load():
    """60 L of mix for 100 L/ha with 2 L/ha in it hold 1.2 L, as meant for 0.6 ha; closed form."""
    rate = RateSettings(100.0, flow_l_min=15.0, tank=TankSettings(loads_l=(75.0,)))
    use = used(rate, rate="2 L/ha", max_per_application="3 L/ha", max_per_season="4 L/ha", phi="14 days", rei="12 h")
    assert use.per_l == pytest.approx(0.02, rel=1e-12)
    assert use.used == pytest.approx(1.2, rel=1e-6)
    assert use.intended == pytest.approx(1.2, rel=1e-6)
    assert use.left == pytest.approx(0.3, rel=1e-6)
    assert use.per_load == pytest.approx((1.5,), rel=1e-6)
    assert use.mean_per_ha == pytest.approx(1.2 / 0.59, rel=1e-4)
    assert use.most_per_ha == pytest.approx(4.0, rel=1e-3)
    assert use.above_max_m2 == pytest.approx(100, abs=0.6)  # the overlap, to 0.01 % of the field
    assert use.settings.rei_days == pytest.approx(0.5)


def test_a_rate_per_area_without_an_intended_rate_of_mix_cannot_be_computed():
    use = used(RateSettings(None, flow_l_min=15.0), rate="2 L/ha")
    assert (use.per_l, use.used, use.intended) == (None, None, None)


def test_a_rate_per_volume_of_mix_needs_none():
    use = used(RateSettings(None, flow_l_min=15.0), rate="200 mL/100 L")
    assert (use.used, use.intended) == (pytest.approx(0.12, rel=1e-6), None)


@pytest.mark.parametrize(
    ("product", "wanted"),
    [
        ({"rate": "2 L/ha"}, "name"),
        ({"name": "x", "rate": "2 m"}, "does not fit here"),
        ({"name": "x", "rate": "2 L/ha", "max_per_application": "3 kg/ha"}, "one is a volume, the other a weight"),
        ({"name": "x", "max_per_season": "1 oz/gal"}, "does not fit here"),
        ({"name": "x", "phi": "14"}, "has no unit"),
        ({"name": "x", "dose": "1 L/ha"}, "there is no such key"),
    ],
)
def test_what_does_not_fit_is_refused(product, wanted):
    with pytest.raises(InputError, match=wanted):
        products(product)


def test_products_are_read_and_shown(small_job, check):
    small_job.change("target", '"100 L/ha"', "rate")
    small_job.change("flow", '"15 L/min"', "rate")
    lines = (
        'name = "Invented <b>40</b> SC"',
        'rate = "2 L/ha"',
        'max_per_application = "2.5 L/ha"',
        'grazing = "7 days"',
    )
    text = "\n".join(["[[product]]", *lines, ""])
    small_job.write("job.toml", small_job.read("job.toml") + text)
    code, error, out = check()
    assert (code, error) == (0, "")
    page = (out / "report.html").read_text(encoding="utf-8")
    assert "Invented &lt;b&gt;40&lt;/b&gt; SC" in page
    assert '"grazing_days": 7.0' in (out / "summary.json").read_text(encoding="utf-8")
