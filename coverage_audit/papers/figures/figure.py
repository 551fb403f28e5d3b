"""What a figure of the report is: a title, and what stands below it.

To add one, write one module here with a ``FIGURE`` of its own and name it in ``papers.page.FIGURES``, where it shall
stand. Its body may come from a template of its own or be made in the module; text from files must be escaped.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable

    from markupsafe import Markup

    from coverage_audit.drive.plane import Plane
    from coverage_audit.recipe.result import Audit

NOTHING = ""
"""Body of a figure that has nothing to show: it is left out with its title."""


@dataclass(frozen=True)
class Sheet:
    """What a figure is made from: the audit (geometry in plane metres) and its plane."""

    audit: Audit
    plane: Plane

    @property
    def units(self) -> str:
        """Units of the job's papers: "metric" or "us"."""
        return self.audit.job.settings.report.units


@dataclass(frozen=True)
class Figure:
    """One part of the report.

    ``id`` is its anchor in the page, ``body`` gives its HTML or ``NOTHING``, and ``if_assumed`` is put behind the
    title when the boom state is assumed. ``folded``: it opens on a tap; the answer is not, and ``quiet`` titles are
    read aloud alone.
    """

    id: str
    title: str
    body: Callable[[Sheet], Markup | str]
    if_assumed: str = ""
    folded: bool = True
    quiet: bool = False

    def heading(self, sheet: Sheet) -> str:
        """Title for the job of *sheet*."""
        return f"{self.title} {self.if_assumed}" if self.if_assumed and sheet.audit.assumed else self.title
