"""Verdict and still map for a notebook: a piece of HTML that needs nothing but itself and leaves the page alone."""

from __future__ import annotations

import re
from functools import cache
from typing import TYPE_CHECKING

from markupsafe import Markup

from coverage_audit.papers.words.cautions import caution_texts

from .maps.still import static_map
from .templating import page_templates, page_text
from .words.answer import answer_figures, figure_line, first_line, notices, untold_words
from .words.passes import verdict_of

if TYPE_CHECKING:
    from coverage_audit.recipe.result import Audit

CLASS = "coverage-audit"
_MAP_RULE = re.compile(r"^\.(?:map-|hatch-|still|tag|rule).*}$", re.MULTILINE)
"""Rules of the report's styles that draw its still map; each stands on one line."""
_ROOT = re.compile(r":root ({.*?})", re.DOTALL)


def notebook_html(audit: Audit) -> str:
    """Verdict, cautions and map of *audit*; text from files is escaped."""
    told, found = verdict_of(audit), audit.answer
    lines = [*notices(audit), *(figure_line(one) for one in answer_figures(found, audit)), untold_words(found, audit)]
    cautions = [*([told.caution] if told.caution else []), *caution_texts(audit)]
    template = page_templates().from_string(
        '<div class="{{ name }}"><style>{{ style }}</style>{% include "hatches.html" %}'
        "<p><strong>{{ headline }}</strong></p>"
        "<ul>{% for one in sentences %}<li>{{ one }}</li>{% endfor %}"
        "{% for one in cautions %}<li><strong>Caution.</strong> {{ one }}</li>{% endfor %}</ul>{{ map }}</div>"
    )
    return template.render(
        name=CLASS,
        style=Markup(_style()),  # noqa: S704 - our own file
        headline=first_line(found, audit),
        sentences=[line for line in (*lines, told.headline, *told.sentences) if line],
        cautions=cautions,
        map=Markup(static_map(audit)),  # noqa: S704 - made by static_map, which escapes
    )


@cache
def _style() -> str:
    """The report's colours and map rules, for what stands inside our own element only."""
    styles = page_text("report.css")
    colours = _ROOT.search(styles)
    rules = [f".{CLASS} {rule}" for rule in _MAP_RULE.findall(styles)]
    own = f".{CLASS} .still {{ max-width: 36rem; background: var(--paper); }}"
    return "\n".join([f".{CLASS} {colours[1] if colours else '{}'}", *rules, own])
