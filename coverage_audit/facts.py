"""Facts as the stages tell them: a code with values, no words. Sentences are made of them in ``papers``."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, init=False)
class Caution:
    """What a person must know before relying on an audit.

    ``code`` says which caution it is and ``values`` what the sentence about it needs: pairs of a name and a
    text, a number or a tuple of them, SI units in the names (``spacing_m``). Such a record can be compared
    and hashed.
    """

    code: str
    values: tuple[tuple[str, Any], ...]

    def __init__(self, code: str, /, **values: Any) -> None:  # noqa: ANN401 - texts, numbers, tuples of them
        object.__setattr__(self, "code", code)
        object.__setattr__(self, "values", tuple(values.items()))
