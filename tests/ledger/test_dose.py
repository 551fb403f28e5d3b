"""What spots got over a season, against closed forms; nothing of the spray is lost on the way."""

from dataclasses import replace

import numpy as np
import pytest
import shapely
from ledger_rows import PRODUCT, litres, row, surface

from coverage_audit.drive.model import PlaneOrigin
from coverage_audit.drive.plane import Plane
from coverage_audit.ledger.dose import dose_of, grid_for, share_on
from coverage_audit.ledger.products import earliest, products_of

AWAY = ((0.0, 0.0), (137.31, -42.77), (3000.0, 1800.0))
"""Where the second job's plane begins: on the first one's, and off its cells, with meridians that turn. [m]"""


def dose(*uses):
    grid = grid_for([one for one, _ in uses])
    return dose_of(grid, [(share_on(grid, one), per_l) for one, per_l in uses])


@pytest.mark.parametrize("away", AWAY)
def test_nothing_is_lost_when_surfaces_are_added(away):
    a, b = surface([(0, 0, 40, 30)], 100.0), surface([(20, 0, 60, 30)], 50.0, east_m=away[0], north_m=away[1])
    found = dose((a, 0.01), (b, 0.02))
    wanted = 0.01 * litres(a) + 0.02 * litres(b)
    assert found.amount == pytest.approx(wanted, rel=1e-9)


def test_cells_are_shared_out_by_common_ground():
    """Against the areas of polygons that the geometry library cuts (shapely, GEOS)."""
    rng = np.random.default_rng(5)
    one = surface([(0, 0, 3, 2)], 100.0, east_m=20.06, north_m=-11.17)
    one = one.__class__(**{**vars(one), "rate_l_ha": rng.uniform(50, 150, len(one.row))})
    grid = grid_for([surface([(0, 0, 3, 2)], 1.0), one])
    found = share_on(grid, one)
    own = Plane(PlaneOrigin(one.lon_deg, one.lat_deg))
    size = one.cell_m
    boxes = shapely.box(one.column * size, one.row * size, (one.column + 1) * size, (one.row + 1) * size)
    boxes = Plane(grid.origin).geometry_to_metres(own.geometry_to_degrees(boxes))
    line, across = np.divmod(found.at, grid.columns)
    west, south = (across + grid.column) * grid.cell_m, (line + grid.row) * grid.cell_m
    cells = shapely.box(west, south, west + grid.cell_m, south + grid.cell_m)
    common = shapely.area(shapely.intersection(cells[:, None], boxes[None, :]))
    wanted = common @ (one.rate_l_ha * one.swept) / 10_000
    # cells are taken as parallel; over some metres the meridians' turn is worth less than 1e-6 of a cell
    assert found.litres == pytest.approx(wanted, rel=1e-3, abs=1e-8)


@pytest.mark.parametrize("away", AWAY[:2])
def test_two_jobs_add_up_where_they_overlap(away):
    """40 m and 40 m wide, 20 m of it in common: 1.0, 1.5 and 0.5 L/ha; 20 x 60 = 1200 m2 above 1.2 L/ha."""
    jobs = (row("jobs/a"), row("jobs/b", start="2026-06-20T15:00:00Z", end="2026-06-20T16:00:00Z"))
    a = surface([(0, 0, 40, 60)], 100.0)
    b = surface([(20, 0, 60, 60)], 50.0, east_m=away[0], north_m=away[1])
    (found,), shapes = products_of(jobs, {"jobs/a": a, "jobs/b": b})
    assert found.most_per_ha == pytest.approx(1.5, rel=1e-6)
    # along the 60 m edge a cell of 0.25 m may be counted whole: 2 x 60 x 0.25
    assert found.above_m2 == pytest.approx(1200.0, abs=30.0)
    assert [place.jobs for place in found.places] == [("jobs/a", "jobs/b")]
    assert found.places[0].area_m2 == found.above_m2
    assert len(shapes) == 1


def test_swaths_that_meet_within_a_cell_are_no_overlap():
    """Two jobs side by side that share an edge amid a cell: nowhere more than either laid."""
    a, b = surface([(0, 0, 10.1, 20)], 100.0), surface([(10.1, 0, 20, 20)], 100.0)
    assert dose((a, 0.01), (b, 0.01)).per_ha.max() == pytest.approx(1.0, rel=1e-9)


def test_one_job_alone_has_its_own_cells():
    one = surface([(0, 0, 10, 10.1)], 80.0, east_m=33.3)
    found = dose((one, 0.01))
    assert len(found.at) == len(one.row)
    assert found.per_ha == pytest.approx(0.8)


def test_a_job_without_a_known_rate_leaves_the_most_open():
    jobs = (row("jobs/a"), row("jobs/b"))
    (found,), _ = products_of(jobs, {"jobs/a": surface([(0, 0, 40, 60)], 100.0)})
    assert (found.most_per_ha, found.unknown) == (None, ("jobs/b",))
    assert found.at_least_per_ha == pytest.approx(1.0)
    assert found.above_m2 is None


def test_a_use_without_a_rate_leaves_the_most_open_too():
    """Nobody said how much of it was in the mix: it may have been in litres or in kilograms."""
    nothing = replace(PRODUCT, unit=None, per_l=None, used=None)
    jobs = (row("jobs/a"), row("jobs/b", products=(nothing,)))
    surfaces = {job.job: surface([(0, 0, 40, 60)], 100.0) for job in jobs}
    (found,), _ = products_of(jobs, surfaces)
    assert (found.most_per_ha, found.unknown, found.unit) == (None, ("jobs/b",), "L")
    weighed = row("jobs/c", products=(replace(PRODUCT, unit="kg"),))
    found, _ = products_of((*jobs, weighed), {**surfaces, "jobs/c": surfaces["jobs/a"]})
    assert [(one.unit, one.jobs) for one in found] == [("L", ("jobs/a", "jobs/b")), ("kg", ("jobs/b", "jobs/c"))]


def test_the_least_limit_holds_and_names_join_by_their_letters():

    lower = replace(PRODUCT, name="larkmoor  200 sl", max_per_season=0.9)
    jobs = (row("jobs/a"), row("jobs/b", products=(lower,)))
    (found,), _ = products_of(jobs, {job.job: surface([(0, 0, 40, 60)], 50.0) for job in jobs})
    assert (found.name, found.max_per_season, found.jobs) == ("Larkmoor 200 SL", 0.9, ("jobs/a", "jobs/b"))
    assert found.above_m2 == pytest.approx(2400.0, rel=1e-6)


def test_the_latest_day_of_all_jobs_holds():

    late = replace(PRODUCT, phi_days=2.5)
    jobs = (row("jobs/a"), row("jobs/b", end="2026-06-20T16:00:00Z", products=(late,)))
    assert earliest(jobs, "phi_days") == ("2026-06-23", ())
    assert earliest(jobs[:1], "phi_days") == ("2026-06-13", ())
    assert earliest(jobs, "grazing_days") == (None, ("Larkmoor 200 SL",))
