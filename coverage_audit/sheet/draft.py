"""A job file that may still lack what an audit needs: read, told what is open, and changed key by key.

What a person wrote into the file by hand, comments too, stays as it was.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import tomlkit
from tomlkit.exceptions import TOMLKitError

from coverage_audit.errors import InputError
from coverage_audit.jobs.keys import TABLES

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

JOB_FILE = "job.toml"
OPEN = {"logs": "track.files", "field": "field.boundary", "machine": "boom.width", "boom": "boom.intervals"}
"""Parts of the sheet that an audit cannot do without, in the sheet's order, and the key that each fills."""
DRIVEN = "driven"
"""A boundary of this word is the edge that the job itself drove."""

WIDTHS = ("width", "sections", "nozzles")


@dataclass(frozen=True)
class Draft:
    """The text of a job file and what it says, table by table; nothing in it is checked yet.

    ``kept``: keys such as "boom.width" that count where the job does not say them, since its machine does.
    """

    text: str
    values: Mapping[str, Any]
    kept: Mapping[str, Any] = dataclasses.field(default_factory=dict)

    def get(self, key: str, otherwise: Any = None) -> Any:  # noqa: ANN401 - any TOML value
        """Value of a key such as "boom.width", the job's own or that of its machine."""
        own = self.own(key)
        return own if own is not None else self.kept.get(key, otherwise)

    def own(self, key: str) -> Any:  # noqa: ANN401 - any TOML value
        """Value of a key in the job itself; None without one."""
        table, _, name = key.partition(".")
        inside = self.values.get(table)
        return inside.get(name) if isinstance(inside, dict) else None

    @property
    def is_driven(self) -> bool:
        """Whether the field is the edge that the job drove."""
        return bool(self.own("field.boundary") == DRIVEN)

    @property
    def lacks(self) -> tuple[str, ...]:
        """Parts of the sheet that are still open, in order."""
        return tuple(part for part, key in OPEN.items() if not self._has(key))

    def _has(self, key: str) -> bool:
        if key == "boom.width":
            return any(self.get(f"boom.{name}") for name in WIDTHS)
        return bool(self.get(key))


def draft_of(text: str, place: str = JOB_FILE) -> Draft:
    """Read the *text* of a job file.

    Raises
    ------
    InputError
        It is not TOML.
    """
    try:
        values = tomlkit.parse(text).unwrap()
    except TOMLKitError as error:
        raise InputError(f"this is not TOML ({error}); correct it there", place) from error
    return Draft(text, values)


def with_keys(draft: Draft, changes: Mapping[str, Any]) -> Draft:
    """Change the job file key by key; None takes a key out.

    Raises
    ------
    InputError
        A value that the key cannot have, with what to write instead; the place is the key.
    """
    document = tomlkit.parse(draft.text)
    for key, value in changes.items():
        table, _, name = key.partition(".")
        if value is None:
            _without(document, table, name)
            continue
        if table not in TABLES or name not in TABLES[table].keys:
            raise InputError("there is no such key in a job file", key)
        if table not in document:
            document[table] = tomlkit.table()
        checked_value(key, value)
        document[table][name] = _rows(value) if isinstance(value, list) else value
    return dataclasses.replace(draft_of(tomlkit.dumps(document)), kept=draft.kept)


def checked_value(key: str, value: object) -> None:
    """Raise when *value* is not one that the job file's *key* can have."""
    table, _, name = key.partition(".")
    TABLES[table].keys[name](value, key)


def with_products(draft: Draft, products: Sequence[Mapping[str, Any]]) -> Draft:
    """Put *products* in the place of every ``[[product]]`` of the job; one that is as it was keeps its comments.

    Raises
    ------
    InputError
        A value that a product's key cannot have.
    """
    document = tomlkit.parse(draft.text)
    there = list(document.pop("product", ()))
    rows = tomlkit.aot()
    for product in products:
        same = next((one for one in there if one.unwrap() == product), None)
        row = tomlkit.table() if same is None else same
        for name, value in product.items() if same is None else ():
            TABLES["product"].keys[name](value, f"product.{len(rows)}.{name}")
            row[name] = value
        rows.append(row)
    if products:
        document["product"] = rows
    return dataclasses.replace(draft_of(tomlkit.dumps(document)), kept=draft.kept)


def _rows(values: list[Any]) -> Any:  # noqa: ANN401 - the library's own kind
    """A list within its table, rows of keys as tables within the line: nothing behind it falls into another table."""
    found = tomlkit.array()
    found.multiline(multiline=len(values) > 1)
    for value in values:
        row = value
        if isinstance(value, dict):
            row = tomlkit.inline_table()
            row.update(value)
        found.append(row)
    return found


def _without(document: tomlkit.TOMLDocument, table: str, name: str) -> None:
    inside = document.get(table)
    if isinstance(inside, dict):
        inside.pop(name, None)
