"""Which program made an audit: its own text and the libraries that its figures and papers depend on."""

from __future__ import annotations

import hashlib
import platform
from functools import cache
from importlib import resources
from importlib.metadata import version
from typing import TYPE_CHECKING

from coverage_audit import __version__

if TYPE_CHECKING:
    from collections.abc import Iterator
    from importlib.resources.abc import Traversable

LIBRARIES = ("numpy", "scipy", "shapely", "pyproj", "gpxpy", "geopandas", "folium", "jinja2", "pillow")


@cache
def program_stamp() -> str:
    """Hash over the program's version and text, and the versions of Python and of ``LIBRARIES``."""
    told = hashlib.sha256(f"{__version__} {platform.python_version()}".encode())
    for name in LIBRARIES:
        told.update(f" {name} {version(name)}".encode())
    for file in _texts(resources.files("coverage_audit")):
        told.update(file.read_bytes())
    return told.hexdigest()


def _texts(folder: Traversable) -> Iterator[Traversable]:
    """Every file of the package that is no product of running it, in order of its name."""
    for one in sorted(folder.iterdir(), key=lambda entry: entry.name):
        if one.is_dir():
            if one.name != "__pycache__":
                yield from _texts(one)
        elif not one.name.endswith((".pyc", ".pyo")):
            yield one
