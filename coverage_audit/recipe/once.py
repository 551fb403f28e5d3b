"""What every paper asks of one audit is worked out once and kept with it."""

from __future__ import annotations

from functools import wraps
from typing import TYPE_CHECKING, Any, ParamSpec, TypeVar

if TYPE_CHECKING:
    from collections.abc import Callable

Given = ParamSpec("Given")
Made = TypeVar("Made")


def once(work: Callable[Given, Made]) -> Callable[Given, Made]:
    """*work* on an audit (and a plan), done once for each: an audit never changes, and neither may what is kept.

    It is kept beside the audit's fields, as ``functools.cached_property`` does it, so it goes when the audit goes.
    """
    name = f"_{work.__module__}.{work.__qualname__}"

    @wraps(work)
    def kept(*given: Any, **named: Any) -> Made:  # noqa: ANN401 - as *work* takes them
        audit, *rest = (one for one in (*given, *named.values()) if one is not None)
        found: list[tuple[list[object], Made]] = vars(audit).setdefault(name, [])
        for others, made in found:
            if [id(one) for one in others] == [id(one) for one in rest]:
                return made
        made = work(*given, **named)
        found.append((rest, made))
        return made

    return kept
