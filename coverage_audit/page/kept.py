"""Machines and products that the farm keeps, and what a job says of its own."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

from coverage_audit.errors import InputError
from coverage_audit.sheet.draft import with_keys, with_products
from coverage_audit.sheet.farm import with_machine, with_product

from . import asked

if TYPE_CHECKING:
    from collections.abc import Mapping

    from .desk import Desk, JobFolder

MACHINE_KEYS = (
    *("boom.width", "boom.antenna_ahead", "boom.antenna_right", "boom.axle_behind_antenna"),
    *("boom.towed", "boom.towed_axle", "accuracy.steering"),
)
PRODUCT_KEYS = (
    *("name", "reg_no", "rate", "max_per_application", "max_per_season"),
    *("phi", "grazing", "rei"),
)
OF_THE_JOB = ("rate",)
"""What of a product belongs to one job: how much of it was put into the tank."""

MOST_PRODUCTS = 8
"""Most products that one tank holds here. [1] Common practice, no source."""

_PRODUCT = re.compile(r"product\.(\d{1,2})\.([a-z_]+)")


def keep_machine(desk: Desk, job: JobFolder, name: str) -> JobFolder:
    """Keep the job's machine in the farm file, and take it from there."""
    if not name:
        raise InputError("give the machine a name", "machine")
    desk.keep_farm(lambda farm: with_machine(farm, name, {key: job.draft.get(key) for key in MACHINE_KEYS}))
    return use_machine(desk, job, name)


def use_machine(desk: Desk, job: JobFolder, name: str) -> JobFolder:
    """Take a kept machine; what the job itself said of one is taken out."""
    if name not in desk.farm().machines:
        raise InputError("this machine is no longer there; load the page again", "machine")
    return desk.keep(job, with_keys(job.draft, {**dict.fromkeys(MACHINE_KEYS), "job.machine": name}))


def keep_product(desk: Desk, job: JobFolder, number: int, name: str) -> JobFolder:
    """Keep a product of the job in the farm file, and take it from there."""
    rows = rows_of(job)
    if not 0 <= number < len(rows):
        raise InputError("this product is no longer there; load the page again", "product")
    whole = desk.farm().product_keys(rows[number])
    called = name or str(whole.get("name", ""))
    if not called or not whole.get("name"):
        raise InputError("write the name on the label first", f"product.{number}.name")
    kept = {key: whole[key] for key in PRODUCT_KEYS if key in whole and key not in OF_THE_JOB}
    desk.keep_farm(lambda farm: with_product(farm, called, kept))
    own = {key: value for key, value in rows[number].items() if key in OF_THE_JOB}
    return desk.keep(job, with_products(job.draft, [*rows[:number], {"from": called, **own}, *rows[number + 1 :]]))


def use_product(desk: Desk, job: JobFolder, name: str) -> JobFolder:
    """Put a kept product into the tank, or take it out again."""
    if name not in desk.farm().products:
        raise InputError("this product is no longer there; load the page again", "product")
    rows = rows_of(job)
    left = [row for row in rows if row.get("from") != name]
    return desk.keep(job, with_products(job.draft, left if len(left) < len(rows) else [*left, {"from": name}]))


def with_product_keys(job: JobFolder, given: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Rows of the job's products after keys such as "product.0.name" of *given*; a row left empty falls out.

    Raises
    ------
    InputError
        A key that is none of a product's.
    """
    rows = [dict(row) for row in rows_of(job)]
    for key in given:
        match = _PRODUCT.fullmatch(key)
        if match is None or match[2] not in PRODUCT_KEYS or int(match[1]) >= MOST_PRODUCTS:
            raise InputError("the page does not set this; write it into the job file", key[:60])
        rows += [{} for _ in range(int(match[1]) + 1 - len(rows))]
        rows[int(match[1])].pop(match[2], None)
        if value := asked.text(given, key):
            rows[int(match[1])][match[2]] = value
    return [row for row in rows if row]


def rows_of(job: JobFolder) -> list[Mapping[str, Any]]:
    """Rows of the job's products as they stand in its file."""
    rows = job.draft.values.get("product")
    return [row for row in rows if isinstance(row, dict)] if isinstance(rows, list) else []
