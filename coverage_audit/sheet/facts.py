"""Everything that the page shows of one job, as facts; its words are written in ``papers``."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from .boom import BoomFacts, Said
    from .draft import Draft
    from .farm import Farm
    from .logs import DriveFacts
    from .outline import Corner, OutlineFile


@dataclass(frozen=True, eq=False)
class SheetFacts:
    """One job as it stands.

    ``logs``: (name, what is wrong with it or ""). ``kept``: the farm's fields by file name; ``field_file`` that of the
    job's own; ``crossed`` those that the drive crosses. ``own_no_spray``: so many of the field's no-spray areas, the
    first ones, can be taken back here. ``corners``, ``corners_off``: tapped so far of the field and of ground not to be
    sprayed, in plane metres. ``said``, ``said_otherwise``: what is remembered, by this page and in other words;
    ``unsure``: times of which nobody knows. ``answer``: summary of the last audit; ``is_old``: something was changed
    since. ``faults``: what is wrong, by part of the sheet. ``papers``: names of the files of the answer.
    """

    id: str
    mark: str
    farm: Farm
    draft: Draft
    logs: Sequence[tuple[str, str]] = ()
    drive: DriveFacts | None = None
    field: OutlineFile | None = None
    field_file: str = ""
    kept: Mapping[str, OutlineFile] = dataclasses.field(default_factory=dict)
    proposed_field: str = ""
    crossed: Sequence[str] = ()
    own_no_spray: int = 0
    has_picture: bool = False
    corners: Sequence[Corner] = ()
    corners_off: Sequence[Corner] = ()
    boom: BoomFacts | None = None
    unsure: Sequence[tuple[float, float]] = ()
    said: Sequence[Said] = ()
    said_otherwise: int = 0
    answer: Mapping[str, Any] | None = None
    is_old: bool = False
    faults: Mapping[str, str] = dataclasses.field(default_factory=dict)
    papers: Sequence[str] = ()

    @property
    def units(self) -> str:
        """Units of the job, else of the farm."""
        found = self.draft.get("report.units", self.farm.units)
        return found if found in ("metric", "us") else "metric"

    @property
    def products(self) -> Sequence[Mapping[str, Any]]:
        """Rows of the job's products, with what the farm says of them."""
        rows = self.draft.values.get("product")
        rows = rows if isinstance(rows, list) else []
        return [self.farm.product_keys(row) for row in rows if isinstance(row, dict)]

    @property
    def timezone(self) -> str:
        """Time zone of the job, else of the farm."""
        return str(self.draft.get("job.timezone", self.farm.timezone))


@dataclass(frozen=True)
class WorkFacts:
    """How far the work on a job's answer is: ``stage`` one of idle, waiting, plain, sure, done, stopped, failed.

    ``what`` is being done and ``part`` [1] of it is done; ``fault`` says why it failed; ``areas`` are the plain areas
    as soon as they are known [m2]; ``serial`` rises with every change.
    """

    stage: str = "idle"
    what: str = ""
    part: float = 0.0
    fault: str = ""
    areas: Mapping[str, float] = dataclasses.field(default_factory=dict)
    serial: int = 0

    @property
    def is_working(self) -> bool:
        """Whether an answer is on its way."""
        return self.stage in ("waiting", "plain", "sure")


@dataclass(frozen=True, eq=False)
class JobRow:
    """One row of the list of jobs: what is known of it without reading its logs."""

    id: str
    name: str
    lacks: Sequence[str]
    answer: Mapping[str, Any] | None
    ways: Sequence[Sequence[Corner]]
    rings: Sequence[Sequence[Corner]]
    fault: str = ""
    is_old: bool = False
