"""[proof] of the job file: its keys, and the settings made of them."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

from .errors import InputError
from .model_proof import ProofSettings

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

MOST_BRIDGED = 0.05
"""No proof may rest on more bridged ground than this, whatever the job file says. [1]"""

_PERCENT = re.compile(r"([0-9]+(?:\.[0-9]+)?)\s*%")


def _text(value: object, place: str) -> str:
    if not isinstance(value, str) or len(value) > 2000:
        raise InputError("text of at most 2000 characters in quotes is wanted", place)
    return value


def _share(value: object, place: str) -> float:
    match = _PERCENT.fullmatch(value.strip()) if isinstance(value, str) else None
    if match is None or float(match[1]) / 100 > MOST_BRIDGED:
        raise InputError(f'write it as "1 %", at most {100 * MOST_BRIDGED:g} %', place)
    return float(match[1]) / 100


TEXTS = (
    *("field_name", "crop_name", "hay_leaving_farm", "feeding", "manure_compost"),
    *("applicator", "certificate", "location"),
)

PROOF: dict[str, Callable[[object, str], Any]] = {**dict.fromkeys(TEXTS, _text), "max_bridged": _share}
"""Every key of [proof]."""


def proof_settings(values: Mapping[str, Any] | None) -> ProofSettings:
    """Settings of the checked table."""
    given = dict(values or {})
    share = {"max_bridged_share": given.pop("max_bridged")} if "max_bridged" in given else {}
    return ProofSettings(**given, **share)
