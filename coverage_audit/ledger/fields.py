"""Which jobs were on one field: by its name and its ground."""

from __future__ import annotations

from typing import TYPE_CHECKING

import shapely

from .tolerances import SAME_FIELD_SHARE

if TYPE_CHECKING:
    from collections.abc import Sequence

    from .model import JobRow


def by_field(rows: Sequence[JobRow]) -> list[tuple[str, tuple[JobRow, ...]]]:
    """Name of each field, and its jobs in the order they began; fields in order of their names.

    Jobs are on one field when they name the same one and its boxes share ``SAME_FIELD_SHARE`` of the smaller: two
    fields of one name that lie apart are two, the later ones told as "(2)" and so on.
    """
    found: dict[str, list[list[JobRow]]] = {}
    for row in sorted(rows, key=lambda one: (one.start, one.job)):
        groups = found.setdefault(" ".join(row.field.casefold().split()), [])
        for group in groups:
            if _same_ground(group[0], row):
                group.append(row)
                break
        else:
            groups.append([row])
    named = []
    for _, groups in sorted(found.items()):
        for number, group in enumerate(groups, 1):
            name = group[0].field or "field without a name"
            named.append((name if number == 1 else f"{name} ({number})", tuple(group)))
    return named


def _same_ground(one: JobRow, other: JobRow) -> bool:
    a, b = shapely.box(*one.box_deg), shapely.box(*other.box_deg)
    return bool(shapely.intersection(a, b).area >= SAME_FIELD_SHARE * min(a.area, b.area))
