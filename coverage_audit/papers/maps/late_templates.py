"""Templates that the map library makes of every kind of layer when it is imported: compiled when they are first filled.

A report has three of some thirty; the others took a fifth of a second of every start.
"""

from __future__ import annotations

import re
from contextlib import contextmanager
from functools import cached_property
from typing import TYPE_CHECKING, Any

import jinja2

if TYPE_CHECKING:
    from collections.abc import Iterator

_COMPILED = jinja2.Template


_MARKS = re.compile(r"\{[{%#]|\r|\n\Z")  # blocks begin so; line ends are made one kind, and the last is dropped


class _LateTemplate:
    """Stands for a template of the same text, and is it from the first use on."""

    environment_class = jinja2.Environment

    def __init__(self, source: str) -> None:
        self._source = source

    def render(self, *args: object, **kwargs: object) -> str:
        """The text itself, where nothing in it is to be filled: the library takes each layer's whole script for one."""
        if _MARKS.search(self._source):
            return str(self._real.render(*args, **kwargs))
        return self._source

    @cached_property
    def _real(self) -> Any:  # noqa: ANN401 - a template of the kind that the library makes
        kind = type("Template", (_COMPILED,), {"environment_class": type(self).environment_class})
        return kind(self._source)

    def __getattr__(self, name: str) -> object:
        return getattr(self._real, name)


@contextmanager
def templates_put_off() -> Iterator[None]:
    """Within it, a library that is imported makes its templates so."""
    jinja2.Template = _LateTemplate  # type: ignore[misc,assignment]
    try:
        yield
    finally:
        jinja2.Template = _COMPILED  # type: ignore[misc]
