"""A figure of the report is one module: what is written in one file, and named in one tuple, appears in the report."""

import dataclasses
import importlib.util
import re

import pytest
from audit_builder import large_job, worked_figure

from coverage_audit.papers import page
from coverage_audit.papers.figures.figure import NOTHING, Figure
from coverage_audit.papers.page import FIGURES, report_html

TOY = '''
"""How many passes there were: a toy."""

from coverage_audit.papers.figures.figure import NOTHING, Figure
from coverage_audit.papers.templating import filled_text
from coverage_audit.papers.words.display import area

TEMPLATE = """
<p>{{ name }} has {{ ground }}.</p>
<svg viewBox="0 0 100 10" role="img" aria-label="Share covered"><rect width="{{ covered }}" height="10"/></svg>
"""


def _body(sheet):
    found = sheet.audit.area_m2
    if not found.target:
        return NOTHING
    name, ground = sheet.audit.job.settings.name, area(found.target, sheet.units)
    return filled_text(TEMPLATE, name=name, ground=ground, covered=100 * found.covered / found.target)


FIGURE = Figure("toy", "A toy of a figure", _body, "(ASSUMED)")
'''


@pytest.fixture
def toy(tmp_path):
    path = tmp_path / "toy.py"
    path.write_text(TOY, encoding="utf-8")
    spec = importlib.util.spec_from_file_location("toy", path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module.FIGURE


def titles(text):
    return re.findall(r'<section id="([^"]+)" aria-labelledby="\1-title">\s*<h2 id="\1-title">([^<]*)</h2>', text)


def ids(text):
    return re.findall(r'<section id="([^"]+)"', text)


def test_toy_figure_of_one_file_appears_where_it_is_named(toy):
    text = report_html(worked_figure(name="<b>Long & Piece"), figures=(*FIGURES[:2], toy, *FIGURES[2:]))
    shown = [one for one in ids(text) if one in {"toy", *(one.id for one in FIGURES)}]
    assert shown.index("toy") == sum(one.id in shown for one in FIGURES[:2])
    assert "A toy of a figure</h2>" in text
    assert "&lt;b&gt;Long &amp; Piece has 0.60\u00a0ha." in text
    assert f'<rect width="{100 * 5900 / 6000}" height="10"/>' in text
    assert [one for one in ids(report_html(worked_figure())) if one in shown] == [one for one in shown if one != "toy"]


def test_figure_with_nothing_to_show_is_left_out_with_its_title():
    empty = Figure("toy", "A toy of a figure", lambda _: NOTHING)
    assert "toy" not in dict(titles(report_html(worked_figure(), figures=(*FIGURES, empty))))


def test_assumed_boom_state_stands_in_the_titles_that_ask_for_it(toy):
    sheet = page.Sheet(large_job(), None)
    assert toy.heading(sheet) == "A toy of a figure"
    assumed = dataclasses.replace(sheet, audit=dataclasses.replace(sheet.audit, assumed=object()))
    assert toy.heading(assumed) == "A toy of a figure (ASSUMED)"
    found = {one.id: one.heading(assumed) for one in FIGURES}
    assert found["map"] == "Map (boom state ASSUMED)"
    assert "ASSUMED" not in found["care"]


def test_what_no_track_can_show_and_the_usual_cautions_are_in_every_report():
    """Cautions stand before anything folded, what no track can show closes the report."""
    shown = ids(report_html(worked_figure()))
    assert shown.index("care") < shown.index("logged")
    assert shown[-1] == "limits"


def test_anchors_are_not_used_twice():
    assert len({one.id for one in FIGURES}) == len(FIGURES)
