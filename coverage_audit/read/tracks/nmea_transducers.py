"""Which epoch an NMEA sentence without a time belongs to, and what follows for XDR.

A sentence that is sent once an epoch belongs to the burst it stands in. Where bursts begin shows at the
head of the file: if the sentence comes before the first with a position, it opens its burst.
An XDR sentence sent only at changes counts from where it stands: fixes begun before it have the
old state, later ones the new.
"""

from __future__ import annotations

from array import array
from typing import TYPE_CHECKING

import numpy as np

from coverage_audit.facts import Caution
from coverage_audit.read import tolerances as tol
from coverage_audit.read.records import Series, SwitchChange

if TYPE_CHECKING:
    from coverage_audit.arrays import FloatArray, IntArray

    from .nmea_sentences import Transducer

_UNSTATED = -1.0


def owner_epochs(before: IntArray, timed: IntArray, *, leads: bool) -> IntArray:
    """Epoch that each untimed sentence of one kind belongs to.

    Parameters
    ----------
    before : ndarray of int, shape (n,)
        Number of position sentences in front of each in the file.
    timed : ndarray of int, shape (m,)
        Epoch of each position sentence.
    leads : bool
        Whether the kind opens its burst.

    Returns
    -------
    ndarray of int, shape (n,)
        -1 where no position sentence is on the side that counts.
    """
    padded = np.concatenate([[-1], timed, [-1]])
    return padded[before + 1] if leads else padded[before]


class TransducerLog:
    """XDR measurements in file order, by name and section."""

    def __init__(self) -> None:
        self._rows: dict[tuple[str, int], array[float]] = {}  # of (place in the file, value)
        self._leads: dict[tuple[str, int], bool] = {}
        self._timed_at = self._begun_at = np.empty(0)

    def add(self, transducer: Transducer, at: int) -> None:
        """Append one measurement that stands at this place in the file."""
        self._rows.setdefault((transducer.name, transducer.section), array("d")).extend((at, transducer.value))

    def place(self, timed_at: FloatArray, begun_at: FloatArray, started_at: float) -> None:
        """Tell the measurements what they stand among.

        Parameters
        ----------
        timed_at : ndarray of float, shape (m,)
            Place in the file of each position sentence with a time.
        begun_at : ndarray of float, shape (k,)
            That of the first sentence of each epoch.
        started_at : float
            That of the first sentence with a position, damaged or not.
        """
        self._timed_at, self._begun_at = timed_at, begun_at
        self._leads = {key: rows[0] < started_at for key, rows in self._rows.items()}

    @property
    def has_switch(self) -> bool:
        """Whether any boom switch occurs."""
        return any(name == "BOOM" for name, _ in self._rows)

    def _table(self, key: tuple[str, int], epochs: int) -> tuple[IntArray, IntArray, FloatArray, bool]:
        """Sentences before, epochs begun and value of one transducer, and whether it is sent in bursts."""
        at, value = np.array(self._rows[key]).reshape(-1, 2).T
        in_bursts = len(value) >= tol.SWITCH_BURST_SHARE * epochs
        return np.searchsorted(self._timed_at, at), np.searchsorted(self._begun_at, at), value, in_bursts

    def switch_changes(self, timed: IntArray, time_s: FloatArray, kept: IntArray) -> tuple[SwitchChange, ...]:
        """Place the changes of every boom switch half-way between the last old-state and first new-state fix.

        Parameters
        ----------
        timed : ndarray of int
            Epoch of each position sentence.
        time_s : ndarray of float, shape (n,)
            Time of each epoch. [s]
        kept : ndarray of int
            Epochs that are usable fixes.

        Returns
        -------
        tuple of SwitchChange
            In time order. The first of each switch is from "not stated yet" to its first state, be it
            off: whoever turns the switch round has to know since when it is stated.
        """
        changes = []
        for key in sorted(key for key in self._rows if key[0] == "BOOM"):
            before, begun, value, in_bursts = self._table(key, len(time_s))
            since = owner_epochs(before, timed, leads=self._leads[key]) if in_bursts else begun
            value, since = value[since >= 0], since[since >= 0]
            order = np.argsort(since, kind="stable")
            at = np.searchsorted(since[order], kept, side="right")
            state = np.concatenate([[_UNSTATED], value[order]])[at]
            changes += _changes(key[1], state, time_s[kept])
        return tuple(sorted(changes, key=lambda change: (change.time_s, change.section)))

    def series(self, name: str, timed: IntArray, time_s: FloatArray) -> Series | None:
        """Return one measured quantity at the times of their epochs, averaged within an epoch.

        Parameters are those of `switch_changes`; None when the log has no such transducer.
        """
        key = name, 0
        if key not in self._rows:
            return None
        before, _, value, in_bursts = self._table(key, len(time_s))
        latest = timed[np.maximum(before - 1, 0)]
        owner = owner_epochs(before, timed, leads=self._leads[key]) if in_bursts else latest
        value, owner = value[owner >= 0], owner[owner >= 0]
        epoch, place = np.unique(owner, return_inverse=True)
        return Series(time_s[epoch], np.bincount(place, weights=value) / np.bincount(place))

    def cautions(self, name: str, timed: IntArray, epochs: int) -> list[Caution]:
        """Say where it cannot be told whether a switch opens or closes its burst."""
        doubtful = []
        for key, leads in sorted(self._leads.items()):
            before, _, _, in_bursts = self._table(key, epochs)
            if in_bursts and leads and before[-1] == len(timed):
                doubtful.append(f"{key[0]}{key[1] or ''}")
        return [Caution("transducers doubtful", file=name, names=tuple(doubtful))] if doubtful else []


def _changes(section: int, state: FloatArray, time_s: FloatArray) -> list[SwitchChange]:
    """Place the changes of one switch with this state (1, 0 or not stated) at the fixes."""
    middle = np.concatenate([time_s[:1], (time_s[:-1] + time_s[1:]) / 2.0])
    changed = np.flatnonzero(np.diff(state, prepend=_UNSTATED))
    return [SwitchChange(float(middle[index]), section, bool(state[index])) for index in changed]
