"""Everything that a season's ledger is written as."""

from __future__ import annotations

from typing import TYPE_CHECKING

from .ledger_files import ledger_csv, season_json
from .ledger_page import ledger_html
from .ledger_parquet import season_parquet

if TYPE_CHECKING:
    from coverage_audit.ledger.model import Ledger


LEDGER_PAPERS = ("ledger.html", "ledger.csv", "season.json", "jobs.parquet", "strips.parquet")


def ledger_files(ledger: Ledger) -> dict[str, str | bytes]:
    """File name to content.

    Raises
    ------
    InputError
        A library for one of them is not installed.
    """
    return {
        "ledger.html": ledger_html(ledger),
        "ledger.csv": ledger_csv(ledger),
        "season.json": season_json(ledger),
        **season_parquet(ledger),
    }
