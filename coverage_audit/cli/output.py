"""The output folder of a command: looked at before any work, and written to at its end."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

from coverage_audit.files.mark import file_sha256
from coverage_audit.files.whole_sets import Permit, check_folder, write_all

if TYPE_CHECKING:
    import argparse
    from collections.abc import Collection, Mapping

    from coverage_audit.jobs.job import Job


def add_replace(commands: argparse._SubParsersAction[Any]) -> None:
    """Add ``--replace`` to every command that writes a set of papers."""
    for name in ("check", "demo", "touchup", "compare", "proof", "record", "season"):
        commands.choices[name].add_argument(
            "--replace",
            action="store_true",
            help="also replace files in the folder that this program did not write, or that were changed since; "
            "never a file the work is made from",
        )


def start(options: argparse.Namespace, names: Collection[str]) -> None:
    """Refuse before any work a folder that cannot take files of these *names*; note the files that were given."""
    given = [value for one in vars(options).values() for value in (one if isinstance(one, (list, tuple)) else (one,))]
    options.inputs = set()
    for path in (Path(value) for value in given if isinstance(value, (str, Path))):
        with suppress(OSError, ValueError):  # no file, or none that can be read: told by who reads it
            if path.is_file() and path.parent.samefile(options.output):
                options.inputs.add(file_sha256(path))
    check_folder(options.output, names, Permit(options.inputs, options.replace))


def note(options: argparse.Namespace, job: Job) -> None:
    """Note the files of *job* as ones that are never replaced."""
    options.inputs |= {sha256 for _, sha256 in job.sources}


def write(options: argparse.Namespace, papers: Mapping[str, str | bytes], **how: Any) -> None:  # noqa: ANN401 - of write_all
    """Write the papers; from then on an interruption says that they are there."""
    write_all(options.output, papers, permit=Permit(options.inputs, options.replace), **how)
    options.written = True
