"""What a season came to, as text for the terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING

from .tolerances import LISTED_FAILURES
from .words import display
from .words import season as words
from .words.safe import one_line, printable

if TYPE_CHECKING:
    from coverage_audit.ledger.model import Ledger


def season_text(ledger: Ledger, audited: int) -> str:
    """Short text: how many jobs were audited now, the season's verdict, and the jobs that failed."""
    whole = len(ledger.jobs) + len(ledger.failed)
    fresh = f"{audited} audited now" if audited else "nothing had to be audited"
    lines = [
        f"{one_line(ledger.farm)}, season {ledger.season}: {display.count(whole, 'job')}, {fresh}.",
        "",
        words.headline(ledger),
        *(f"  {sentence}" for sentence in words.support(ledger)),
    ]
    shown = ledger.failed[:LISTED_FAILURES]
    if shown:
        lines += ["", "Not audited:", *(f"  {one.job}: {one.reason}" for one in shown)]
    if len(ledger.failed) > len(shown):
        lines.append(f"  and {len(ledger.failed) - len(shown)} more, in ledger.html")
    return "\n".join(printable(line) for line in lines) + "\n"
