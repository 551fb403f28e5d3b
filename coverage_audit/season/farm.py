"""What the season needs to know of a farm."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from coverage_audit.jobs.farm import read_farm
from coverage_audit.read.source import Folder

if TYPE_CHECKING:
    from pathlib import Path

FARM_FILE = "farm.toml"


@dataclass(frozen=True)
class FarmFacts:
    """The farm's name, its units ("" where it does not say), and the month and day on which a season begins."""

    name: str
    units: str
    season_starts: tuple[int, int]


def farm_facts(farm: Path) -> FarmFacts:
    """Facts of the farm in a folder; one without a farm file is named by its folder, and its seasons are years.

    Raises
    ------
    InputError
        Its farm file is wrong.
    """
    name, source = farm.resolve().name, Folder(farm)
    if not source.exists(FARM_FILE, FARM_FILE):
        return FarmFacts(name, "", (1, 1))
    told = read_farm(source, FARM_FILE)
    return FarmFacts(told.name or name, told.units, told.season_starts)
