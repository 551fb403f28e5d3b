"""The command: parses arguments and runs what they ask for; the one place that catches and exits.

Exit codes: 0 done; 2 the input is at fault (one line on standard error); 1 a fault of ours.
The rooms that cost time to import are imported where they are used, so that ``--help`` and
mistakes in the arguments answer at once.
"""

from __future__ import annotations

import argparse
import os
import signal
import sys
import threading
import traceback
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, NoReturn

from coverage_audit import __version__
from coverage_audit.errors import InputError
from coverage_audit.files.whole_sets import StoppedAfterWritingError
from coverage_audit.papers.words.safe import REPLACEMENT, printable
from coverage_audit.threads import ONE_THREAD

from .check import add_check
from .compare import add_compare
from .day import add_day
from .demo import add_demo
from .farm import add_farm
from .look import add_look
from .manual import add_manual
from .output import add_replace
from .page import add_page, started_by_person
from .proof import add_proof, joined
from .propose import add_propose
from .receiver import add_receiver
from .record import add_record
from .season import add_season
from .touchup import add_touchup

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

PROGRAM = "coverage-audit"
TRACEBACK_VARIABLE = "COVERAGE_AUDIT_TRACEBACK"
MESSAGE_HEAD, MESSAGE_TAIL = 500, 300
"""Characters kept of a very long message: what is wrong stands first, what to do stands last."""


NOTHING_ASKED = (
    "say what to do: page, check, demo, touchup, propose, compare, look, receiver, proof, proof keys, proof check, "
    "record, farm, field, day, season or manual (see --help)"
)
STARTED_ALONE = f"The page opens in your web browser. For the commands: {PROGRAM} --help. Ctrl-C ends the page."


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command.

    Parameters
    ----------
    arguments : sequence of str, optional
        Without the program's name; default: those of the process.

    Returns
    -------
    int
        Exit code: 0, 1 or 2.
    """
    os.environ.update(ONE_THREAD)  # before the commands below import what reads it
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            # a name from a file must not stop the run because the terminal lacks a letter
            stream.reconfigure(errors="backslashreplace")
    options = argparse.Namespace(written=False, unwritten="nothing was written")
    try:
        with _terminated_like_interrupted():
            _parser().parse_args(_asked(arguments), options)
            if "run" not in options:
                raise InputError(NOTHING_ASKED)  # noqa: TRY301 - one way out for all
            return int(options.run(options) or 0)
    except InputError as error:
        return _fail(2, str(error))
    except KeyboardInterrupt as stopped:
        written = options.written or isinstance(stopped, StoppedAfterWritingError)
        told = f"all was written to {options.output} already" if written else options.unwritten
        return _fail(2, f"stopped; {told}")
    except BrokenPipeError:
        # whoever reads our output has read enough; keep the interpreter from complaining at exit
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    except Exception as error:  # noqa: BLE001 - the last door before the person
        if os.environ.get(TRACEBACK_VARIABLE) == "1":
            traceback.print_exc()
        hint = f"set {TRACEBACK_VARIABLE}=1 to see where, and report it"
        return _fail(1, f"a fault of this program, not of the input ({type(error).__name__}: {error}); {hint}")
    return 0


# --- arguments --------------------------------------------------------------------------------


class _Parser(argparse.ArgumentParser):
    """Argument parser whose complaints take one line, like every other."""

    def parse_known_args(self, args: Any = None, namespace: Any = None) -> Any:  # noqa: ANN401 - as argparse has it
        return super().parse_known_args(joined(sys.argv[1:] if args is None else args), namespace)

    def error(self, message: str) -> NoReturn:
        raise InputError(f"{message}; see {self.prog} --help", "arguments")


def _parser() -> argparse.ArgumentParser:
    """All commands and options."""
    parser = _Parser(PROGRAM, description="Audit one finished spray job.", allow_abbrev=False)
    parser.add_argument("--version", action="version", version=f"{PROGRAM} {__version__}")
    commands = parser.add_subparsers(title="commands")
    for add in (
        add_check,
        add_demo,
        add_propose,
        add_compare,
        add_look,
        add_receiver,
        add_touchup,
        add_proof,
        add_record,
        add_farm,
        add_day,
        add_page,
        add_season,
        add_manual,
    ):
        add(commands)
    add_replace(commands)
    return parser


def _asked(arguments: Sequence[str] | None) -> Sequence[str]:
    """The arguments; the page where there are none and a person started it, at a terminal or by a double click."""
    given = sys.argv[1:] if arguments is None else arguments
    if given or not started_by_person():
        return given
    print(STARTED_ALONE, file=sys.stderr, flush=True)  # noqa: T201 - the person's line
    return ["page"]


# --- what the person sees ---------------------------------------------------------------------


def _fail(code: int, message: str) -> int:
    """Say on standard error, in exactly one line, what went wrong."""
    line = " ".join(printable(" ".join(message.split())).replace(REPLACEMENT, " ").split())
    if len(line) > MESSAGE_HEAD + MESSAGE_TAIL:
        line = f"{line[:MESSAGE_HEAD]} ... {line[-MESSAGE_TAIL:]}"
    print(f"{PROGRAM}: {line}", file=sys.stderr)  # noqa: T201
    return code


@contextmanager
def _terminated_like_interrupted() -> Iterator[None]:
    """Let SIGTERM unwind like Ctrl-C, so that temporary files are removed."""
    if threading.current_thread() is not threading.main_thread():
        yield  # signals belong to the main thread
        return

    def stop(_signal: int, _frame: object) -> None:
        raise KeyboardInterrupt

    before = signal.signal(signal.SIGTERM, stop)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)
