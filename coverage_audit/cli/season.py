"""``coverage-audit season``: bring a season up to date, and add it up."""

from __future__ import annotations

import argparse
import os
import re
from pathlib import Path
from typing import TYPE_CHECKING, Any

from coverage_audit.errors import InputError
from coverage_audit.papers.words.safe import printable
from coverage_audit.read.source import is_there

from . import terminal
from .output import start, write

if TYPE_CHECKING:
    from coverage_audit.season.model import Limits
    from coverage_audit.season.season import Workers

_SIZE = re.compile(r"([0-9]+(?:\.[0-9]+)?) ?(GB|GiB|MB|MiB)")
_BYTES = {"GB": 1e9, "GiB": 1024**3, "MB": 1e6, "MiB": 1024**2}
_ADDRESS = re.compile(r"(?:tcp|tls)://\S+:[0-9]{1,5}")
MOST_WORKERS, MOST_TIME_S = 1024, 7 * 86400.0
"""Bounds of what may be typed: a slip of the finger, beyond them. [1], [s]"""


NO_PARQUET = (
    "\njobs.parquet and strips.parquet are left out; to have them, in the program's folder:"
    " .venv/bin/pip install '.[season]'"
)


def add_season(commands: argparse._SubParsersAction[Any]) -> None:
    """Add ``season`` with its arguments."""
    season = commands.add_parser("season", help="audit a season's jobs and add them up", allow_abbrev=False)
    season.set_defaults(run=season_command)
    season.add_argument("farm", type=Path, metavar="DIR", help="the farm's folder, with jobs/ in it")
    season.add_argument("--season", metavar="YEAR", help="the year the season begins in; by default the latest one")
    season.add_argument("--workers", type=_workers, metavar="N", help="jobs at a time; by default one a core")
    season.add_argument("--cluster", metavar="ADDRESS", help="a Dask scheduler, such as tcp://192.0.2.7:8786")
    season.add_argument("--time-limit", metavar="TIME", help='longest time for one job; by default "5 min"')
    season.add_argument("--memory-limit", metavar="SIZE", help='most memory for one job; by default "3 GiB"')
    season.add_argument("--json", action="store_true", help="print season.json and nothing else")
    terminal.add_quiet(season)


def season_command(options: argparse.Namespace) -> None:
    """Audit what is not up to date, and write the ledger."""
    # these take a second to import
    from coverage_audit.papers.ledger import LEDGER_PAPERS, ledger_files  # noqa: PLC0415
    from coverage_audit.papers.ledger_terminal import season_text  # noqa: PLC0415
    from coverage_audit.season.season import run_season  # noqa: PLC0415

    if not (is_there(options.farm, "season") and options.farm.is_dir()):
        raise InputError("there is no such folder; give the farm's", str(options.farm))
    if options.season is not None and not re.fullmatch(r"[0-9]{4}", options.season):
        raise InputError(f'"{options.season}" is no year; write it as 2026', "--season")
    limits = _limits(options)
    options.unwritten = "jobs that are done are kept, and the next run goes on from there"
    with terminal.jobs_bar(options) as tell:
        found = run_season(options.farm, options.season, limits, _workers_of(options, limits), tell)
    options.output = options.farm / "seasons" / found.ledger.season
    start(options, LEDGER_PAPERS)
    papers = ledger_files(found.ledger)
    write(options, papers, kind="season")
    if options.json:
        terminal.show_json(str(papers["season.json"]))
        return
    page = printable(str(options.output / "ledger.html"))
    told = season_text(found.ledger, len(found.audited))
    without = "" if "jobs.parquet" in papers else NO_PARQUET
    terminal.say(options, f"{told}\nOpen {page} in a web browser.{without}")


def _workers_of(options: argparse.Namespace, limits: Limits) -> Workers:
    from coverage_audit.season.season import cluster_workers, local_workers  # noqa: PLC0415

    if options.cluster is not None:
        if options.workers is not None:
            raise InputError("a cluster has its own workers; leave one of --workers and --cluster out", "arguments")
        if not _ADDRESS.fullmatch(options.cluster):
            raise InputError(f'"{options.cluster[:80]}" is no address; write it as tcp://HOST:8786', "--cluster")
        return cluster_workers(options.cluster, limits)
    return local_workers(options.workers or cores(), limits)


def cores() -> int:
    """Cores that this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def _limits(options: argparse.Namespace) -> Limits:
    from coverage_audit.jobs.checks import quantity  # noqa: PLC0415
    from coverage_audit.season.model import Limits  # noqa: PLC0415
    from coverage_audit.season.tolerances import MEMORY_LIMIT_BYTES, TIME_LIMIT_S  # noqa: PLC0415
    from coverage_audit.units import TIME_S  # noqa: PLC0415

    time_s = TIME_LIMIT_S
    if options.time_limit is not None:
        time_s = float(quantity(TIME_S, most=MOST_TIME_S, above=True)(options.time_limit, "--time-limit"))
    return Limits(time_s, MEMORY_LIMIT_BYTES if options.memory_limit is None else _size(options.memory_limit))


def _size(text: str) -> int:
    match = _SIZE.fullmatch(text.strip())
    size = float(match[1]) * _BYTES[match[2]] if match else 0.0
    if not 2**28 <= size <= 2**50:
        raise InputError(f'"{text[:40]}" is no size from 256 MiB on; write it as "3 GiB"', "--memory-limit")
    return int(size)


def _workers(text: str) -> int:
    if not (text.isascii() and text.isdecimal() and 1 <= int(text[:9]) <= MOST_WORKERS):
        raise argparse.ArgumentTypeError(f"{text[:40]!r} is no number of jobs at a time (1 to {MOST_WORKERS})")
    return int(text)
