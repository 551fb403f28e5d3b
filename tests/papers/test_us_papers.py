"""Who asked for US units is told feet, acres and gallons only, in every paper made for people."""

import html
import re

import pytest
from jobs import worked_job
from metric_units import METRIC_UNIT

from coverage_audit import run
from coverage_audit.jobs.settings import AccuracySettings, RateSettings, ReportSettings, TankSettings, TouchupSettings
from coverage_audit.papers.figures.touchup import touchup_sheet
from coverage_audit.papers.gpx import missed_gpx
from coverage_audit.papers.page import report_html
from coverage_audit.papers.terminal import terminal_text
from coverage_audit.recipe.audit import audit_job
from coverage_audit.recipe.touchup import plan_touchup


def shown(page):
    """Words of a page: what stands in scripts, styles and drawings left out, except their titles."""
    bare = re.sub(r"<(script|style|svg)\b.*?</\1>", " ", page, flags=re.DOTALL)
    return html.unescape(re.sub(r"<[^>]+>", " ", bare))


@pytest.fixture(scope="module")
def papers():
    told = {}
    for units in ("us", "metric"):
        audit = audit_job(
            worked_job(
                1.0,
                report=ReportSettings(units=units),
                rate=RateSettings(100.0, 15.0, applied_l=80.0, label_max_l_ha=150.0, tank=TankSettings(tank_l=40.0)),
                accuracy=AccuracySettings(steering="hand", sigma_m=0.5, replicates=20),
                touchup=TouchupSettings(value_m2=0.05),
            )
        )
        plan = plan_touchup(audit)
        told[units] = {
            "report": shown(report_html(run.with_plan(audit, plan))),
            "sheet": shown(touchup_sheet(audit, plan)),
            "terminal": terminal_text(audit),
            "missed.gpx": shown(missed_gpx(audit)),
        }
    return told


@pytest.mark.parametrize("paper", ["report", "sheet", "terminal", "missed.gpx"])
def test_no_metric_unit(paper, papers):
    assert not METRIC_UNIT.search(papers["us"][paper])
    assert METRIC_UNIT.search(papers["metric"][paper])
