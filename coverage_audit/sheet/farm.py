"""The farm file as the page needs it: who, units, time zone, and the machines that are kept for the next job."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import tomlkit
from tomlkit.exceptions import TOMLKitError

from coverage_audit.errors import InputError
from coverage_audit.jobs.keys import TABLES, timezone

if TYPE_CHECKING:
    from collections.abc import Mapping

FARM_FILE = "farm.toml"
UNITS = ("metric", "us")


@dataclass(frozen=True)
class Farm:
    """Text of the farm file and what it says; ``machines`` and ``products`` by name, with a job file's keys."""

    text: str
    name: str
    units: str
    timezone: str
    machines: Mapping[str, Mapping[str, Any]]
    products: Mapping[str, Mapping[str, Any]]


def new_farm(name: str, units: str, zone: str) -> str:
    """Text of a farm file.

    Raises
    ------
    InputError
        Units or time zone that are not known.
    """
    document = tomlkit.document()
    table = tomlkit.table()
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
        It is not TOML.
    """
    try:
        values = tomlkit.parse(text).unwrap()
    except TOMLKitError as error:
        raise InputError(f"this is not TOML ({error}); correct it there", FARM_FILE) from error
    own = _table(values, "farm")
    return Farm(
        text=text,
        name=str(own.get("name", "")),
        units=own["units"] if own.get("units") in UNITS else "metric",
        timezone=str(own.get("timezone", "UTC")),
        machines={name: one for name, one in _table(values, "machine").items() if isinstance(one, dict)},
        products={name: one for name, one in _table(values, "product").items() if isinstance(one, dict)},
    )


def with_machine(farm: Farm, name: str, keys: Mapping[str, Any]) -> str:
    """Text of the farm file with a machine kept under *name*; *keys* such as "boom.width" or "accuracy.steering"."""
    document = tomlkit.parse(farm.text)
    machines = document.setdefault("machine", tomlkit.table(is_super_table=True))
    machine = machines.setdefault(name, tomlkit.table())
    for key, value in keys.items():
        table, _, inner = key.partition(".")
        inside = machine.setdefault(table, tomlkit.inline_table())
        if value is None:
            inside.pop(inner, None)
        else:
            inside[inner] = value
    return tomlkit.dumps(document)


def machine_keys(machine: Mapping[str, Any]) -> dict[str, Any]:
    """Keys of a kept machine, such as "boom.width", with their values."""
    return {
        f"{table}.{name}": value
        for table, inside in machine.items()
        if isinstance(inside, dict)
        for name, value in inside.items()
    }


def _table(values: Mapping[str, Any], name: str) -> dict[str, Any]:
    found = values.get(name)
    return found if isinstance(found, dict) else {}
