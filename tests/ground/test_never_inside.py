"""A boom that sprayed no ground of the field: told by how far off it was, and not as "0 m away"."""

import pytest
import shapely

from coverage_audit.errors import InputError
from coverage_audit.ground.target import sprayed_fields

FIELD = [("field", shapely.box(0, 0, 100, 100))]


@pytest.mark.parametrize("way", [[(100.3, 0), (100.2, 50)], [(50, 50), (50, 50)]])
def test_at_the_edge_or_standing(way):
    with pytest.raises(InputError, match="only touched its edge, or stood") as told:
        sprayed_fields(FIELD, shapely.MultiLineString([shapely.LineString([(-5, 200), (-5, 210)]), way]), (), 9.0)
    assert "0 m away" not in str(told.value)


def test_far_off():
    with pytest.raises(InputError, match="at its nearest it was 40 m away"):
        sprayed_fields(FIELD, shapely.MultiLineString([[(140, 0), (140, 50)]]), (), 9.0)
