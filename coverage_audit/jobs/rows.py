"""What one key of a job file is: its check, where its value goes, what holds without it, and words for people."""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from typing import TYPE_CHECKING, Any

from .checks import list_of, table

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from .checks import Check

PAIR = "*"
"""Setting of a key whose check itself tells the field of the settings, as (field, value)."""


@dataclass(frozen=True)
class Key:
    """One key of a table of the job file; called, it checks a value.

    ``words``: what it says, on one line. ``setting``: the field of the table's settings that takes the checked
    value; "" where the reading works it out with others. ``unit``: what the value is in, and its default is
    shown in. ``default``: what holds without the key, as it may be written or, where that depends on other
    things, in words; left out, it is that of the settings. ``inside``: the keys of a key that is itself a table.
    """

    name: str
    check: Check
    words: str
    setting: str = ""
    unit: str = ""
    default: str = ""
    required: bool = False
    inside: Mapping[str, Key] = field(default_factory=dict)

    def __call__(self, value: object, place: str) -> Any:  # noqa: ANN401 - whatever the key is for
        """Checked value in base units."""
        return self.check(value, place)


@dataclass(frozen=True)
class Table:
    """A table of the job file: its keys, and the settings whose fields they fill.

    ``several``: it may stand more than once, as [[product]] does.
    """

    keys: Mapping[str, Key]
    settings: type
    several: bool = False

    @property
    def check(self) -> Check:
        """Check of the whole table."""
        one = checked(self.keys)
        return list_of(one) if self.several else one

    def values(self, checked_values: Mapping[str, Any]) -> dict[str, Any]:
        """Fields of the settings that checked keys fill as they are."""
        named = [(self.keys[key].setting, value) for key, value in checked_values.items()]
        return dict(value if setting == PAIR else (setting, value) for setting, value in named if setting)


@dataclass(frozen=True)
class KeyRow:
    """One key as the manual tells it; ``key`` of a key inside another is "nozzles.count"."""

    table: str
    key: str
    default: str
    unit: str
    words: str
    required: bool


def keys(*several: Key) -> dict[str, Key]:
    """Keys by their name, in this order."""
    return {one.name: one for one in several}


def checked(inside: Mapping[str, Key]) -> Check:
    """Check of a table with these keys and no other."""
    return table(inside, required=tuple(name for name, key in inside.items() if key.required))


def table_rows(name: str, one: Table) -> Iterator[KeyRow]:
    """Every key of a table, keys inside others behind them."""
    stated = {entry.name: entry.default for entry in fields(one.settings)}
    for key in one.keys.values():
        default = key.default or shown(stated.get(key.setting), key.unit)
        yield KeyRow(name, key.name, default, key.unit, key.words, key.required)
        for inner in key.inside.values():
            inside = f"{key.name}.{inner.name}"
            yield KeyRow(name, inside, inner.default, inner.unit, inner.words, inner.required)


def shown(value: object, unit: str) -> str:
    """Return the default of a setting as a person may write it; "" where there is none."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, float):
        return f"{value:g} {unit}"
    return str(value) if isinstance(value, int | str) else ""
