"""[rate] and [[product]] of a job file as settings: keys that must fit one another."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, Any

from coverage_audit.errors import InputError

from .keys import TABLES
from .settings import NozzleSettings, ProductSettings, RateSettings, TankSettings

if TYPE_CHECKING:
    from collections.abc import Sequence

    from .places import Places
    from .settings import BoomSettings


def rate_settings(values: dict[str, Any], boom: BoomSettings, places: Places) -> RateSettings:
    """Rate figures of the checked [rate] table; the nozzle count may stand here or under [boom].

    Raises
    ------
    InputError
        Two counts of nozzles, or loads that do not fit the tank.
    """
    nozzles = None
    if "nozzles" in values:
        given = values["nozzles"]
        count = given.get("count", boom.nozzle_count)
        if boom.nozzle_count not in (None, count):
            raise InputError(
                f"the boom has {boom.nozzle_count} nozzles by boom.nozzles.count but {count} here; correct one of them",
                places["rate.nozzles.count"],
            )
        nozzles = NozzleSettings(given["flow"], given["at"], given.get("pressure"), count)
    return RateSettings(**TABLES["rate"].values(values), nozzles=nozzles, tank=tank_settings(values, places["rate."]))


def tank_settings(values: dict[str, Any], place: str) -> TankSettings | None:
    """Tank, loads and refills of the checked [rate] table; None when nothing is said of them.

    Parameters
    ----------
    place : str
        Where the table stands, ending so that a key can follow.

    Raises
    ------
    InputError
        They do not fit one another.
    """
    tank, loads, refills = (values.get(key) for key in ("tank", "loads", "refills"))
    if tank is None and loads is None:
        if refills is not None:
            raise InputError("refill times need rate.tank or rate.loads beside them", f"{place}refills")
        return None
    if tank is not None and loads and max(loads) > tank * (1 + 1e-9):
        raise InputError(
            f"a load of {max(loads):g} L does not go into a tank of {tank:g} L; correct one of them", f"{place}loads"
        )
    times = tuple(refills or ())
    if any(later <= earlier for earlier, later in pairwise(times)):
        raise InputError("refill times must follow one another; put them in order", f"{place}refills")
    if times and loads and len(times) != len(loads) - 1:
        raise InputError(
            f"{len(loads)} loads have {len(loads) - 1} refills between them, but {len(times)} times are given; "
            "the first load needs none",
            f"{place}refills",
        )
    return TankSettings(tank, tuple(loads or ()), times)


def product_settings(tables: Sequence[dict[str, Any]], place: str) -> tuple[ProductSettings, ...]:
    """Products of the checked [[product]] tables.

    Raises
    ------
    InputError
        A rate by volume beside a limit by weight, or the other way round.
    """
    found = []
    for number, values in enumerate(tables, 1):
        rate = values.get("rate")
        for key in ("max_per_application", "max_per_season"):
            limit = values.get(key)
            if rate is not None and limit is not None and limit.kind != rate.kind:
                raise InputError(
                    f'the rate is given in "{rate.unit}" and this in "{limit.unit}": one is a volume, the other '
                    "a weight; write both in one kind",
                    f"{place}product[{number}].{key}",
                )
        found.append(ProductSettings(**TABLES["product"].values(values)))
    return tuple(found)
