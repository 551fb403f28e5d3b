"""Where a key was given, for messages."""

from __future__ import annotations


class Places:
    """Where a key was given: in a job file ("job.toml, boom.width") or as an option ("--boom")."""

    def __init__(self, prefix: str, options: dict[str, str] | None = None) -> None:
        self.prefix = prefix
        self.options = options or {}

    def __getitem__(self, key: str) -> str:
        return self.options.get(key, self.prefix + key)
