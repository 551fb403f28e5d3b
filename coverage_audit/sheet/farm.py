"""The farm file as the page needs it: who, units, time zone, and what is kept for the next job."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import tomlkit

from coverage_audit.jobs.farm import read_farm
from coverage_audit.jobs.keys import TABLES, timezone
from coverage_audit.read.packed import Memory

if TYPE_CHECKING:
    from collections.abc import Mapping

FARM_FILE = "farm.toml"
FARM_OF_JOB = f"../../{FARM_FILE}"
"""The farm file as a job file of the farm names it."""


@dataclass(frozen=True)
class Farm:
    """Text of the farm file and what it says; ``machines`` and ``products`` by name, as they were typed."""

    text: str
    name: str
    units: str
    timezone: str
    machines: Mapping[str, Mapping[str, Any]]
    products: Mapping[str, Mapping[str, Any]]

    def machine_keys(self, name: object) -> dict[str, Any]:
        """Keys of a kept machine, such as "boom.width", with their values; none of one that is not kept."""
        machine = self.machines.get(name, {}) if isinstance(name, str) else {}
        return {f"{table}.{key}": value for table, inside in machine.items() for key, value in inside.items()}

    def product_keys(self, row: Mapping[str, Any]) -> dict[str, Any]:
        """A product of a job with what the farm says of it."""
        kept = self.products.get(row.get("from", ""), {}) if isinstance(row.get("from", ""), str) else {}
        return {**kept, **row}


def new_farm(name: str, units: str, zone: str) -> str:
    """Text of a farm file.

    Raises
    ------
    InputError
        Units or time zone that are not known.
    """
    document = tomlkit.document()
    table = tomlkit.table()
    if name:
        table["name"] = name
    table["timezone"] = timezone(zone, "time zone")
    table["units"] = TABLES["report"].keys["units"](units, "units")
    document["farm"] = table
    return tomlkit.dumps(document)


def farm_of(text: str) -> Farm:
    """Read the *text* of a farm file.

    Raises
    ------
    InputError
        It cannot be read, or holds a key that is not known or a value that is not right.
    """
    found = read_farm(Memory({FARM_FILE: text.encode()}), FARM_FILE)
    return Farm(text, found.name, found.units or "metric", found.timezone or "UTC", found.machines, found.products)


def with_machine(farm: Farm, name: str, keys: Mapping[str, Any]) -> str:
    """Text of the farm file with a machine kept under *name*; *keys* such as "boom.width" or "accuracy.steering"."""
    document = tomlkit.parse(farm.text)
    machines = document.setdefault("machine", tomlkit.table(is_super_table=True))
    machine = machines.setdefault(name, tomlkit.table())
    for key, value in keys.items():
        table, _, inner = key.partition(".")
        if value is None:
            if table in machine:
                machine[table].pop(inner, None)
        else:
            machine.setdefault(table, tomlkit.inline_table())[inner] = value
    return tomlkit.dumps(document)


def with_product(farm: Farm, name: str, keys: Mapping[str, Any]) -> str:
    """Text of the farm file with a product kept under *name*."""
    document = tomlkit.parse(farm.text)
    products = document.setdefault("product", tomlkit.table(is_super_table=True))
    products[name] = tomlkit.table()
    products[name].update(keys)
    return tomlkit.dumps(document)
