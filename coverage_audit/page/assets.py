"""What the page loads beside its screens: a fixed table, read once; no name from a request ever opens a file."""

from __future__ import annotations

from functools import cache
from importlib import resources

KINDS = {"js": "text/javascript; charset=utf-8", "css": "text/css; charset=utf-8", "svg": "image/svg+xml"}
NAMES = (
    "page.css",
    "icon.svg",
    "asking.js",
    "home.js",
    "farm.js",
    "sheet.js",
    "paper_map.js",
    "drawing.js",
    "passes.js",
)


@cache
def assets() -> dict[str, tuple[bytes, str]]:
    """Content and kind of every asset, by name."""
    folder = resources.files(__package__) / "assets"
    return {name: ((folder / name).read_bytes(), KINDS[name.rpartition(".")[2]]) for name in NAMES}
