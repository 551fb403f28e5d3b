"""Touch-ups joined to what they mended, and jobs joined to fields."""

from dataclasses import replace

import pytest
import shapely
from ledger_rows import feature, record, row

from coverage_audit.ledger.fields import by_field
from coverage_audit.ledger.mended import may_mend, mended_strips, one_treatment, treatments_of

WHOLE = row("jobs/a", area_m2={"target": 6000.0, "covered": 5600.0, "missed": 400.0})
LATER = {"start": "2026-06-02T15:00:00Z", "end": "2026-06-02T15:20:00Z"}
SMALL = row("jobs/b", **LATER, area_m2={"target": 6000.0, "covered": 300.0, "missed": 5700.0})


def test_a_strip_is_mended_by_as_much_as_was_sprayed_later():
    """Two strips of 10 x 20 m; the touch-up sprayed 20 x 15 m over the first alone: 150 of its 200 m2."""
    first = record({"M1": (10, 0, 20, 20), "M2": (60, 0, 70, 20)})
    left_out = shapely.difference(shapely.box(0, 0, 100, 60), shapely.box(5, 5, 25, 20))
    second = record({})
    second = second.__class__("", second.summary, (_missed(left_out),), second.lines)
    found, still, _ = mended_strips((WHOLE, SMALL), {"jobs/a": first, "jobs/b": second})
    assert [(one.job, one.strip, one.by) for one in found] == [("jobs/a", "M1", "jobs/b")]
    # a degree is written to its last digit here; the plane's own error is 0.01 mm
    assert found[0].area_m2 == pytest.approx(200.0, rel=1e-5)
    assert found[0].mended_m2 == pytest.approx(150.0, rel=1e-5)
    assert len(still) == 2  # the rest of M1, and M2: nothing of what the touch-up left out on purpose


def _missed(shape):
    return feature("missed", shape, id="M1")


def test_a_whole_second_job_mends_nothing():
    again = row("jobs/b", **LATER, area_m2={"target": 6000.0, "covered": 5990.0, "missed": 10.0})
    assert may_mend(SMALL, WHOLE)
    assert not may_mend(again, WHOLE)


@pytest.mark.parametrize(
    "change",
    [
        {"assumed": True},
        {"start": "2026-07-15T15:00:00Z", "end": "2026-07-15T16:00:00Z"},  # 46 days on
        {"start": "2026-05-29T15:00:00Z", "end": "2026-05-29T16:00:00Z"},  # before it
    ],
)
def test_what_is_no_touchup(change):
    assert not may_mend(replace(SMALL, **change), WHOLE)


def test_fields_of_one_name_that_lie_apart_are_two():
    box = WHOLE.box_deg
    apart = row("jobs/c", start="2026-06-01T15:00:00Z", box_deg=(box[0] + 1, box[1], box[2] + 1, box[3]))
    named = by_field([SMALL, apart, WHOLE])
    assert [(name, [job.job for job in jobs]) for name, jobs in named] == [
        ("East bench", ["jobs/a", "jobs/b"]),
        ("East bench (2)", ["jobs/c"]),
    ]


def test_neighbours_that_share_an_edge_are_two_fields():
    west, south, east, north = WHOLE.box_deg
    beside = row("jobs/c", box_deg=(east, south, 2 * east - west, north))
    assert len(by_field([WHOLE, beside])) == 2


# --- two machines ---------------------------------------------------------------------------------

FIRST = row("jobs/a", machine="quad")
SECOND = row("jobs/b", machine="tractor", start="2026-05-30T15:10:00Z")


def test_two_machines_are_one_treatment_on_their_common_ground():
    """100 x 60 m; one sprayed x from 0 to 60, the other from 50 to 100 but not from 70 to 75, and its 80 to 90 twice.

    Covered 100 - 5 = 95 m of width, missed 5 m, twice 10 m in common and 10 m by one of them; times 60 m.
    """
    first = record({"M1": (60, 0, 100, 60)}, ground=(shapely.box(60, 0, 100, 60), shapely.MultiPolygon()))
    gap = shapely.box(70, 0, 75, 60)
    second = record(
        {"M1": (0, 0, 50, 60), "M2": (70, 0, 75, 60)},
        ground=(shapely.union(shapely.box(0, 0, 50, 60), gap), shapely.box(80, 0, 90, 60)),
    )
    records = {"jobs/a": first, "jobs/b": second}
    (found,) = treatments_of((FIRST, SECOND), records)
    assert found.jobs == ("jobs/a", "jobs/b")
    wanted = {"target": 6000.0, "covered": 5700.0, "missed": 300.0, "double": 1200.0}
    # the plane about the field's middle keeps areas to 1e-6
    assert found.area_m2 == pytest.approx(wanted, rel=1e-6)
    taken, left, told = mended_strips((FIRST, SECOND), records)
    assert [(one.job, one.strip, one.together) for one in taken] == [("jobs/a", "M1", True), ("jobs/b", "M1", True)]
    assert [round(one.mended_m2) for one in taken] == [2100, 3000]
    assert len(left) == 2  # the same 5 m, as either missed it
    # the first's strip was taken over for the most part, so the second alone tells what is left
    assert told == {("jobs/a", "M1"): 0.0, ("jobs/b", "M2"): 0.0}


def test_what_two_machines_missed_is_told_once():
    """A strip of 5 m that each lists by itself: by the first; the second's whole strip is told already."""
    both = record({"M1": (70, 0, 75, 60)}, ground=(shapely.box(70, 0, 75, 60), shapely.MultiPolygon()))
    _, _, told = mended_strips((FIRST, SECOND), {"jobs/a": both, "jobs/b": both})
    assert told == {("jobs/a", "M1"): 0.0, ("jobs/b", "M1"): pytest.approx(300.0, rel=1e-5)}


@pytest.mark.parametrize(
    "change", [{"machine": "quad"}, {"machine": ""}, {"first_day": "2026-05-31"}, {"assumed": True}]
)
def test_what_is_no_treatment_together(change):
    assert one_treatment(FIRST, SECOND)
    assert not one_treatment(FIRST, replace(SECOND, **change))
