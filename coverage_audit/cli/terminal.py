"""What the person sees while a command works and when it is done."""

# ruff: noqa: T201 - this room talks to the person

from __future__ import annotations

import sys
from contextlib import contextmanager
from typing import TYPE_CHECKING

from coverage_audit import run
from coverage_audit.papers.words.safe import printable

if TYPE_CHECKING:
    import argparse
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from coverage_audit.recipe.result import Audit

    Progress = Callable[[str, float], None]


def add_quiet(parser: argparse.ArgumentParser) -> None:
    """Add ``--quiet``, which every command has."""
    parser.add_argument("--quiet", action="store_true", help="print nothing but errors, show no progress")


def say(options: argparse.Namespace, told: str) -> None:
    """Print *told* unless the person asked for quiet; names from files steer no terminal."""
    if not options.quiet:
        print("\n".join(printable(line) for line in told.strip("\n").split("\n")), flush=True)


def show_json(text: str) -> None:
    """Print a JSON paper and nothing else."""
    print(text.rstrip("\n"), flush=True)


def tell(options: argparse.Namespace, audit: Audit, truth: str = "") -> None:
    """Print the result: as JSON alone, or in words that end by saying where to look."""
    from coverage_audit.papers.terminal import terminal_text  # noqa: PLC0415

    if options.json:
        show_json(run.summary_text(audit))
    elif not options.quiet:
        parts = [terminal_text(audit), truth, where_to_look(options.output)]
        print("\n\n".join(part.strip("\n") for part in parts if part), flush=True)


def where_to_look(folder: Path) -> str:
    """Where the papers are."""
    return (
        f"Open {printable(str(folder / 'report.html'))} in a web browser to see the map.\n"
        f"Beside it: summary.json (every figure), findings.geojson and passes.geojson (for a map program) and\n"
        f"missed.gpx (to walk to the missed strips with a phone); report.png is the answer as a picture to send."
    )


@contextmanager
def progress_bar(options: argparse.Namespace) -> Iterator[Progress]:
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
def jobs_bar(options: argparse.Namespace) -> Iterator[Callable[[int, int, int], None]]:
    """Progress of many jobs on standard error: done, left, failed and the time left; asked of as the bar above."""
    if options.quiet or not sys.stderr.isatty():
        yield lambda _done, _left, _failed: None
        return
    from tqdm import tqdm  # noqa: PLC0415

    shape = "{desc} {bar} {remaining} left"
    with tqdm(total=0, leave=False, bar_format=shape) as bar:

        def show(done: int, left: int, failed: int) -> None:
            bar.total, bar.n = done + left, done
            bar.set_description_str(f"{done} done, {left} left, {failed} failed", refresh=False)
            bar.refresh()

        yield show
