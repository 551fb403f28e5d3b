"""Writing output files whole or not at all."""

from __future__ import annotations

import os
from contextlib import contextmanager, suppress
from typing import TYPE_CHECKING

from .errors import InputError

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator, Mapping
    from pathlib import Path


def check_folder(folder: Path) -> None:
    """Raise before any work is done when *folder* cannot become an output folder.

    Raises
    ------
    InputError
        It, or a folder above it, is a file, or may not be written to.
    """
    with _as_input_error(folder):
        nearest = next(path for path in (folder, *folder.absolute().parents) if path.exists())
        if not nearest.is_dir():
            raise InputError(
                f"{nearest.name} is a file, so there can be no such output folder; choose another", str(folder)
            )
        if not os.access(nearest, os.W_OK | os.X_OK):
            raise InputError(
                "this output folder may not be written to; choose another or change its permissions", str(folder)
            )


def write_all(folder: Path, contents: Mapping[str, str | bytes], private: Collection[str] = ()) -> None:
    """Write several files into *folder*, all or none.

    Everything first goes to a temporary file beside its target; only when all are safely on
    the disk are they renamed. A failure, or an interruption, in between puts back what was
    there, and folders made for this call are removed again.

    Parameters
    ----------
    folder : Path
        Made when it is not there, with the folders above it.
    contents : mapping of str to str or bytes
        File name to content (text is written as UTF-8, line ends as they are).
    private : collection of str
        Names of files that only their owner may read.

    Raises
    ------
    InputError
        Not writable, disk full, a target is a folder: with the reason.
    """
    for name in contents:
        if (folder / name).is_dir():
            raise InputError("a folder stands where this file belongs; move it away", str(folder / name))
    made = [path for path in (folder, *folder.absolute().parents) if not path.exists()]
    parts = {folder / name: folder / f".{name}.{os.getpid()}.part" for name in contents}
    with _as_input_error(folder):
        try:
            folder.mkdir(parents=True, exist_ok=True)
            for target, part in parts.items():
                _write_through(part, contents[target.name], 0o600 if target.name in private else 0o666)
            _rename_all(parts)
        except BaseException:
            for part in parts.values():
                part.unlink(missing_ok=True)
            for path in made:
                with suppress(OSError):
                    path.rmdir()
            raise


def _write_through(path: Path, content: str | bytes, mode: int) -> None:
    """Write one file down to the disk, so that a full disk shows now and not after the rename."""
    with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, mode), "wb") as file:
        file.write(content.encode() if isinstance(content, str) else content)
        file.flush()
        os.fsync(file.fileno())


def _rename_all(parts: Mapping[Path, Path]) -> None:
    """Rename every temporary file to its target; on failure put the old targets back."""
    olds = {target: target.with_name(f"{part.name}.old") for target, part in parts.items()}
    done: list[Path] = []
    try:
        for target, part in parts.items():
            done.append(target)
            if target.exists():
                target.replace(olds[target])
            part.replace(target)
    except BaseException:
        for target in done:
            if olds[target].exists():
                olds[target].replace(target)
            elif not parts[target].exists():
                target.unlink(missing_ok=True)
        raise
    for old in olds.values():
        old.unlink(missing_ok=True)


@contextmanager
def _as_input_error(folder: Path) -> Iterator[None]:
    """Turn the system's refusal into a message for the person."""
    try:
        yield
    except OSError as error:
        raise InputError(
            f"the output cannot be written ({error.strerror or error}); free some space or choose another folder",
            str(folder),
        ) from error
