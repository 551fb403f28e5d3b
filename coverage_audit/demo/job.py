"""Files of the built-in job, as a person would have them. tests/make_demo.py makes them from the simulator."""

from __future__ import annotations

import gzip
from importlib import resources

FILES = ("job.toml", "track.gpx", "boom.csv", "boundary.geojson", "pond.geojson")
PACKED = ".gz"


def demo_files() -> dict[str, bytes]:
    """Content of every file of the built-in job, by name."""
    return {name: shipped(name) for name in FILES}


def shipped(name: str) -> bytes:
    """One shipped file, unpacked where it ships packed."""
    folder = resources.files(__package__) / "files"
    packed = folder / f"{name}{PACKED}"
    return gzip.decompress(packed.read_bytes()) if packed.is_file() else (folder / name).read_bytes()
