"""Several jobs at once: side by side, and a season added up; their papers lie where the command puts them."""

from __future__ import annotations

from contextlib import suppress
from typing import TYPE_CHECKING

from coverage_audit import run
from coverage_audit.errors import InputError
from coverage_audit.files.whole_sets import check_folder, write_all
from coverage_audit.papers.ledger import LEDGER_PAPERS, ledger_files
from coverage_audit.papers.words.safe import one_line
from coverage_audit.season.model import Limits
from coverage_audit.season.season import local_workers, run_season
from coverage_audit.season.tolerances import MEMORY_LIMIT_BYTES, TIME_LIMIT_S

from .desk import REPORT

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

    from .desk import Desk

COMPARED, SEASONS = "compared", "seasons"
SEASON = "-season"
"""Under this name the work on a season is known; no job has it, since no folder's id begins with a dash."""


def side_by_side(desk: Desk, jobs: Sequence[str]) -> None:
    """Compare jobs that have an answer, the first with each of the others.

    Raises
    ------
    InputError
        Fewer than two, or one without an answer.
    """
    if len(set(jobs)) < 2:
        raise InputError("tick two jobs or more to put them side by side", "compare")
    records = []
    for number, one in enumerate(dict.fromkeys(jobs), start=1):
        job = desk.job(one)
        name = one_line(str(job.draft.get("job.name", "")) or job.id)
        with desk.alone:
            records.append(run.finished(job.path / REPORT, f"{number}. {name}"))
    papers = run.comparison_papers(run.compared(records))
    with desk.alone:
        write_all(desk.root / COMPARED, papers, kind="comparison")


def season_added(desk: Desk, tell: Callable[..., None]) -> None:
    """Bring the latest season up to date and add it up, one job at a time, as ``season`` does.

    Raises
    ------
    InputError
        The farm has no job of a season, or its ledger cannot be written.
    """
    limits = Limits(TIME_LIMIT_S, MEMORY_LIMIT_BYTES)

    def told(done: int, left: int, failed: int) -> None:
        words = f"{done} jobs done, {left} left, {failed} failed"
        tell(what=words, part=done / (done + left) if done + left else 0.0)

    found = run_season(desk.root, None, limits, local_workers(1, limits), told)
    folder = desk.root / SEASONS / found.ledger.season
    papers = ledger_files(found.ledger)
    with desk.alone:
        check_folder(folder, LEDGER_PAPERS)
        write_all(folder, papers, kind="season")


def farm_papers(desk: Desk) -> dict[tuple[str, str], Path]:
    """Papers of the whole farm by the folder and name under which they are asked for."""
    found: dict[tuple[str, str], Path] = {}
    with suppress(OSError):
        if (desk.root / COMPARED / "compare.html").is_file():
            found[COMPARED, "compare.html"] = desk.root / COMPARED / "compare.html"
    with suppress(OSError):
        for folder in (desk.root / SEASONS).iterdir():
            for name in ("ledger.html", "ledger.csv"):
                if folder.name.isdecimal() and (folder / name).is_file():
                    found[f"season-{folder.name}", name] = folder / name
    return found
