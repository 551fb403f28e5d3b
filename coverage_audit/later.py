"""Libraries that another library imports but does not use here: read when they are first asked for something."""

from __future__ import annotations

import sys
from contextlib import contextmanager
from importlib import import_module
from types import ModuleType
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator


class _Later(ModuleType):
    """Stands for a module until something of it is asked for."""

    def __getattr__(self, name: str) -> object:
        if sys.modules.get(self.__name__) is self:
            del sys.modules[self.__name__]
        return getattr(import_module(self.__name__), name)


@contextmanager
def later(*names: str) -> Iterator[None]:
    """Within it, ``import NAME`` of these modules reads nothing yet; imports after it are as ever."""
    held = {name: _Later(name) for name in names if name not in sys.modules}
    sys.modules.update(held)
    try:
        yield
    finally:
        for name, one in held.items():
            if sys.modules.get(name) is one:
                del sys.modules[name]
