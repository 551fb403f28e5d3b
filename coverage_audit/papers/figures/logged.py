"""What the log shows, in sentences."""

from __future__ import annotations

from typing import TYPE_CHECKING

from coverage_audit.papers.templating import filled_text
from coverage_audit.papers.words.passes import verdict_of

from .figure import Figure

if TYPE_CHECKING:
    from markupsafe import Markup

    from .figure import Sheet


def _body(sheet: Sheet) -> Markup:
    told = verdict_of(sheet.audit)
    sentences = (told.headline, *([told.caution] if sheet.audit.assumed else []), *told.sentences)
    return filled_text("<ul>{% for one in told %}<li>{{ one }}</li>\n{% endfor %}</ul>\n", told=sentences)


FIGURE = Figure("logged", "What the log shows, in words", _body)
