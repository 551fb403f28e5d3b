"""Writing output files: a whole set or nothing, over nobody else's files.

A set is exchanged in steps that can each be undone: new files and copies of the old ones are put
beside their targets, the mark (:mod:`.mark`) is given the way back, the files are
renamed, and the mark is replaced by one without a way back. That last rename is the moment at
which the new set stands. A run that was killed before it is undone by the next run into the folder.
"""

from __future__ import annotations

import os
import stat
import sys
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING

from coverage_audit.errors import InputError

from .lock import LOCK, only_writer
from .mark import MARK, OLD, PART, PREFIX, Mark, PaperSet, Undo, file_sha256, mark_text, read_mark, sha256_of

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator, Mapping, Sequence
    from pathlib import Path


class StoppedAfterWritingError(KeyboardInterrupt):
    """An interruption that came when the new files stood already; the argument is their folder."""


@dataclass(frozen=True)
class Permit:
    """Which files may be replaced.

    ``inputs`` are SHA-256 of files that the work was made from: none of them is ever replaced.
    ``replace`` says that files which are not this program's own may be.
    """

    inputs: Collection[str] = ()
    replace: bool = False


def check_folder(folder: Path, names: Collection[str] = (), permit: Permit | None = None) -> None:
    """Raise before any work is done when *folder* cannot become an output folder for files of these *names*.

    What a killed run left half-written in it is put right.

    Raises
    ------
    InputError
        It, or a folder above it, is a file, or may not be written to, or holds files that are not to be replaced.
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
        if folder.is_dir():
            settle(folder)
            _refuse_strangers(folder, names, read_mark(folder), permit or Permit())


def settle(folder: Path) -> None:
    """Put right what a killed run left in *folder*: the old set whole, or the new one, and nothing beside it.

    Raises
    ------
    InputError
        Another run is at work there, or the folder may not be written to.
    """
    with _as_input_error(folder):
        if folder.is_dir() and (read_mark(folder).undo or _leftovers(folder)):
            with only_writer(folder):
                _settle(folder)


def write_all(
    folder: Path,
    contents: Mapping[str, str | bytes],
    *,
    kind: str = "",
    job: str = "",
    beside: bool = False,
    private: Collection[str] = (),
    loose: Collection[str] = (),
    permit: Permit | None = None,
) -> None:
    """Write several files into *folder*, all or none, in place of the files of the same kind from earlier runs.

    A failure, or an interruption, puts back what was there, and folders made for this call are
    removed again.

    Parameters
    ----------
    folder : Path
        Made when it is not there, with the folders above it.
    contents : mapping of str to str or bytes
        File name to content (text is written as UTF-8, line ends as they are).
    kind : str
        Kind of the set. Without one all files are loose.
    job : str
        Which job the set tells of.
    beside : bool
        Whether earlier files of this kind stay when they tell of the same job.
    private : collection of str
        Names of files that only their owner may read.
    loose : collection of str
        Names of files that are the person's own from now on: no later run replaces or removes them.
    permit : Permit, optional
        Which files may be replaced; by default only this program's own, unchanged.

    Raises
    ------
    InputError
        Not writable, disk full, a target is a folder or somebody else's file: with the reason.
    StoppedAfterWritingError
        Interrupted when all was written.
    """
    permit, stands = permit or Permit(), False
    with _as_input_error(folder):
        made = [path for path in (folder, *folder.absolute().parents) if not path.exists()]
        try:
            folder.mkdir(parents=True, exist_ok=True)
            with only_writer(folder):
                _settle(folder)
                before = read_mark(folder)
                _refuse_strangers(folder, contents, before, permit, contents)
                own = {name: sha256_of(contents[name]) for name in contents if kind and name not in loose}
                after = _mark_after(before, contents, kind, PaperSet(job, own), beside=beside)
                gone = _gone(folder, before, after, {*contents}, permit)
                _exchange(folder, _Exchange(contents, gone, private, before, after))
                stands = True
        except BaseException as error:
            if stands and isinstance(error, KeyboardInterrupt):
                raise StoppedAfterWritingError(str(folder)) from error
            for path in made:
                with suppress(OSError):  # one that holds something stays
                    path.rmdir()
            raise


def _refuse_strangers(
    folder: Path,
    names: Collection[str],
    mark: Mark,
    permit: Permit,
    contents: Mapping[str, str | bytes] | None = None,
) -> None:
    """Raise when a file of one of these *names* is there and may not be replaced."""
    for name in names:
        target = folder / name
        if target.is_dir():
            raise InputError("a folder stands where this file belongs; move it away", str(target))
        if not target.exists():
            continue
        found = file_sha256(target)
        if found in permit.inputs:
            raise InputError(
                "this file is an input of the work and would be overwritten; choose another folder", str(target)
            )
        same = contents is not None and sha256_of(contents[name]) == found
        if not (same or permit.replace or mark.owns(name, found)):
            raise InputError(
                "this file is there already, and it is not one that this program wrote, or it was changed since; "
                "choose another folder, or add --replace to lose it",
                str(target),
            )


def _mark_after(before: Mark, names: Collection[str], kind: str, written: PaperSet, *, beside: bool) -> Mark:
    """Mark of the folder when files of these *names* stand there, and the set *written* among them."""
    sets = {
        other: PaperSet(one.job, {name: sha256 for name, sha256 in one.files.items() if name not in names})
        for other, one in before.sets.items()
    }
    if kind:
        stay = beside and kind in sets and sets[kind].job == written.job
        sets[kind] = PaperSet(written.job, {**(sets[kind].files if stay else {}), **written.files})
    return Mark({other: one for other, one in sets.items() if one.files})


def _gone(folder: Path, before: Mark, after: Mark, names: Collection[str], permit: Permit) -> list[str]:
    """Papers of earlier runs that have no place any more, unless they are inputs or somebody has changed them."""
    kept = {name for one in after.sets.values() for name in one.files}.union(names)
    earlier = {name: sha256 for one in before.sets.values() for name, sha256 in one.files.items()}
    return [
        name
        for name, sha256 in earlier.items()
        if name not in kept
        and sha256 not in permit.inputs
        and (folder / name).is_file()
        and file_sha256(folder / name) == sha256
    ]


# --- the exchange ----------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Exchange:
    """What is to stand in the folder, what is to go, and the marks on both sides."""

    contents: Mapping[str, str | bytes]
    gone: Sequence[str]
    private: Collection[str]
    before: Mark
    after: Mark


def _exchange(folder: Path, wanted: _Exchange) -> None:
    """Bring the folder from the one set to the other, or leave it as it was."""
    try:
        parts = _write_parts(folder, wanted)
        _put_mark(folder, Mark(wanted.before.sets, _write_copies(folder, wanted)))
        for name, part in parts.items():
            part.replace(folder / name)
        for name in wanted.gone:
            (folder / name).unlink()
        _put_mark(folder, wanted.after)
        _settle(folder)
    except BaseException as error:
        _settle(folder)
        if not _stands(folder, wanted):
            raise
        if isinstance(error, KeyboardInterrupt):
            raise StoppedAfterWritingError(str(folder)) from error


def _write_parts(folder: Path, wanted: _Exchange) -> dict[str, Path]:
    """Put the new files beside their targets."""
    parts = {name: folder / f"{PREFIX}{number}{PART}" for number, name in enumerate(wanted.contents)}
    for name, part in parts.items():
        _write_through(part, wanted.contents[name], 0o600 if name in wanted.private else 0o666)
    return parts


def _write_copies(folder: Path, wanted: _Exchange) -> Undo:
    """Put copies of the old files beside them: so no file is ever missing while it is replaced."""
    fresh = {name: sha256_of(content) for name, content in wanted.contents.items() if not (folder / name).exists()}
    old = [*(name for name in wanted.contents if name not in fresh), *wanted.gone]
    copies = {name: f"{PREFIX}{number}{OLD}" for number, name in enumerate(old)}
    for name, copy in copies.items():
        mode = stat.S_IMODE((folder / name).stat().st_mode) | stat.S_IWUSR  # Windows removes no read-only file
        _write_through(folder / copy, (folder / name).read_bytes(), mode)
    return Undo(fresh, copies)


def _stands(folder: Path, wanted: _Exchange) -> bool:
    """Whether the new set is what the folder holds, told by the folder itself."""
    return read_mark(folder) == wanted.after and all(
        (folder / name).is_file() and file_sha256(folder / name) == sha256_of(content)
        for name, content in wanted.contents.items()
    )


def _settle(folder: Path) -> None:
    """Undo an exchange that did not come to its end, and remove what any exchange left behind."""
    mark = read_mark(folder)
    if mark.undo is not None:
        for name, copy in mark.undo.copies.items():
            if (folder / copy).exists():
                (folder / copy).replace(folder / name)
        for name, sha256 in mark.undo.fresh.items():
            if (folder / name).is_file() and file_sha256(folder / name) == sha256:
                (folder / name).unlink()
        _put_mark(folder, Mark(mark.sets))
    for path in _leftovers(folder):
        if path.name != LOCK:
            with suppress(OSError):  # a virus scanner may hold it; the next run removes it
                path.unlink(missing_ok=True)


def _leftovers(folder: Path) -> list[Path]:
    """Files that only a run at work has a use for."""
    found = [path for path in folder.glob(f"{PREFIX}*") if path.suffix in (PART, OLD) or path.name == LOCK]
    return sorted(found)


def _put_mark(folder: Path, mark: Mark) -> None:
    """Replace the mark in one step; a folder that holds nothing of ours has none."""
    if not mark.sets and mark.undo is None:
        (folder / MARK).unlink(missing_ok=True)
    else:
        part = folder / f"{MARK}{PART}"
        _write_through(part, mark_text(mark), 0o666)
        part.replace(folder / MARK)
    if sys.platform != "win32":  # where a folder cannot be opened; elsewhere a power cut must not undo the order
        descriptor = os.open(folder, os.O_RDONLY)
        with suppress(OSError):
            os.fsync(descriptor)
        os.close(descriptor)


def _write_through(path: Path, content: str | bytes, mode: int) -> None:
    """Write one file down to the disk, so that a full disk shows now and not after the rename."""
    with os.fdopen(
        os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC | getattr(os, "O_BINARY", 0), mode), "wb"
    ) as file:
        file.write(content.encode() if isinstance(content, str) else content)
        file.flush()
        os.fsync(file.fileno())


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
