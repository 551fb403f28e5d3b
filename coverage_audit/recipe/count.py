"""The part of the recipe that counts how often every spot of the ground was visited."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from coverage_audit.errors import InputError
from coverage_audit.ground.partition import closed_partition
from coverage_audit.ground.pieces import pieces_of, quad_area, travel_at

if TYPE_CHECKING:
    from coverage_audit.ground.model import Ground, Partition, Piece

    from .drive import Drive


@dataclass(frozen=True)
class Count:
    """What was counted on the ground; ``quads_m2`` is the sum of all steps. [m2]"""

    ground: Ground
    pieces: list[Piece]
    parts: Partition
    quads_m2: float


def counted_ground(drive: Drive, ground: Ground, width_m: float) -> Count:
    """Count the visits of a drive with a boom of *width_m* [m].

    Raises
    ------
    InputError
        It covered no ground.
    """
    pieces = [piece for one in drive.thinned for piece in pieces_of(one, drive.one_pivot_m2)]
    if not pieces:
        raise InputError(
            "the boom covered no ground while it was on: the track stands still or has gaps there", "track.files"
        )
    quads_m2 = sum(quad_area(one) for one in drive.thinned)
    parts = closed_partition(pieces, ground, width_m, travel_at, quads_m2)
    return Count(ground, pieces, parts, quads_m2)
