"""Names of files and folders made from what a person typed: short, plain, and allowed on every system."""

from __future__ import annotations

import re
import unicodedata

LONGEST_NAME = 40
"""Most letters of a name. [1] Windows still counts a path's letters, 260 in all."""

_RESERVED = frozenset({"con", "prn", "aux", "nul", *(f"{one}{k}" for one in ("com", "lpt") for k in range(10))})
"""Names of devices on Windows, with any ending (Microsoft, "Naming Files, Paths, and Namespaces"; from memory)."""


def plain_name(text: str, otherwise: str) -> str:
    """*text* in small letters, digits and single dashes; *otherwise* when nothing of that is left."""
    letters = unicodedata.normalize("NFKD", text[: 10 * LONGEST_NAME]).encode("ascii", "ignore").decode().lower()
    name = re.sub(r"[^a-z0-9]+", "-", letters).strip("-")[:LONGEST_NAME].strip("-")
    return name if name and name not in _RESERVED else otherwise


def free_name(wanted: str, taken: set[str]) -> str:
    """*wanted*, or with the first number behind it that no other has."""
    number, name = 1, wanted
    while name in taken:
        number += 1
        name = f"{wanted}-{number}"
    return name
