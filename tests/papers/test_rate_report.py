"""The rate in the papers: summary, findings, page, picture and the files for map programs."""

import base64
import dataclasses
import io
import json
import re

import numpy as np
import pytest
import shapely
from jobs import worked_job
from PIL import Image
from pyproj import CRS, Transformer

from coverage_audit.jobs.settings import RateSettings, ReportSettings, TankSettings
from coverage_audit.papers.figures.rate_picture import RatePicture, indexed_png
from coverage_audit.papers.geojson import findings_geojson
from coverage_audit.papers.page import report_html
from coverage_audit.papers.rate_files import ascii_grid, rate_files
from coverage_audit.papers.summary import summary_dict, summary_json
from coverage_audit.papers.tolerances import GRID_CELLS
from coverage_audit.rate.classes import CLASS_EDGES, RAMP, class_edges, class_of
from coverage_audit.rate.model import RateCells
from coverage_audit.recipe.audit import audit_job
from coverage_audit.units import HECTARE_M2

RATE = RateSettings(100.0, flow_l_min=15.0, label_max_l_ha=150.0, tank=TankSettings(tank_l=45.0))


@pytest.fixture(scope="module")
def audit():
    return audit_job(worked_job(10.0, rate=RATE))


def test_summary_has_the_fixed_names(audit):
    found = json.loads(summary_json(audit))
    assert set(found["rate_bands"]) == {
        *("target_l_ha", "within_5pct_m2", "within_10pct_m2", "under_90pct_m2", "over_110pct_m2"),
        *("above_label_max_m2", "mean_l_ha", "cv"),
    }
    assert set(found["speed"]) == {"mean_m_s", "p05_m_s", "p95_m_s"}
    assert set(found["capacity"]) == {"theoretical_ha_h", "actual_ha_h", "field_efficiency"}
    assert found["volume_l"]["closure"] == pytest.approx(1.0, abs=1e-3)
    assert found["volume_l"]["standing"] == 0.0
    assert found["rate_bands"]["above_label_max_m2"] == pytest.approx(100, abs=0.6)


def test_what_is_not_known_is_null():
    found = summary_dict(audit_job(worked_job(1.0)))
    assert set(found["rate_bands"].values()) == {None}
    assert (found["volume_l"]["standing"], found["volume_l"]["closure"]) == (None, None)
    assert found["speed"]["mean_m_s"] is not None


def test_mean_and_spread_are_known_without_an_intended_rate():
    found = summary_dict(audit_job(worked_job(1.0, rate=RateSettings(flow_l_min=15.0))))["rate_bands"]
    assert found["mean_l_ha"] == pytest.approx(60 / 0.59, rel=1e-3)
    assert (found["target_l_ha"], found["within_10pct_m2"], found["above_label_max_m2"]) == (None, None, None)


def test_findings_name_dry_ground_and_places_above_the_labels_most(audit):
    features = json.loads(findings_geojson(audit))["features"]
    kinds = {one["properties"]["kind"]: one["properties"] for one in features}
    assert kinds["above label max"]["where"] == "overlap"
    assert kinds["above label max"]["area_m2"] == pytest.approx(100, abs=1)
    assert kinds["perhaps dry"]["where"] == "load 1"
    assert all(shapely.geometry.shape(one["geometry"]).is_valid for one in features)


# --- the page -------------------------------------------------------------------------------------


def test_page_tells_rate_causes_and_whose_say_it_is(audit):
    page = report_html(audit).replace("\u00a0", " ")
    assert "got within 10 % of the intended 100 L/ha" in page
    assert "passes overlap" in page
    assert "the label and your local authority decide" in page
    assert "Connected places of 1.0 m² or more" in page
    assert "perhaps dry from" in page
    assert "violation" not in page
    for row in re.findall(r'data-find="([AT]\d+)"', page):
        assert f'"id": "{row}"' in page  # every row of a list finds its shape on the map


def test_page_speaks_the_persons_units(audit):
    settings = dataclasses.replace(audit.job.settings, report=ReportSettings("us"))
    page = report_html(dataclasses.replace(audit, job=dataclasses.replace(audit.job, settings=settings)))
    section = page[page.index('<section id="rate"') : page.index("</section>", page.index('<section id="rate"'))]
    assert "gal/ac" in section
    assert "mph" in section
    assert not re.search(r"L/ha|km/h|\bm²", section)


def test_without_a_flow_the_page_says_so_and_has_no_picture():
    page = report_html(audit_job(worked_job(1.0)))
    assert "the rate on the ground is not known" in page
    assert "data:image/png" not in page


def test_the_rate_layer_adds_little_to_the_page(audit):
    """At most 0.3 MB is allowed for a field of 12 ha."""
    assert len(RatePicture(audit.rate.cells, 100.0).data_uri) < 0.02e6  # a twentieth of that field, many times less


# --- picture ----------------------------------------------------------------------------------------


def unpacked(png):
    """Colour numbers of the picture."""
    return np.asarray(Image.open(io.BytesIO(png)))


def test_the_picture_has_the_colours_of_the_classes_and_nothing_where_nothing_was_sprayed():
    image = np.array([[0, 1, 8]], np.uint8)
    shown = np.asarray(Image.open(io.BytesIO(indexed_png(image, ("#000000", *RAMP)))).convert("RGBA"))[0]
    assert shown[0, 3] == 0
    assert [f"#{r:02x}{g:02x}{b:02x}" for r, g, b, _ in shown[1:]] == [RAMP[0], RAMP[7]]


def test_picture_is_north_up_and_where_it_belongs():
    cells = RateCells(
        0.25, np.array([10, 11, 12]), np.array([4, 4, 6]), np.array([40.0, 100.0, 300.0]), *[np.ones(3)] * 2
    )
    picture = RatePicture(cells, 100.0)
    assert unpacked(base64.b64decode(picture.data_uri.split(",")[1])).tolist() == [[0, 0, 8], [4, 0, 0], [1, 0, 0]]
    assert picture.bounds_m == (1.0, 2.5, 1.75, 3.25)


def test_ramp_is_one_hue_whose_lightness_falls_evenly():
    """CIE 1976 lightness (from memory): even steps look even."""
    linear = [[(int(c[i : i + 2], 16) / 255 + 0.055) / 1.055 for i in (1, 3, 5)] for c in RAMP]
    luminance = [0.2126 * r**2.4 + 0.7152 * g**2.4 + 0.0722 * b**2.4 for r, g, b in linear]
    steps = -np.diff([116 * y ** (1 / 3) - 16 for y in luminance])
    assert steps.min() > 6
    assert steps.max() < 15


def test_classes_include_their_lower_edge():
    edges = class_edges(140.0)
    inner = np.array([edge * 140.0 for edge in CLASS_EDGES[:-1]])
    assert class_of(inner, edges).tolist() == [0, 1, 2, 3, 4, 5, 6, 7]
    assert class_of(np.nextafter(inner[1:] * 0.9999, 0), edges).tolist() == [0, 1, 2, 3, 4, 5, 6]
    assert class_of(np.array([1e6]), edges).tolist() == [7]


# --- files for map programs ---------------------------------------------------------------------------


def test_ascii_grid_holds_the_volume(audit):
    """Read by numpy: the sum over cells is what left the nozzles (0.1 L/ha steps; edge cells count whole)."""
    text = rate_files(audit)["rate.asc"]
    head = dict(line.split() for line in text.splitlines()[:6])
    grid = np.loadtxt(io.StringIO(text), skiprows=6)
    assert grid.shape == (int(head["nrows"]), int(head["ncols"]))
    some = grid != float(head["NODATA_value"])
    assert (grid[some] * 0.25**2).sum() / HECTARE_M2 == pytest.approx(60.0, rel=0.02)
    cells = audit.rate.cells
    north = int(cells.row.max())
    for k in range(0, len(cells.row), 5000):
        place = north - cells.row[k], cells.column[k] - int(cells.column.min())
        assert grid[place] == pytest.approx(cells.rate_l_ha[k], abs=0.051)


def test_a_wide_job_is_written_coarser():
    cells = RateCells(0.25, np.array([0, 40_000]), np.array([0, 40_000]), np.array([50.0, 70.0]), *[np.ones(2)] * 2)
    head = dict(line.split() for line in ascii_grid(cells).splitlines()[:6])
    assert float(head["cellsize"]) == 0.25 * 13
    assert int(head["nrows"]) * int(head["ncols"]) <= GRID_CELLS


def test_a_rate_beyond_whole_numbers_is_written_as_it_is():
    """Tenths of 1e30 L/ha are no 64-bit integer: cast to one they were a warning and nonsense in the file."""
    cells = RateCells(0.25, np.array([0, 1]), np.array([0, 1]), np.array([1e30, 70.0]), *[np.ones(2)] * 2)
    assert set(ascii_grid(cells).split("NODATA_value -9999")[1].split()) == {"1e+30", "70", "-9999"}


def test_projection_of_the_grid_is_the_plane(audit):
    """The .prj, read by PROJ, puts the plane's origin where it is."""
    back = Transformer.from_crs(CRS.from_wkt(rate_files(audit)["rate.prj"]), CRS.from_epsg(4326), always_xy=True)
    assert back.transform(0.0, 0.0) == pytest.approx((audit.origin.lon_deg, audit.origin.lat_deg), abs=1e-9)


def test_class_polygons_add_up(audit):
    features = json.loads(rate_files(audit)["rate_classes.geojson"])["features"]
    assert sum(one["properties"]["volume_l"] for one in features) == pytest.approx(60.0, rel=1e-6)
    assert sum(one["properties"]["area_m2"] for one in features) == pytest.approx(audit.area_m2.swept_net, rel=1e-3)


def test_the_command_writes_the_grid_when_asked(small_job, tmp_path, capsys):
    from coverage_audit.cli import command as cli  # noqa: PLC0415

    out = tmp_path / "out"
    arguments = ["check", str(small_job.path), "-o", str(out), "--quiet", "--rate-grid"]
    assert cli.main(arguments) == 2
    assert "no rate is known" in capsys.readouterr().err
    small_job.change("flow", '"15 L/min"', "rate")
    assert cli.main(arguments) == 0
    assert {"rate.asc", "rate.prj", "rate_classes.geojson"} <= {path.name for path in out.iterdir()}
