"""What a proof shows instead of telling: the share that is proven as a bar, and the field's map when it may be seen.

There is nothing between the field's own shape and no shape. Matched against 1 000 fields of like area, an outline
smoothed by a tenth of its size and turned was first in 43 of 60, one smoothed by a fifth in 21 of 60, and a mere
ellipse of its proportions still left four fifths of the others behind. A drawing that gives nothing away is not the
field, and a proof draws nothing that is not. So only an exact copy has a map.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING, Any

import shapely

from coverage_audit.solid import shrunk

from .tolerances import MAP_SIZE, SEEN_UNITS

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from coverage_audit.recipe.result import Audit

    Record = dict[str, Any]

_NO_MAP = (
    "There is no map: the seller keeps the field's shape and place back, and gives areas to a tenth of a hectare or an "
    "acre."
)
NO_BLUR = (
    "A blurred map is not drawn: an outline that is smoothed and turned, and still looks like a field, can tell "
    "which field it is. The bar stands in its place."
)
MAP_WORDS = {
    "exact": "The field; black: missed by the first job, as far as it can be seen at this size.",
    "blurred": f"{_NO_MAP} {NO_BLUR}",
    "none": _NO_MAP,
}


BAR_WORDS = (
    "The whole bar is the ground to be sprayed. Pale: {proven} % proven covered. Black: {rest} % not "
    "proven, because it was missed, lies within GPS error, or rests on a gap in the log or on a tank that may have run "
    "dry. The bar shows how much, not where."
)


@dataclass(frozen=True)
class Bar:
    """The ground to be sprayed as a bar: ``proven`` and ``rest`` share of it [%], and in words, of whole percents."""

    proven: Decimal
    rest: Decimal
    words: str


def bar_of(record: Record) -> Bar:
    """Bar of the share that *record* proves: it is the same for every field of which that share is proven."""
    proven = Decimal(record["figures"]["proven_share"]["value"])
    whole = whole_percents(record)["proven"]
    return Bar(proven, 100 - proven, BAR_WORDS.format(proven=whole, rest=100 - whole))


def whole_percents(record: Record) -> dict[str, int]:
    """The shares of the one sentence [%]: ``proven`` rounded down, ``logged`` to the nearest, but not up to 100."""
    proven, logged = (
        int(record["figures"][name]["value"].replace(".", "")) for name in ("proven_share", "logged_share")
    )
    return {"proven": proven // 100, "logged": min((logged + 50) // 100, max(logged // 100, 99))}


def drawn_map(audit: Audit, place: str) -> Record:
    """Outline and missed strips as whole numbers in a box of 1000 when *place* is "exact", else nothing."""
    if place != "exact":
        return {"outline": [], "missed": []}
    longest = max(shapely.get_parts(audit.layers.field), key=lambda part: part.area)
    outline = shapely.Polygon(longest.exterior)
    # all missed ground, not the strips that a report lists: what is listed is the seller's choice
    missed = audit.layers.by_visits[0]
    west, south, east, north = outline.bounds
    seen = SEEN_UNITS * max(east - west, north - south) / MAP_SIZE
    parts = [one for part in shapely.get_parts(missed) if _seen(part, seen) for one in without_holes(part)]
    return {"outline": _boxed(outline, outline.bounds), "missed": [_boxed(part, outline.bounds) for part in parts]}


def _seen(part: BaseGeometry, width_m: float) -> bool:
    """Whether *part* is anywhere as wide as can be drawn."""
    return not shrunk(part, width_m / 2).is_empty


def without_holes(shape: BaseGeometry) -> list[BaseGeometry]:
    """*shape* cut through its holes, so that its outer rings alone draw it."""
    if not shape.interiors:
        return [shape]
    west, south, east, north = shape.bounds
    middle = shapely.Polygon(shape.interiors[0]).centroid.x
    halves = (shapely.box(west, south, middle, north), shapely.box(middle, south, east, north))
    parts = [part for half in halves for part in shapely.get_parts(shapely.intersection(shape, half))]
    return [one for part in parts if part.area > 0 for one in without_holes(part)]


def _boxed(shape: BaseGeometry, bounds: tuple[float, float, float, float]) -> list[list[int]]:
    west, south, east, north = bounds
    scale = MAP_SIZE / max(east - west, north - south)
    points = (shapely.get_coordinates(shape.exterior) - (west, south)) * scale
    return [[round(x), round(y)] for x, y in points.tolist()]
