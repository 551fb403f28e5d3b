"""Thresholds of ``season``: one home, a unit and a reason each."""

from __future__ import annotations

TIME_LIMIT_S = 300.0
"""Longest time for one job. [s] A 12 ha job at ten fixes a second takes a few seconds; a hundred times that hangs."""

MEMORY_LIMIT_BYTES = 3 * 1024**3
"""Most memory for the data of one job. [byte] A day at ten fixes a second takes one."""

MOST_TRIES = 3
"""On a cluster a job whose worker died is tried this often in all: once, and again at most twice. [1]"""

WAITING_PER_WORKER = 4
"""Jobs handed out beyond those at work, for each worker: it never waits, and the queue stays short. [1]"""

BUSY_WAIT_S, BUSY_STEP_S = 20.0, 0.2
"""How long, and how often, a worker tries a folder that a run which is just ending still writes into. [s]"""

PARENT_STEP_S = 0.5
"""How often a worker looks whether who started it is still there. [s]"""

LONGEST_REASON = 300
"""Characters kept of a reason. [1] One line that a person reads."""

CONNECT_S = 20.0
"""How long a scheduler may take to answer. [s] One that is there does in a second."""
