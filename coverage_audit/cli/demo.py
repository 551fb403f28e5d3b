"""``coverage-audit demo``: audit the built-in job, whose truth is known."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from coverage_audit import run

from . import terminal
from .check import add_output
from .output import start, write

if TYPE_CHECKING:
    import argparse


def add_demo(commands: argparse._SubParsersAction[Any]) -> None:
    """Add ``demo`` with its arguments."""
    demo = commands.add_parser("demo", help="audit a built-in job whose truth is known", allow_abbrev=False)
    demo.set_defaults(run=demo_command)
    add_output(demo, "folder for the job and its report (default: %(default)s)", Path("coverage-audit-demo"))


def demo_command(options: argparse.Namespace) -> None:
    """Write the job's own files together with its report, and tell truth beside finding."""
    from coverage_audit.demo.job import demo_files  # noqa: PLC0415
    from coverage_audit.demo.truth import truth_text  # noqa: PLC0415

    start(options, run.REPORT_PAPERS)
    with terminal.progress_bar(options) as progress:
        inputs = demo_files()
        job = run.read_files(inputs, "job.toml", progress)
        audit = run.audited(job, progress, "job.toml")
        papers = run.papers(audit)
    write(options, {**inputs, **papers}, kind="report", job=run.token(job), loose=inputs)
    terminal.tell(options, audit, truth_text(audit))
