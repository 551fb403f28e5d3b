"""An invented key of the job file, as a new one would be written: one field of the settings, one row."""

from dataclasses import dataclass, replace

from coverage_audit.jobs.checks import choice
from coverage_audit.jobs.keys import TABLES
from coverage_audit.jobs.rows import Key, keys
from coverage_audit.jobs.settings import ReportSettings


@dataclass(frozen=True)
class ToySettings(ReportSettings):
    """[report] with one field more."""

    ink: str = "black"


INK = Key("ink", choice("black", "blue"), "colour of the print", "ink")
REPORT = replace(TABLES["report"], keys=TABLES["report"].keys | keys(INK), settings=ToySettings)
