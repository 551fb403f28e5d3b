"""The command: parses arguments, reads, audits, writes; the only room that catches, prints and exits.

Exit codes: 0 done; 2 the input is at fault (one line on standard error); 1 a fault of ours.
The rooms that cost time to import are imported where they are used, so that ``--help`` and
mistakes in the arguments answer at once.
"""

from __future__ import annotations

import argparse
import os
import signal
import sys
import tempfile
import threading
import traceback
from contextlib import contextmanager
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

from coverage_audit import __version__
from coverage_audit.errors import InputError
from coverage_audit.jobs.accuracy import whole_replicates, with_replicates
from coverage_audit.papers.words.safe import REPLACEMENT, printable
from coverage_audit.read.source import is_there

from .files import StoppedAfterWritingError, check_folder, settle, write_all
from .more import add_commands, compared, looked, proposed_csv
from .output import REPORT_PAPERS, add_replace, note, start, token, where_to_look, write
from .proof import PRIVATE, add_proof, key_files, proof_papers, verified
from .touchup import add_touchup, planned, refuse_lost, told, touchup_papers

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from coverage_audit.jobs.job import Job
    from coverage_audit.recipe.result import Audit
    from coverage_audit.touchup.model import TouchupPlan

    Progress = Callable[[str, float], None]

PROGRAM = "coverage-audit"
TRACEBACK_VARIABLE = "COVERAGE_AUDIT_TRACEBACK"
THREAD_VARIABLES = ("OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "VECLIB_MAXIMUM_THREADS", "OMP_NUM_THREADS")
"""How many threads the linear algebra under NumPy takes, by its makers' names."""
MESSAGE_HEAD, MESSAGE_TAIL = 500, 300
"""Characters kept of a very long message: what is wrong stands first, what to do stands last."""


NOTHING_ASKED = "say what to do: check, demo, touchup, propose, compare, look, keygen, proof or verify (see --help)"


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
    # sums of several threads differ in their last digits with the number of processors, and small ones take longer;
    # the libraries read this when they are first imported, which the commands below do
    os.environ.update(dict.fromkeys(THREAD_VARIABLES, "1"))
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            # a name from a file must not stop the run because the terminal lacks a letter
            stream.reconfigure(errors="backslashreplace")
    options = argparse.Namespace(written=False)
    try:
        with _terminated_like_interrupted():
            _parser().parse_args(arguments, options)
            if "run" not in options:
                raise InputError(NOTHING_ASKED)  # noqa: TRY301 - one way out for all
            return int(options.run(options) or 0)
    except InputError as error:
        return _fail(2, str(error))
    except KeyboardInterrupt as stopped:
        written = options.written or isinstance(stopped, StoppedAfterWritingError)
        return _fail(
            2, f"stopped; {f'all was written to {options.output} already' if written else 'nothing was written'}"
        )
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

    def error(self, message: str) -> NoReturn:
        raise InputError(f"{message}; see {self.prog} --help", "arguments")


def _parser() -> argparse.ArgumentParser:
    """All commands and options."""
    parser = _Parser(PROGRAM, description="Audit one finished spray job.", allow_abbrev=False)
    parser.add_argument("--version", action="version", version=f"{PROGRAM} {__version__}")
    commands = parser.add_subparsers(title="commands")

    check = commands.add_parser("check", help="audit a job", allow_abbrev=False)
    check.set_defaults(run=_check)
    check.add_argument("job", nargs="?", metavar="JOB.toml", help="job file; or give the four options below")
    without = check.add_argument_group("without a job file")
    without.add_argument("--track", action="append", metavar="FILE", help="GPX or NMEA log; may be given several times")
    without.add_argument("--field", metavar="FILE", help="field boundary")
    without.add_argument("--boom", metavar="WIDTH", help='boom width with its unit, such as "9 m"')
    without.add_argument("--intervals", metavar="SOURCE", help="boom CSV file, or: log, segments, marks, assume")
    without.add_argument("--exclude", action="append", metavar="FILE", help="no-spray areas")
    without.add_argument("--antenna-ahead", metavar="LENGTH", help="antenna ahead of the boom line")
    without.add_argument("--date", metavar="YYYY-MM-DD", help="UTC date of the first fix, for a log without dates")
    without.add_argument("--timezone", metavar="NAME", help='time zone of the report, such as "America/Denver"')
    without.add_argument("--units", choices=("metric", "us"), help="units of the report")
    check.add_argument(
        "--replicates",
        type=whole_replicates,
        metavar="N",
        help="carry GPS error through with N draws of the job; 0 turns it off",
    )
    check.add_argument("--rate-grid", action="store_true", help="also write the rate surface for map programs")
    _add_output(check, "folder for the report; needed unless --json is given", None)

    demo = commands.add_parser("demo", help="audit a built-in job whose truth is known", allow_abbrev=False)
    demo.set_defaults(run=_demo)
    _add_output(demo, "folder for the job and its report (default: %(default)s)", Path("coverage-audit-demo"))
    add_commands(commands, {"propose": _propose, "compare": _compare, "look": _look})
    add_touchup(commands, check, _touchup)
    add_proof(commands, {"keygen": _keygen, "proof": _proof, "verify": _verify})
    add_replace(commands)
    return parser


def _add_output(parser: argparse.ArgumentParser, help_text: str, default: Path | None) -> None:
    """Options that every command has."""
    parser.add_argument("-o", "--output", type=Path, metavar="DIR", default=default, help=help_text)
    parser.add_argument("--json", action="store_true", help="print the summary as JSON and nothing else")
    parser.add_argument("--quiet", action="store_true", help="print nothing but errors, show no progress")


def _read(options: argparse.Namespace, progress: Progress) -> Job:
    """Read the job that the arguments name."""
    from coverage_audit.jobs.read import OPTION_KEYS, job_from_options, read_job  # noqa: PLC0415

    names = [option.removeprefix("--").replace("-", "_") for option in OPTION_KEYS]
    given = {name: getattr(options, name) for name in names if getattr(options, name) is not None}
    if options.job is not None:
        if given:
            option = "--" + next(iter(given)).replace("_", "-")
            raise InputError(f"{option} cannot stand beside a job file; write it into the job file", "arguments")
        return read_job(options.job, progress)
    missing = [f"--{name}" for name in ("track", "field", "boom", "intervals") if name not in given]
    if missing:
        raise InputError(f"give a job file, or what is missing: {', '.join(missing)}", "arguments")
    return job_from_options(**given, progress=progress)


# --- commands ---------------------------------------------------------------------------------


def _check(options: argparse.Namespace) -> None:
    """``coverage-audit check``."""
    if options.output is None and not options.json:
        raise InputError("give the folder for the report: -o DIR", "arguments")
    refuse_lost(options)
    if options.output is not None:
        start(options, REPORT_PAPERS)
    with _progress(options) as progress:
        job = with_replicates(_read(options, progress), options.replicates)
        if options.output is not None:
            _fetch_report_room()
        audit = _audit(job, progress, options.job)
        plan = planned(audit, options, progress) if options.touchup else None
        papers = {}
        if options.output is not None:
            papers = _papers(audit, plan) | (_rate_grid(audit) if options.rate_grid else {})
    if papers:
        note(options, job)
        write(options, papers, kind="report", job=token(job))
    _tell(options, audit, "")


def _demo(options: argparse.Namespace) -> None:
    """``coverage-audit demo``: the job's own files are written together with its report."""
    from coverage_audit.demo.job import demo_files  # noqa: PLC0415
    from coverage_audit.demo.truth import truth_text  # noqa: PLC0415
    from coverage_audit.jobs.read import read_job  # noqa: PLC0415

    start(options, REPORT_PAPERS)
    with tempfile.TemporaryDirectory() as scratch, _progress(options) as progress:
        inputs = demo_files()
        for name, content in inputs.items():
            (Path(scratch) / name).write_bytes(content)
        job_file = Path(scratch) / "job.toml"
        job = read_job(job_file, progress)
        audit = _audit(job, progress, job_file.name)
        papers = _papers(audit)
    write(options, {**inputs, **papers}, kind="report", job=token(job), loose=inputs)
    _tell(options, audit, truth_text(audit))


def _propose(options: argparse.Namespace) -> None:
    """``coverage-audit propose``: never over a file that somebody may have edited."""
    check_folder(options.output.parent)
    if is_there(options.output, str(options.output)):
        taken = "this file is there already and may have been edited; choose another name"
        raise InputError(taken, str(options.output))
    with _progress(options) as progress:
        text, told = proposed_csv(options, progress)
    write_all(options.output.parent, {options.output.name: text})
    options.written = True
    _say(options, told)


def _compare(options: argparse.Namespace) -> None:
    """``coverage-audit compare``."""
    start(options, ("compare.html", "compare.json"))
    for name in options.jobs:
        if is_there(Path(name), "arguments"):
            settle(Path(name))
    with _progress(options) as progress:
        papers, told = compared(options, progress, _noting(options))
    write(options, papers, kind="comparison")
    if options.json:
        print(papers["compare.json"].rstrip("\n"), flush=True)  # noqa: T201 - this room talks to the person
    else:
        _say(options, told)


def _look(options: argparse.Namespace) -> None:
    """``coverage-audit look``."""
    _say(options, looked(options))


def _keygen(options: argparse.Namespace) -> None:
    """``coverage-audit keygen``."""
    check_folder(options.output)
    papers, told = key_files(options.output)
    write_all(options.output, papers, private=PRIVATE)
    options.written = True
    _say(options, told)


def _proof(options: argparse.Namespace) -> None:
    """``coverage-audit proof``."""
    start(options, ())
    with _progress(options) as progress:
        papers, told = proof_papers(options, progress, _noting(options))
    write(options, papers, kind="proof", private=("proof.json",))
    _say(options, told)


def _verify(options: argparse.Namespace) -> int:
    """``coverage-audit verify``."""
    with _progress(options) as progress:
        code, told = verified(options, progress, _audit)
    _say(options, told)
    return code


def _say(options: argparse.Namespace, told: str) -> None:
    """Print *told* unless the person asked for quiet; names from files steer no terminal."""
    if not options.quiet:
        print("\n".join(printable(line) for line in told.strip("\n").split("\n")), flush=True)  # noqa: T201


def _touchup(options: argparse.Namespace) -> None:
    """``coverage-audit touchup``."""
    from coverage_audit.jobs.read import read_job  # noqa: PLC0415

    start(options, ("report.html",))
    with _progress(options) as progress:
        job = read_job(options.job, progress)
        audit = _audit(job, progress, options.job)
        plan = planned(audit, options, progress)
        papers = {"report.html": _papers(audit, plan)["report.html"], **touchup_papers(audit, plan)}
    note(options, job)
    write(options, papers, kind="report", job=token(job), beside=True)
    if options.json:
        print(papers["touchup.json"].rstrip("\n"), flush=True)  # noqa: T201 - this room talks to the person
    else:
        _say(options, told(audit, plan, options.output))


def _audit(job: Job, progress: Progress, job_file: str | None) -> Audit:
    """Audit the job; a key that is at fault is shown as the person gave it."""
    from coverage_audit.jobs.read import key_place  # noqa: PLC0415
    from coverage_audit.recipe.audit import audit_job  # noqa: PLC0415

    try:
        return audit_job(job, progress)
    except InputError as error:
        raise InputError(error.what, key_place(error.place, job_file and Path(job_file).name)) from error


def _noting(options: argparse.Namespace) -> Callable[[Job, Progress, str | None], Audit]:
    """Return the audit that also notes what each job was read from."""

    def audit(job: Job, progress: Progress, job_file: str | None) -> Audit:
        note(options, job)
        return _audit(job, progress, job_file)

    return audit


def _fetch_report_room() -> None:
    """Import the report and its map library while the audit computes: half a second on a small machine."""
    threading.Thread(target=import_module, args=("coverage_audit.papers.page",), daemon=True).start()


def _papers(audit: Audit, plan: TouchupPlan | None = None) -> dict[str, str]:
    """File name to content of everything that goes into the output folder, with a touch-up plan when there is one."""
    from coverage_audit.papers.page import report_html  # noqa: PLC0415
    from coverage_audit.papers.summary import findings_geojson, missed_gpx, passes_geojson, summary_json  # noqa: PLC0415

    return {
        "report.html": report_html(audit, plan),
        "summary.json": summary_json(audit),
        "findings.geojson": findings_geojson(audit),
        "missed.gpx": missed_gpx(audit),
        "passes.geojson": passes_geojson(audit),
        **(touchup_papers(audit, plan) if plan is not None else {}),
    }


def _rate_grid(audit: Audit) -> dict[str, str]:
    """The rate surface in open formats."""
    from coverage_audit.papers.rate_files import rate_files  # noqa: PLC0415

    found = rate_files(audit)
    if not found:
        raise InputError("no rate is known, so there is no grid; give a flow or a volume under [rate]", "--rate-grid")
    return found


# --- what the person sees ---------------------------------------------------------------------


def _tell(options: argparse.Namespace, audit: Audit, truth: str) -> None:
    """Print the result: as JSON alone, or in words that end by saying where to look."""
    from coverage_audit.papers.summary import summary_json, terminal_text  # noqa: PLC0415

    if options.json:
        print(summary_json(audit).rstrip("\n"), flush=True)  # noqa: T201 - this room talks to the person
    elif not options.quiet:
        parts = [terminal_text(audit), truth, where_to_look(options.output)]
        print("\n\n".join(part.strip("\n") for part in parts if part), flush=True)  # noqa: T201


def _fail(code: int, message: str) -> int:
    """Say on standard error, in exactly one line, what went wrong."""
    line = " ".join(printable(" ".join(message.split())).replace(REPLACEMENT, " ").split())
    if len(line) > MESSAGE_HEAD + MESSAGE_TAIL:
        line = f"{line[:MESSAGE_HEAD]} ... {line[-MESSAGE_TAIL:]}"
    print(f"{PROGRAM}: {line}", file=sys.stderr)  # noqa: T201
    return code


@contextmanager
def _progress(options: argparse.Namespace) -> Iterator[Progress]:
    """Progress bar on standard error, when that is a terminal and nobody asked for quiet."""
    if options.quiet or not sys.stderr.isatty():
        yield lambda _stage, _fraction: None
        return
    from tqdm import tqdm  # noqa: PLC0415

    with tqdm(total=1.0, leave=False, bar_format="{desc:<28.28} {percentage:3.0f} % {bar} {elapsed}") as bar:

        def show(stage: str, fraction: float) -> None:
            bar.set_description_str(printable(stage), refresh=False)
            bar.n = min(max(fraction, 0.0), 1.0)
            bar.refresh()

        yield show


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
