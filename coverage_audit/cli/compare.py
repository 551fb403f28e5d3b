"""``coverage-audit compare``: put jobs side by side."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING, Any

from coverage_audit import run
from coverage_audit.errors import InputError
from coverage_audit.files.whole_sets import settle
from coverage_audit.papers.words.safe import one_line, printable
from coverage_audit.read.source import is_there

from . import terminal
from .output import note, start, write

if TYPE_CHECKING:
    import argparse
    from collections.abc import Callable

    from coverage_audit.papers.compare_page import Price
    from coverage_audit.read.result_record import JobRecord

    Progress = Callable[[str, float], None]


def add_compare(commands: argparse._SubParsersAction[Any]) -> None:
    """Add ``compare`` with its arguments."""
    compare = commands.add_parser("compare", help="put jobs side by side", allow_abbrev=False)
    compare.add_argument(
        "jobs", nargs="+", metavar="JOB", help="job files, result folders of check, or saved audits of season"
    )
    compare.add_argument("--label", action="append", metavar="WORDS", help="name of each job, in the same order")
    compare.add_argument("--price", metavar="PRICE", help='price of the mix, such as "0.35 EUR/L"')
    compare.add_argument("-o", "--output", type=Path, metavar="DIR", required=True, help="folder for the page")
    compare.add_argument("--json", action="store_true", help="print compare.json and nothing else")
    terminal.add_quiet(compare)
    compare.set_defaults(run=compare_command)


def compare_command(options: argparse.Namespace) -> None:
    """Write the page, and tell what differs by more than chance."""
    start(options, run.COMPARISON_PAPERS)
    for name in options.jobs:
        if is_there(Path(name), "arguments"):
            settle(Path(name))
    if len(options.jobs) < 2:
        raise InputError("give two jobs or more to compare", "arguments")
    price = parse_price(options.price)
    labels = _labels(options)
    with terminal.progress_bar(options) as progress:
        pairs = zip(options.jobs, labels, strict=True)
        found = run.compared([_record(options, Path(name), label, progress) for name, label in pairs], price)
        papers = run.comparison_papers(found)
    write(options, papers, kind="comparison")
    if options.json:
        terminal.show_json(papers["compare.json"])
    else:
        sentences, notes = run.comparison_sentences(found)
        told = "\n".join([*sentences, "", *(f"  - {one}" for one in notes)])
        page = printable(str(options.output / "compare.html"))
        terminal.say(options, f"{told}\n\nOpen {page} in a web browser.")


def _labels(options: argparse.Namespace) -> list[str]:
    given = list(options.label or ())
    if given and len(given) != len(options.jobs):
        raise InputError(f"{len(given)} labels stand beside {len(options.jobs)} jobs; give one for each", "--label")
    names = given or [
        Path(name).resolve().name if is_there(Path(name), "arguments") and Path(name).is_dir() else Path(name).stem
        for name in options.jobs
    ]
    names = [one_line(name) for name in names]
    if len(set(names)) < len(names):
        if given:
            raise InputError("two jobs have the same label; give each its own", "--label")
        names = [f"{name} ({place})" for place, name in enumerate(names, 1)]
    return names


def _record(options: argparse.Namespace, path: Path, label: str, progress: Progress) -> JobRecord:
    """Audit a job file, or read a finished audit."""
    if not is_there(path, "arguments"):
        raise InputError("there is no such job file or result folder; check the name", str(path))
    if path.is_dir() or path.suffix == ".zip":
        return run.finished(path, label)
    # what is compared does not rest on draws of the job
    job = run.read(path, progress, replicates=0)
    note(options, job)
    return run.record(run.audited(job, progress, path), label)


_PRICE = re.compile(r"([0-9]+(?:\.[0-9]+)?) ?([^\W\d_]{1,12}|[$€£]) ?(?:/|per) ?(.+)")


def parse_price(text: str | None) -> Price | None:
    """Price of the mix such as "0.35 EUR/L".

    Raises
    ------
    InputError
        It is not a number, a currency and a unit of volume.
    """
    from coverage_audit.papers.compare_page import Price  # noqa: PLC0415
    from coverage_audit.units import VOLUME_L, refuse_long  # noqa: PLC0415

    if text is None:
        return None
    refuse_long(text, "--price")
    match = _PRICE.fullmatch(" ".join(text.split()))
    unit = match[3] if match else ""
    if match is None or unit not in VOLUME_L:
        known = ", ".join(VOLUME_L)
        raise InputError(f'"{text}" is not a price of the mix; write it as "0.35 EUR/L" (volume in {known})', "--price")
    return Price(float(match[1]) / VOLUME_L[unit], match[2])
