"""The page as text: complete, self-contained, escaped, in the person's units."""

from __future__ import annotations

import dataclasses
import html.parser
import importlib.util
import json
import re
from pathlib import Path

import numpy as np
import pytest
import shapely
from pyproj import Geod

from coverage_audit.drive.plane import Plane
from coverage_audit.facts import Caution
from coverage_audit.papers import page as report
from coverage_audit.papers.figures import charts
from coverage_audit.papers.figures import facts as report_facts
from coverage_audit.papers.figures.places import ground_places
from coverage_audit.papers.maps import live as map_view
from coverage_audit.papers.maps import still as static_map
from coverage_audit.papers.tolerances import ROWS_SHOWN

HOSTILE = "</title><script>alert(1)</script><img src=x onerror=alert(2)>\"'&"


def load_builder():
    """Load the module of made-up audits that lies beside this file."""
    spec = importlib.util.spec_from_file_location("audit_builder", Path(__file__).parents[1] / "audit_builder.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


builder = load_builder()


class Page(html.parser.HTMLParser):
    """Elements, attributes, visible words and script texts of a page."""

    def __init__(self, text):
        super().__init__()
        self.tags, self.attributes, self.words, self.scripts, self._open = [], [], [], [], []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        """Note the element; what follows in a script or style is not read by people."""
        self.tags.append(tag)
        self.attributes += [(tag, name, value or "") for name, value in attrs]
        if tag in {"script", "style"}:
            self._open.append(tag)
            self.scripts += [""] if tag == "script" else []

    def handle_endtag(self, tag):
        """Leave a script or style."""
        if self._open and self._open[-1] == tag:
            self._open.pop()

    def handle_data(self, data):
        """Sort text into words and scripts."""
        if not self._open:
            self.words.append(data)
        elif self._open[-1] == "script":
            self.scripts[-1] += data

    @property
    def text(self):
        """Words that a person reads, in one line."""
        return re.sub(r"\s+", " ", " ".join(self.words))


@pytest.fixture(scope="module")
def figure_page():
    return report.report_html(builder.worked_figure())


@pytest.fixture(scope="module")
def large_page():
    return report.report_html(builder.large_job())


# --- self-contained ---------------------------------------------------------------------------


def test_nothing_in_the_page_has_an_address_to_load(large_page):
    page = Page(large_page)
    loaded = [
        value for tag, name, value in page.attributes if name in {"src", "srcset", "data", "poster", "background"}
    ]
    links = [value for tag, name, value in page.attributes if tag == "link" and name == "href"]
    assert loaded == []
    assert links == ["data:,"]
    assert set(re.findall(r"url\(([^)]*)\)", re.sub(r"(?s)<script.*?</script>", "", large_page))) == {
        f"#hatch-{kind}"
        for kind in ("missed", "unknown", "double", "outside", "excludedsprayed", "byothers", "bridged", "dry")
    }
    assert "@import" not in large_page
    assert "cdn" not in large_page


def test_the_page_forbids_itself_every_request(figure_page):
    policies = [value for tag, name, value in Page(figure_page).attributes if tag == "meta" and name == "content"]
    assert "default-src 'none'; script-src 'unsafe-inline'; style-src 'unsafe-inline'; img-src data:" in policies


def test_the_library_needs_no_change_to_stand_in_a_script_element():
    """If this fails, Leaflet has text that ends a script element, and escaping outside a string would break it."""
    assert not re.search(r"<(/script|!--|script)", map_view.library_script(), re.IGNORECASE)
    assert "\\x3c/script" not in map_view.library_script()
    assert "url(" not in map_view.library_style()
    assert ".leaflet-container" in map_view.library_style()


def test_the_same_audit_gives_the_same_page(figure_page):
    assert figure_page == report.report_html(builder.worked_figure())


def test_corners_that_nobody_can_see_do_not_swell_the_page():
    # 40 000 corners, 3 cm apart, with 5 mm of noise round a 12 ha field: a megabyte if all were written out.
    rng = np.random.default_rng(7)
    turn = np.linspace(0, 2 * np.pi, 40_000, endpoint=False)
    radius = 195 + rng.normal(0, 0.005, turn.size)
    ground = shapely.Polygon(np.column_stack([radius * np.cos(turn) + 190, radius * np.sin(turn) + 160]))
    audit = builder.large_job()
    layers = dataclasses.replace(audit.layers, by_visits=(audit.layers.by_visits[0], ground, audit.layers.by_visits[2]))
    assert len(report.report_html(dataclasses.replace(audit, layers=layers))) < 400_000


# --- names from files are data ----------------------------------------------------------------


def hostile_audit():
    audit = builder.large_job()
    settings = dataclasses.replace(audit.job.settings, name=HOSTILE, operator=HOSTILE, crop=HOSTILE, notes=HOSTILE)
    entry = dataclasses.replace(audit.inputs[0], file=HOSTILE, form=HOSTILE, dropped={HOSTILE: 3}, notes={HOSTILE: 1})
    return dataclasses.replace(
        audit,
        job=dataclasses.replace(audit.job, settings=settings, sources=((HOSTILE, HOSTILE),)),
        inputs=(entry,),
        volume=type(audit.volume)(),
        sprayed_fields=(HOSTILE,),
        cautions=(Caution("no checksums", file=HOSTILE),),
        missed_strips=(dataclasses.replace(audit.missed_strips[0], where=HOSTILE), *audit.missed_strips[1:]),
    )


def test_names_from_files_open_no_element_and_reach_no_script(large_page):
    page, usual = Page(report.report_html(hostile_audit())), Page(large_page)
    assert page.tags.count("script") == usual.tags.count("script")
    assert "img" not in page.tags
    assert not any("alert(" in script for script in page.scripts)
    assert not any(name.startswith("on") for _, name, _ in page.attributes)
    assert page.text.count("<script>alert(1)</script>") >= 10  # shown as text, wherever it was read


# --- what it says -------------------------------------------------------------------------------


def test_the_verdict_stands_before_the_map_and_the_map_before_the_list(figure_page):
    places = [
        figure_page.index(f'id="{part}"')
        for part in ("verdict", "map", "figures", "walk", "care", "missed", "double", "charts", "method")
    ]
    assert places == sorted(places)


def test_the_picture_and_the_tables_can_be_read_aloud(figure_page):
    page = Page(figure_page)
    assert ("html", "lang", "en") in page.attributes
    assert figure_page.count("<table") == figure_page.count("<caption")
    assert all('scope="' in head for head in re.findall(r"<th\b[^>]*>", figure_page))
    assert 'role="img" aria-labelledby="still-title still-text"' in figure_page


def test_a_us_report_has_no_metric_figure():
    text = Page(report.report_html(builder.large_job("us"))).text
    assert re.findall(r"\d[\d,.]*\s(?:m|m²|km|ha|L|L/ha|km/h)(?![\w²/])", text) == []


def test_a_metric_report_has_no_us_figure(large_page):
    assert not re.search(r"\d\s(?:ft|ft²|mi|ac|gal|gal/ac|mph)\b", Page(large_page).text)


def test_every_figure_says_where_it_comes_from():
    groups = report_facts.fact_groups(builder.large_job())
    origins = {fact.origin for group in groups for fact in group.facts}
    assert origins == {"measured", "typed in", "assumed", "derived"}


def test_what_nobody_stated_is_told_as_assumed():
    def origin(name, audit):
        return next(f.origin for g in report_facts.fact_groups(audit) for f in g.facts if f.name == name)

    assert origin("Antenna ahead of the boom", builder.worked_figure()) == "assumed"
    assert origin("Antenna ahead of the boom", builder.large_job()) == "typed in"
    assert origin("Delay at switching off", builder.large_job()) == "assumed"
    assert origin("Setback along the boundary", builder.large_job()) == "typed in"


def test_fixes_not_used_are_told_by_reason(figure_page):
    assert "12 without a position" in Page(figure_page).text


def test_small_strips_fold_out(large_page):
    opened, folded = large_page.split('<section id="missed"')[1].split("</section>")[0].split("<details>", 1)
    assert opened.count('data-find="M') == ROWS_SHOWN
    assert folded.count('data-find="M') == 20 - ROWS_SHOWN
    assert "8 smaller ones" in folded


def test_places_beyond_the_field_are_listed_without_judging(large_page):
    text = Page(large_page).text
    assert 'data-find="O1"' in large_page
    assert 'data-find="N1"' in large_page
    assert not re.search(r"violat|illegal|breach|offen[cs]e", text, re.IGNORECASE)


def test_a_speck_outside_is_not_a_place():
    speck = shapely.box(0, 0, 0.9, 1.0)
    plot = shapely.box(5, 0, 7, 1.0)
    places = ground_places(shapely.union(speck, plot), "O", Plane(builder.ORIGIN), "metric")
    assert [place.size for place in places] == ["2.0\u00a0m²"]


def test_what_no_track_can_show_and_the_usual_cautions_stand_in_every_report(figure_page):
    text = Page(figure_page).text
    for words in ("Plugged", "empty tank", "boom too high", "Drift", "label", "re-entry", "protective", "inversion"):
        assert words in text


def test_a_job_without_findings_says_so():
    audit = dataclasses.replace(builder.worked_figure(), missed_strips=(), double_patches=())
    text = Page(report.report_html(audit)).text
    assert "None that this log can show." in text
    assert "None wide enough to list." in text


# --- the maps -----------------------------------------------------------------------------------


def test_the_map_holds_the_ground_it_claims(figure_page):
    """Areas in the page's own degrees, measured on the ellipsoid (Karney 2013, by pyproj.Geod)."""
    found = re.findall(r"layer_once_add\((\{.*?\})\);", figure_page)
    (feature,) = json.loads(found[0])["features"]
    ground = shapely.from_geojson(json.dumps(feature["geometry"]))
    area_m2 = abs(Geod(ellps="WGS84").geometry_area_perimeter(ground)[0])
    # Rounding to 1e-7 degree moves a corner by at most 0.8 cm; three bands have 3 x 2 x 100 m of long edge.
    assert area_m2 == pytest.approx(5_800, abs=600 * 0.008)


def test_north_is_up_in_the_still_picture():
    audit = builder.large_job()
    labels = dict(re.findall(r'y="([\d.]+)" text-anchor="middle">(M\d+)<', static_map.static_map(audit)))
    height = {name: float(y) for y, name in labels.items()}
    north = {strip.id: strip.label_point.y for strip in audit.missed_strips if strip.id in height}
    assert len(height) >= 2
    assert sorted(height, key=height.get) == sorted(north, key=north.get, reverse=True)


def test_the_still_picture_is_drawn_to_scale():
    """The worked field is 100 m wide with 3 % of margin on each side: 106 m across 720 px."""
    picture = static_map.static_map(builder.worked_figure())
    corners = re.search(r'class="map-field"[^>]* d="M([^Z]*)Z', picture)[1]
    x = [float(pair.split(",")[0]) for pair in corners.split()]
    assert max(x) - min(x) == pytest.approx(100 / 106 * 720, abs=0.2)  # coordinates have 0.1 px
    bar = re.search(r'class="bar" d="M12 \d+v6H([\d.]+)v-6"/><text[^>]*>20\u00a0m<', picture)
    assert float(bar[1]) - 12 == pytest.approx(20 / 106 * 720, abs=0.1)


@pytest.mark.parametrize(
    ("longest_m", "units", "expected_m"),
    [(26.5, "metric", 20), (50, "metric", 50), (9.99, "metric", 5), (40, "us", 30.48)],
)
def test_scale_bars_are_round_in_the_persons_unit(longest_m, units, expected_m):
    assert static_map.scale_length_m(longest_m, units) == pytest.approx(expected_m, rel=1e-12)


def test_a_sliver_narrower_than_the_simplifying_is_still_drawn():
    audit = builder.worked_figure()
    hair = shapely.box(0, 20, 100, 20.005)
    layers = dataclasses.replace(audit.layers, by_visits=(hair, *audit.layers.by_visits[1:]))
    page = report.report_html(dataclasses.replace(audit, layers=layers))
    feature = json.loads(re.findall(r"layer_perhaps_add\((\{.*?\})\);", page)[0])["features"][0]
    assert shapely.from_geojson(json.dumps(feature["geometry"])).length > 0


# --- charts ---------------------------------------------------------------------------------------


def chart(audit, title):
    return next((c for c in charts.charts(audit) if c.title == title), None)


def test_visits_chart_has_the_whole_target():
    bars = chart(builder.worked_figure(), "Target area by number of visits").bars
    assert [bar.label for bar in bars] == ["Missed", "Once", "Twice"]
    assert [bar.share for bar in bars] == pytest.approx([100 / 5800, 1.0, 100 / 5800])


def test_width_classes_have_each_missed_strip_once():
    audit = builder.large_job()
    bars = chart(audit, "Missed ground by mean width").bars
    assert sum(int(n) for bar in bars for n in re.findall(r"in (\d+)", bar.value)) == len(audit.missed_strips)


def test_no_rate_chart_without_a_volume():
    limited = builder.worked_figure(rate=builder.RateSettings(label_max_l_ha=150.0))
    audit = dataclasses.replace(limited, volume=builder.Volume(target_l_ha=140.0))
    assert chart(audit, "Rate") is None


def test_rate_chart_marks_the_intended_rate():
    rates = chart(builder.worked_figure(), "Rate")
    # 84 L over 0.59 ha is the highest rate; 140 L/ha lies at 140 / 142.37 of the axis.
    assert rates.mark == pytest.approx(140 / (84 / 0.59))
