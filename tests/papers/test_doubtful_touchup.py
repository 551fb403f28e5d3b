"""A touch-up of a log that cannot tell: only what is surely missed, from the field's entry, at no price not given."""

import pytest
import shapely
from situations import Situation, audited

from coverage_audit import run
from coverage_audit.papers.figures.touchup import touchup_sheet
from coverage_audit.papers.page import report_html
from coverage_audit.papers.touchup_files import touchup_gpx, touchup_json
from coverage_audit.papers.words.touchup import ASSUMED_STATE
from coverage_audit.recipe.decision import SURE
from coverage_audit.recipe.touchup import plan_touchup


@pytest.fixture(scope="module")
def audit():
    return audited(Situation("phone", "assumed", "left out"))


@pytest.fixture(scope="module")
def plan(audit):
    return plan_touchup(audit)


def test_only_what_is_surely_missed_is_planned_for(audit, plan):
    standing = audit.answer.decision.standing
    assert {one.id for one in plan.treated} == {"M1"}
    assert {one.id for one in plan.strips if one.doubtful} == {name for name in standing if standing[name] != SURE}
    assert plan.after.missed_m2 < audit.area_m2.missed - 0.9 * audit.missed_strips[0].area_m2
    # one boom without sections, 9 m wide, over a strip of 8.4 m between two passes that wander: no more than half again
    assert plan.after.double_m2 - audit.area_m2.double < 0.5 * audit.missed_strips[0].area_m2


def test_it_says_assumed_on_every_paper_and_names_no_price(audit, plan):
    papers = (
        touchup_sheet(audit, plan),
        touchup_gpx(audit, plan),
        touchup_json(audit, plan),
        report_html(run.with_plan(audit, plan)),
    )
    assert all(ASSUMED_STATE in paper for paper in papers)
    assert "your money" not in papers[0]
    assert "your money" not in papers[1]


def test_it_starts_where_the_field_was_entered(audit, plan):
    assert plan.start == audit.entered_m
    assert shapely.distance(audit.layers.field, shapely.Point(plan.start)) == 0.0
