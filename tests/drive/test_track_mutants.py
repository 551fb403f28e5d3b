"""Groups of fixes that stand apart are left out whole and nothing else; a log of one fix is refused with its reason."""

import numpy as np
import pytest
from track_jobs import changed, clean, straight

from coverage_audit.drive.track import _without_islands
from coverage_audit.errors import InputError


def kept_of(*islands, count=60, step_s=1.0):
    """What is kept of a straight drive with the fixes from *first* to before *last* a kilometre aside."""
    time = np.arange(count) * step_s
    x = np.zeros(count)
    for number, (first, last) in enumerate(islands):
        x[first:last] = 1000.0 * (number + 1)
    index = np.arange(count)
    return sorted(set(range(count)) - set(_without_islands(time, x, 2.5 * time, index).tolist()))


@pytest.mark.parametrize(
    "islands", [[(20, 24)], [(0, 3)], [(57, 60)], [(30, 31)], [(15, 19), (40, 45)], [(20, 23), (23, 27)]]
)
def test_an_island_is_left_out_whole(islands):
    assert kept_of(*islands) == [k for first, last in islands for k in range(first, last)]


@pytest.mark.parametrize(("last", "dropped"), [(30, 10), (31, 0)])
def test_ten_seconds_are_no_island(last, dropped):
    """Eleven fixes a second apart last ten seconds."""
    assert len(kept_of((20, last))) == dropped


def test_the_longest_group_stays_however_short():
    assert kept_of((0, 6), (6, 15), count=20) == [*range(6), *range(15, 20)]
    assert kept_of(count=60) == []


def test_an_index_is_told_and_not_a_place():
    """Of fixes some of which are out already."""
    time = np.arange(60.0)
    x = np.where((time >= 20) & (time < 24), 1000.0, 0.0)
    index = np.delete(np.arange(60), [5, 22, 40])
    assert set(index) - set(_without_islands(time, x, 2.5 * time, index)) == {20, 21, 23}


def test_a_log_of_one_fix_is_refused_with_its_reason():
    one = straight(count=2)
    lost = changed(one, lat_deg=np.array([one.fixes.lat_deg[0], np.nan]))
    with pytest.raises(InputError, match=r"fewer than two usable fixes are left; log the whole job"):
        clean(lost)
