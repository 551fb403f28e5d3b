"""What several papers ask of one audit is worked out once and kept with it."""

from __future__ import annotations

from functools import wraps
from typing import TYPE_CHECKING, TypeVar

if TYPE_CHECKING:
    from collections.abc import Callable

    from .result import Audit

Made = TypeVar("Made")


def once(work: Callable[[Audit], Made]) -> Callable[[Audit], Made]:
    """*work* on an audit, done once for each: an audit never changes, and neither may what is kept.

    It is kept beside the audit's fields, as ``functools.cached_property`` does it, so it goes when the audit goes.
    """
    name = f"_{work.__module__}.{work.__qualname__}"

    @wraps(work)
    def kept(audit: Audit) -> Made:
        held = vars(audit)
        if name not in held:
            held[name] = work(audit)
        made: Made = held[name]
        return made

    return kept
