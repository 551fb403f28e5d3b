"""What a tap costs on the page: new plain areas against the whole audit, on a simulated 12 ha job at 1 Hz.

Run by hand: ``python tests/bench/bench_page.py``. Prints one JSON line; the ratio is wanted below a third.
"""

from __future__ import annotations

import json
import sys
import tempfile
import time
from functools import partial
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))
from phone_log import phone_log

from coverage_audit import run
from coverage_audit.sheet.boom import Said, boom_facts, taken_for_granted, with_said

JOB = """\
[field]
boundary = "field.geojson"
[track]
files = ["track.gpx"]
[boom]
width = "9 m"
antenna_ahead = "1.4 m"
intervals = "assume"
remembered = [{at = "2026-05-21T03:00:00Z", off_until = "2026-05-21T03:01:00Z"}]
"""


def timed(work):
    """What *work* gives, and how long it took. [s]"""
    start = time.process_time()
    return work(), time.process_time() - start


def areas():
    """Times of the whole audit and of the plain areas, the best of two each, and their ratio."""
    log = phone_log(scale=2.6)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "track.gpx").write_bytes(log.gpx)
        (folder / "field.geojson").write_text(log.geojson)
        (folder / "job.toml").write_text(JOB)
        job, read_s = timed(lambda: run.read(folder / "job.toml"))
        facts = boom_facts(job, "assume")  # kept by the page from the sheet's last showing
        said = [Said(facts.stretches[9].start_s, facts.stretches[9].end_s, on=False)]
        plain = partial(run.audited, taken_for_granted(job, with_said(facts.base, said)))
        plain()  # what is imported and compiled once is not asked for
        plain_s = min(timed(plain)[1] for _ in range(2))
        whole_s = min(timed(lambda: run.audited(job))[1] for _ in range(2))
    found = {"fixes": len(log.job.times_s), "read_s": read_s, "plain_s": plain_s, "whole_s": whole_s}
    return {**found, "ratio": (read_s + plain_s) / (read_s + whole_s)}


if __name__ == "__main__":
    print(json.dumps(areas()))
