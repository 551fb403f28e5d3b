"""[record] of the job file: codes as typed, checked for their form alone."""

from __future__ import annotations

import re

from coverage_audit.errors import InputError

from .checks import text

TYPES_OF_USE = ("area", "closed space", "seed")
"""Treatment of an area, of a closed space, or of seed and other propagating material ((EU) 2023/564, from memory)."""

EPPO = re.compile(r"[A-Z]{5}|[0-9][A-Z]{4,5}")
"""A plant has five letters (EPPO, General overview of the codes); a genus or a family begins with a digit."""

BBCH = re.compile(r"[0-9]{2,3}(?:-[0-9]{2,3})?")
"""Two digits, three in the extended scale of some crops, or a span of stages (BBCH monograph, from memory)."""


def eppo_code(value: object, place: str) -> str:
    """EPPO code of a crop."""
    code = text(value, place)
    if not EPPO.fullmatch(code):
        raise InputError(f'"{code}" is not of the form of an EPPO code: five capital letters such as "LOLPE"', place)
    return code


def bbch(value: object, place: str) -> str:
    """Growth stage, or a span of them."""
    stage = text(value, place)
    if not BBCH.fullmatch(stage):
        raise InputError(f'"{stage}" is not of the form of a growth stage: write "39", or "37-39"', place)
    return stage
