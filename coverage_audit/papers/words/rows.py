"""Names in a row, as a person says them."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence


def in_a_row(names: Sequence[str], last: str = "and") -> str:
    """*names* in a row: "M1", "M1 and M4", "M1, M2 and M4"; *last* stands before the last of several."""
    return f" {last} ".join(part for part in (", ".join(names[:-1]), *names[-1:]) if part)
