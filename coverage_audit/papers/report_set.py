"""The papers that every audit gives, by file name: written and drawn side by side."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING

from .geojson import findings_geojson, passes_geojson
from .gpx import missed_gpx
from .page import compile_pages, report_html
from .picture import report_pdf, report_png
from .summary import summary_json

if TYPE_CHECKING:
    from coverage_audit.recipe.result import Audit


def fetch() -> None:
    """Have ready what the papers are made with: pages compiled."""
    compile_pages()


def report_set(audit: Audit) -> dict[str, str | bytes]:
    """File name to content."""
    with ThreadPoolExecutor(1) as other_core:
        drawn = other_core.submit(_pictures, audit)
        written = {
            "report.html": report_html(audit),
            "summary.json": summary_json(audit),
            "findings.geojson": findings_geojson(audit),
            "missed.gpx": missed_gpx(audit),
            "passes.geojson": passes_geojson(audit),
        }
    return {**written, **drawn.result()}


def _pictures(audit: Audit) -> dict[str, str | bytes]:
    """The answer as a picture, and as a page of paper."""
    picture = report_png(audit)
    return {"report.png": picture, "report.pdf": report_pdf(audit, picture)}
