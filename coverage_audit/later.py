"""What another library imports or makes but does not use here: made when it is first asked for something."""

from __future__ import annotations

import sys
import threading
from contextlib import contextmanager
from functools import cache
from importlib import import_module
from types import ModuleType
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

_ONE_AT_A_TIME = threading.Lock()


class _Later(ModuleType):
    """Stands for a module until something of it is asked for other than the types that annotations name."""

    def __init__(self, name: str, named: Sequence[str]) -> None:
        super().__init__(name)
        self._named = frozenset(named)

    def __getattr__(self, name: str) -> object:
        if sys.modules.get(self.__name__) is self:
            if name in self._named:
                return Any
            del sys.modules[self.__name__]
        return getattr(import_module(self.__name__), name)


@contextmanager
def later(*names: str, named: Sequence[str] = ()) -> Iterator[None]:
    """Within it, ``import NAME`` of these modules reads nothing yet; imports after it are as ever.

    *named* are types of theirs that annotations name while they are put off: any will do there.
    """
    held = {name: _Later(name, named) for name in names if name not in sys.modules}
    sys.modules.update(held)
    inside = [
        (vars(sys.modules[name.rpartition(".")[0]]), name.rpartition(".")[2], held[name])
        for name in held
        if "." in name
    ]
    for package, last, one in inside:
        package[last] = one
    try:
        yield
    finally:
        for name, one in held.items():
            if sys.modules.get(name) is one:
                del sys.modules[name]
        for package, last, one in inside:
            if package.get(last) is one:
                del package[last]


@cache
def scipy(part: str) -> Any:  # noqa: ANN401 - SciPy has no types
    """A part of SciPy, imported where it is used: it takes a tenth of a second, and not every job uses it.

    On its way it asks for all that NumPy has; NumPy's builder of Fortran and its tests alone would take half as long.
    """
    import numpy as np  # noqa: F401, PLC0415 - the package that the names below stand in

    with _ONE_AT_A_TIME, later("numpy.f2py", "numpy.testing"):
        return import_module(f"scipy.{part}")
