"""What time does to a record that holds: a stamp that shows when it was there, and a notice that ended its key."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

from .ended import ended_by, ended_fault
from .stamp import trusted

if TYPE_CHECKING:
    from collections.abc import Sequence

    Record = dict[str, Any]


UNCHECKED = (
    "It bears a time stamp of {time}, which was not checked: give the service's certificates with --stamp-certificates."
)


TO_COME = "By this computer's clock the day on which it is said to be made, {made}, is still to come: do not go by it."


class Standing(NamedTuple):
    """What does not hold, what to tell, and the day before which a buyer must have had it in hand ("" = no matter)."""

    faults: list[str]
    notes: list[str]
    before: str = ""


def standing(
    record: Record, notices: list[tuple[str, str]], certificates: Sequence[bytes] | None, today: str
) -> Standing:
    """How a record, whose signature holds, stands in time.

    Parameters
    ----------
    notices : list of (str, str)
        Key and first day of notices that a key has ended.
    certificates : sequence of bytes or None
        PEM certificates of the time-stamp service; None = its stamp is not checked.
    today : str
        ISO 8601 date, UTC, by the clock of whoever checks.
    """
    own, day = record.get("time_stamp"), ended_by(record, notices)
    shown = False
    if own is None:
        if certificates is not None:
            return Standing(["there is no time stamp on this record"], [])
        notes = ["When it was made is the seller's word alone: there is no time stamp."]
    elif certificates is None:
        notes = [UNCHECKED.format(time=own["time"])]
    else:
        found, fault = trusted(record, certificates)
        if found is None:
            return Standing([fault], [])
        shown = True
        notes = [f"A time stamp holds: this was there at {found.time}, says {found.who}."]
    if record["made"][:10] > today:
        notes.append(TO_COME.format(made=record["made"][:10]))
    if fault := ended_fault(record, day, own["time"][:10] if own else ""):
        return Standing([fault], [])
    if day and not shown:
        notes.append(
            f"Its key was ended from {day} on. This says that it was made before, which a thief could say too: it "
            "counts only if you had it in hand before that day."
        )
    elif day:
        notes.append(f"Its key was ended from {day} on; the time stamp shows that this was made before.")
    return Standing([], notes, "" if shown else day)
