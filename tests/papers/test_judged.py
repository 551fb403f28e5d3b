"""What the report says of jobs that were judged is what the table of reports/calibration.md says."""

import re
from pathlib import Path

from coverage_audit.accuracy.model import BERKSON, CLASSICAL
from coverage_audit.papers.tolerances import JUDGED

TABLE = Path(__file__).parents[2] / "reports" / "calibration.md"
CLASSES = {"autonomous": "autonomous", "SBAS": "differential", "RTK": "RTK fixed"}
REGIMES = {"hand": CLASSICAL, "guided": BERKSON}


def judged():
    """Jobs, and in how many each range held, from the first table of the report."""
    row = re.compile(r"^\| (\w+) \| (\w+) \| (missed|double) \| (\d+) of (\d+) ", re.MULTILINE)
    found = {}
    for name, steering, area, held, jobs in row.findall(TABLE.read_text(encoding="utf-8")):
        key = CLASSES[name], REGIMES[steering]
        found.setdefault(key, {"jobs": int(jobs)})[area] = int(held)
    return {key: (one["jobs"], one["missed"], one["double"]) for key, one in found.items()}


def test_report_and_table_agree():
    assert judged() == JUDGED
