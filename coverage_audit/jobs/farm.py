"""The farm file: what is said once and holds for every job that names it."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from coverage_audit.errors import InputError

from .boom import INTERVAL_SOURCES, boom_settings
from .checks import choice, named, nearest, table, text
from .checks import timezone as timezone_name
from .keys import ACCURACY, BOOM, PRODUCT, RATE
from .places import Places
from .rows import Key, checked, keys
from .settings import FarmUse
from .toml import toml_of

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from coverage_audit.read.source import InputFile, Source

    from .settings import BoomSettings

NO_FARM_FILE = "this is not a farm file; name the farm.toml of the farm's folder"

_MONTH_DAY = re.compile(r"(0[1-9]|1[0-2])-(0[1-9]|[12]\d|3[01])")
_DAYS_OF_MONTH = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)

SAME_THING = (("boom", ("width", "sections", "nozzles")), ("rate", ("flow", "nozzles")))
"""Keys that say one thing in several ways: a job that gives one of them takes none of the others from its farm."""


def month_day(value: object, place: str) -> tuple[int, int]:
    """Month and day, written "01-01"; a day that every year has."""
    found = _MONTH_DAY.fullmatch(text(value, place))
    if found is None or int(found[2]) > _DAYS_OF_MONTH[int(found[1]) - 1]:
        raise InputError(f'"{value}" is no day of every year; write month and day, as in "01-01"', place)
    return int(found[1]), int(found[2])


def _no_file(value: object, place: str) -> str:
    """One of the words that ``boom.intervals`` may hold: a file belongs to one job."""
    return str(choice(*INTERVAL_SOURCES)(value, place))


FARM = keys(
    Key("name", text, "the farm's name, which stands as operator on every paper"),
    Key("timezone", timezone_name, "IANA name of the time zone of dates and times", default="UTC"),
    Key("units", choice("metric", "us"), '"metric" or "us"', default="metric"),
    Key("season_starts", month_day, "month and day on which a season begins", default="01-01"),
)
"""Keys of [farm]."""

MACHINE: dict[str, dict[str, Any]] = {
    "boom": {**BOOM, "intervals": _no_file},
    "accuracy": dict(ACCURACY),
    "rate": {name: RATE[name] for name in ("flow", "nozzles", "tank")},
}
"""Keys of a [machine.NAME], by the table of the job file in which they would stand."""

_PRODUCT = {name: key for name, key in PRODUCT.items() if name != "from"}

_CHECK = table(
    {
        "farm": checked(FARM),
        "machine": named(table({name: table(inside) for name, inside in MACHINE.items()})),
        "product": named(checked(_PRODUCT)),
    }
)


@dataclass(frozen=True)
class Farm:
    """A farm file: ``machines`` and ``products`` hold, by name, tables as they were typed, checked.

    ``timezone`` and ``units`` are "" where the file does not say; ``season_starts`` is (month, day).
    """

    file: InputFile
    name: str
    timezone: str
    units: str
    season_starts: tuple[int, int]
    machines: Mapping[str, Mapping[str, Mapping[str, Any]]]
    products: Mapping[str, Mapping[str, Any]]


def read_farm(source: Source, name: str) -> Farm:
    """Read a farm file.

    Raises
    ------
    InputError
        It cannot be read, or holds a key that is not known or a value that is not right.
    """
    file = source.read(name)
    data = toml_of(file, NO_FARM_FILE)
    found = _CHECK(data, file.name)
    own = found.get("farm", {})
    return Farm(
        file,
        own.get("name", ""),
        own.get("timezone", ""),
        own.get("units", ""),
        own.get("season_starts", (1, 1)),
        data.get("machine", {}),
        data.get("product", {}),
    )


def machine_of(farm: Farm, name: str) -> tuple[BoomSettings, str, float | None]:
    """Boom of a machine of the farm, its word for where the boom state comes from ("": not said), and its error. [m]

    Raises
    ------
    InputError
        The farm has no such machine, or the file does not say how wide its boom is.
    """
    inside = farm.machines[_known(name, farm.machines, "machine", farm, "--machine")]
    place = f"{farm.file.name}, machine.{name}"
    boom = table(MACHINE["boom"])(inside.get("boom", {}), f"{place}.boom")
    accuracy = table(MACHINE["accuracy"])(inside.get("accuracy", {}), f"{place}.accuracy")
    settings = boom_settings({"intervals": "assume", **boom}, Places(f"{place}."))
    return settings, boom.get("intervals", ""), accuracy.get("sigma")


# --- a job of the farm ----------------------------------------------------------------------------


def farm_of(data: Mapping[str, Any], source: Source, job_file: str) -> Farm | None:
    """Farm that a job file (unchecked *data*) names; None when it names none.

    Raises
    ------
    InputError
        There is no such file, or it is not right; or a machine or product is to come from a farm that is not named.
    """
    job = data.get("job")
    job = job if isinstance(job, dict) else {}
    name = job.get("farm")
    if not isinstance(name, str):
        _refuse_without_farm(data, job, job_file)
        return None  # what is no text is refused with the other keys
    if not name.strip() or not source.exists(name, f"{job_file}, job.farm"):
        raise InputError(f'there is no file "{name}" ({source.start}); check the name', f"{job_file}, job.farm")
    return read_farm(source, name)


def _refuse_without_farm(data: Mapping[str, Any], job: Mapping[str, Any], job_file: str) -> None:
    wanted = [f"product[{number}].from" for number, one in enumerate(_tables(data, "product"), 1) if "from" in one]
    for key in ["job.machine"] * ("machine" in job) + wanted:
        if "farm" not in job:
            raise InputError(
                'this needs the farm that it stands in; name its file, as in [job] farm = "../../farm.toml"',
                f"{job_file}, {key}",
            )


def with_farm(data: Mapping[str, Any], farm: Farm, job_file: str) -> tuple[dict[str, Any], FarmUse]:
    """A job file (unchecked *data*) with what its farm says beside it, and what it took from there.

    A key that stands in the job wins, and so does one that says the same thing in another way (``SAME_THING``).

    Raises
    ------
    InputError
        A machine or product that the farm does not have, or no machine where the job does not say how wide it is.
    """
    merged = {name: dict(value) if isinstance(value, dict) else value for name, value in data.items()}
    taken: list[tuple[str, str, str]] = []
    machine = _machine(data, farm, job_file)
    for key, place, value in _offered(farm, machine):
        name, _, inner = key.partition(".")
        own = merged.setdefault(name, {})
        if isinstance(own, dict) and inner not in own and not _said(data, name, inner):
            own[inner] = value
            taken.append((key, f"{farm.file.name}, {place}", _typed(value)))
    products = []
    if isinstance(data.get("product"), list):
        merged["product"] = [
            _with_product(one, number, farm, job_file, taken) for number, one in enumerate(data["product"], 1)
        ]
        products = [one.get("from", "") if isinstance(one, dict) else "" for one in data["product"]]
    return merged, FarmUse(farm.file.name, farm.name, machine, tuple(products), tuple(taken))


def _offered(farm: Farm, machine: str) -> Iterator[tuple[str, str, Any]]:
    """Key of the job file, place in the farm file, and value of all that the farm says of every job of a machine."""
    for key, own, value in (
        ("job.operator", "name", farm.name),
        ("job.timezone", "timezone", farm.timezone),
        ("report.units", "units", farm.units),
    ):
        if value:
            yield key, f"farm.{own}", value
    for name, inside in (farm.machines[machine] if machine else {}).items():
        for key, value in inside.items():
            yield f"{name}.{key}", f"machine.{machine}.{name}.{key}", value


def _said(data: Mapping[str, Any], name: str, inner: str) -> bool:
    """Whether the job itself says in another way what a key of the farm says."""
    own = data.get(name)
    groups = (group for wanted, group in SAME_THING if wanted == name and inner in group)
    return isinstance(own, dict) and any(key in own for group in groups for key in group)


def _machine(data: Mapping[str, Any], farm: Farm, job_file: str) -> str:
    """Name of the job's machine; "" when it says all by itself."""
    job, boom = data.get("job", {}), data.get("boom")
    name, place = job.get("machine"), f"{job_file}, job.machine"
    if isinstance(name, str):
        return _known(name, farm.machines, "machine", farm, place)
    if name is None and farm.machines and not (isinstance(boom, dict) and {"width", "sections", "nozzles"} & {*boom}):
        raise InputError(f"say which machine of {farm.file.name} it was: {', '.join(farm.machines)}", place)
    return ""


def _with_product(one: object, number: int, farm: Farm, job_file: str, taken: list[tuple[str, str, str]]) -> object:
    """A [[product]] with what the farm says of it."""
    if not isinstance(one, dict) or not isinstance(one.get("from"), str):
        return one
    name = _known(one["from"], farm.products, "product", farm, f"{job_file}, product[{number}].from")
    kept = {key: value for key, value in farm.products[name].items() if key not in one}
    for key, value in kept.items():
        taken.append((f"product[{number}].{key}", f"{farm.file.name}, product.{name}.{key}", _typed(value)))
    return {**kept, **one}


def _known(name: str, tables: Mapping[str, Any], kind: str, farm: Farm, place: str) -> str:
    if name in tables:
        return name
    hint = nearest(name, tables) if tables else f"it has none; add [{kind}.{name}] there"
    raise InputError(f'there is no {kind} "{name}" in {farm.file.name}; {hint}', place)


def _tables(data: Mapping[str, Any], name: str) -> list[Mapping[str, Any]]:
    found = data.get(name)
    return [one for one in found if isinstance(one, dict)] if isinstance(found, list) else []


def _typed(value: object) -> str:
    """A value as a person typed it, without the quotes of text."""
    if isinstance(value, dict):
        return ", ".join(f"{key} = {_typed(entry)}" for key, entry in value.items())
    if isinstance(value, list):
        return ", ".join(_typed(entry) for entry in value)
    return str(value).lower() if isinstance(value, bool) else str(value)
