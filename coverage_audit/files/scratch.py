"""Files that are in memory, laid out on the disk for as long as they are read."""

from __future__ import annotations

import tempfile
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping


@contextmanager
def laid_out(contents: Mapping[str, str | bytes]) -> Iterator[Path]:
    """Folder of its own that holds these files, name to content, and goes again."""
    with tempfile.TemporaryDirectory() as name:
        for file, content in contents.items():
            (Path(name) / file).write_bytes(content.encode() if isinstance(content, str) else content)
        yield Path(name)
