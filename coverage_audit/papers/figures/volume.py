"""Volume and rates of the whole job, with what they stand on."""

from __future__ import annotations

from typing import TYPE_CHECKING

from coverage_audit.papers.templating import filled_text

from .facts import volume_facts
from .figure import Figure

if TYPE_CHECKING:
    from markupsafe import Markup

    from .figure import Sheet


TEMPLATE = """\
{% from "macros.html" import fact_table %}
{{ fact_table("Whole job", facts) }}
"""


def _body(sheet: Sheet) -> Markup:
    return filled_text(TEMPLATE, facts=volume_facts(sheet.audit))


FIGURE = Figure("volume", "Volume and rates", _body)
