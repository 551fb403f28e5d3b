"""Charts of the whole job."""

from __future__ import annotations

from typing import TYPE_CHECKING

from coverage_audit.papers.templating import filled

from .charts import charts
from .figure import Figure
from .passes import pass_charts

if TYPE_CHECKING:
    from markupsafe import Markup

    from .figure import Sheet


def _body(sheet: Sheet) -> Markup:
    return filled("charts.html", charts=(*charts(sheet.audit), *pass_charts(sheet.audit)))


FIGURE = Figure("charts", "In pictures", _body)
