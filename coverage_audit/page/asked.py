"""What a request holds, checked: words of the page as JSON, or one file as it is."""

from __future__ import annotations

import json
import math
from typing import TYPE_CHECKING, Any
from urllib.parse import unquote

from coverage_audit.errors import InputError
from coverage_audit.read.source import InputFile, input_file

if TYPE_CHECKING:
    from collections.abc import Mapping

    from starlette.requests import Request

LONGEST_TEXT = 400
"""Most letters of one text that the page sends. [1] A name or a quantity; notes have a line or two."""

FILE_NAME_HEADER = "x-file-name"


async def words(request: Request) -> Mapping[str, Any]:
    """The JSON object that the page sent.

    Raises
    ------
    InputError
        It is none.
    """
    data = b"".join([part async for part in request.stream()])
    try:
        found = json.loads(data, parse_constant=_refused)
    except (ValueError, RecursionError) as error:
        raise InputError("what was sent cannot be read; load the page again", "page") from error
    if not isinstance(found, dict):
        raise InputError("what was sent cannot be read; load the page again", "page")
    return found


async def one_file(request: Request) -> InputFile:
    """The file that was dropped; its name serves to be shown and looked at, never to be opened.

    Raises
    ------
    InputError
        It is empty.
    """
    name = unquote(request.headers.get(FILE_NAME_HEADER, ""))[:LONGEST_TEXT].replace("\\", "/").rpartition("/")[2]
    data = b"".join([part async for part in request.stream()])
    return input_file(name.replace("\0", "") or "file", data)


def text(found: Mapping[str, Any], name: str) -> str:
    """A short text; "" when it was not sent.

    Raises
    ------
    InputError
        Another kind of value, or too long.
    """
    value = found.get(name, "")
    if not isinstance(value, str) or len(value) > LONGEST_TEXT:
        raise InputError("this is no text, or longer than anybody types; shorten it", name)
    return value.strip()


def number(found: Mapping[str, Any], name: str) -> float:
    """A finite number.

    Raises
    ------
    InputError
        It is none.
    """
    value = found.get(name)
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise InputError("a number is missing; load the page again", name)
    return float(value)


def texts(found: Mapping[str, Any], name: str, most: int = 200) -> list[str]:
    """A list of short texts.

    Raises
    ------
    InputError
        Another kind of value, or too many.
    """
    value = found.get(name, [])
    if not isinstance(value, list) or len(value) > most or not all(isinstance(one, str) for one in value):
        raise InputError("this is no list of names; load the page again", name)
    return value


def places(found: Mapping[str, Any], name: str, most: int) -> list[tuple[float, float]]:
    """Places in plane metres, within reach of any field.

    Raises
    ------
    InputError
        Another kind of value, too many, or a place that is far away.
    """
    value = found.get(name, [])
    try:
        pairs = [(float(x), float(y)) for x, y in value]
    except (TypeError, ValueError) as error:
        raise InputError("these are no places; load the page again", name) from error
    if len(pairs) > most:
        raise InputError(f"these are more than {most} corners; leave some out", name)
    if not all(math.hypot(x, y) < FARTHEST_M for x, y in pairs):  # not a number is not near either
        raise InputError("a corner lies far from the drive; take it away", name)
    return pairs


FARTHEST_M = 100_000.0
"""A corner farther from the middle of the drive belongs to no field of it. [m] As the audit refuses it."""


def _refused(_constant: str) -> float:
    raise ValueError("not a number")
