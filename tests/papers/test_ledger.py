"""A season's ledger as papers: the page, the table, the figures for programs, and the maps as GeoParquet."""

import csv
import dataclasses
import io
import json

import duckdb
import geopandas
import pyarrow.parquet
import pytest
import shapely
import shapely.affinity
from ledger_rows import PLACE, PRODUCT, row

from coverage_audit.drive.plane import Plane
from coverage_audit.ledger.model import (
    AbovePlace,
    FailedJob,
    FieldLedger,
    Ledger,
    Mended,
    PackedStrips,
    ProductSeason,
    StripRow,
)
from coverage_audit.papers import ledger_parquet
from coverage_audit.papers.ledger import LEDGER_PAPERS, ledger_files
from coverage_audit.papers.ledger_terminal import season_text
from coverage_audit.papers.words import season as words

NASTY = '=1+1<script>alert("x")</script>\u202e'
FIELD = Plane(PLACE).geometry_to_degrees(shapely.box(0, 0, 100, 60))
STRIP = Plane(PLACE).geometry_to_degrees(shapely.box(10, 0, 20, 20))
WHOLE = row(
    "jobs/a",
    name=NASTY,
    machine="quad",
    area_m2={"target": 6000.0, "covered": 5800.0, "missed": 200.0, "double": 50.0, "outside": None},
    over_covered_l_ha=160.0,
)
SMALL = row("jobs/b", start="2026-06-02T15:00:00Z", end="2026-06-02T15:10:00Z", machine="quad")
SEASON = ProductSeason(
    name=PRODUCT.name,
    reg_no="0000-11",
    unit="L",
    jobs=("jobs/a", "jobs/b"),
    used=2.0,
    most_per_ha=3.1,
    at_least_per_ha=3.1,
    max_per_season=2.4,
    above_m2=12.0,
    places=(AbovePlace(12.0, 3.1, -41.2, -70.5, ("jobs/a", "jobs/b")),),
    closing=1.0,
)
ONE = FieldLedger(
    field="East bench & more",
    jobs=(WHOLE, SMALL),
    products=(SEASON,),
    earliest_cut="2026-06-16",
    earliest_grazing=None,
    without_phi=(),
    without_grazing=(PRODUCT.name,),
    without_product=(),
    mended=(Mended("jobs/a", "M1", "jobs/b", 200.0, 150.0),),
    touchups=("jobs/b",),
    strips=(
        StripRow(
            "jobs/a", "M1", 200.0, 150.0, 0.0, 0.0, 20.0, 10.0, 10.0, "between passes", "spacing", shapely.to_wkb(STRIP)
        ),
    ),
    outlines=(shapely.to_wkb(FIELD),) * 2,
    shapes=(("field", shapely.to_wkb(FIELD)), ("missed", shapely.to_wkb(STRIP)), ("above", shapely.to_wkb(STRIP))),
)
LEDGER = Ledger("Larch Hollow", "2026", "metric", (ONE,), (FailedJob("jobs/c", "input", "track.gpx: it is empty"),))


@pytest.fixture(scope="module")
def papers():
    return ledger_files(LEDGER)


def shown(text):
    """Text of a page as a person sees it."""
    return " ".join(text.replace("\u00a0", " ").split())


def test_the_papers_are_those_that_are_named(papers):
    assert tuple(papers) == LEDGER_PAPERS


def test_the_page_tells_what_matters(papers):
    page = shown(papers["ledger.html"])
    for said in (
        "on 1 field some ground got more than a label's most per season",
        "Larkmoor 200 SL on 12 m² went beyond the 2.40 L/ha",
        "the spot that got most had 3.10 L/ha",
        "none: 0.70 L/ha too much",
        "Earliest cut by the intervals given, all jobs together: 16 Jun 2026.",
        "Earliest grazing: cannot be told, as no interval was given",
        "jobs/b sprayed 150 m² of the 200 m² in 1 strip",
        "1 job could not be audited",
        "track.gpx: it is empty",
        "passes too far apart",
        "left on purpose",
    ):
        assert said.replace("'", "&#39;") in page.replace("'", "&#39;"), said


def test_names_are_data_on_the_page_and_it_loads_nothing(papers):
    page = papers["ledger.html"]
    assert "<script" not in page
    assert "&lt;script&gt;" in page
    assert "\u202e" not in page
    assert "default-src 'none'" in page
    assert not [part for part in ("http://", "https://", "@import", "src=") if part in page]


def test_us_units_are_asked_for_everywhere():
    page = shown(ledger_files(dataclasses.replace(LEDGER, units="us"))["ledger.html"])
    assert "oz/ac" in page
    assert "gal/ac" in page
    assert not [unit for unit in (" m²", "L/ha", " ha<", " m<") if unit in page]


@pytest.mark.parametrize(
    ("unit", "value", "told"),
    [
        # NIST SP 811, from memory: 1 acre = 0.40468564224 ha, 1 US fl oz = 29.5735295625 mL, 1 lb = 0.45359237 kg
        ("L", 2.4, "32.8 oz/ac"),
        ("kg", 5.0, "4.46 lb/ac"),
    ],
)
def test_doses_in_us_units(unit, value, told):
    assert words.dose(value, unit, "us").replace("\u00a0", " ") == told


def test_unknown_doses_are_told_as_the_least_there_was():
    open_end = dataclasses.replace(SEASON, most_per_ha=None, unknown=("jobs/b",))
    assert words.used_so_far(open_end, "metric").startswith("at least 3.10")
    assert words.room_left(open_end, "metric") == "cannot be told"
    nothing = dataclasses.replace(open_end, at_least_per_ha=None, above_m2=None)
    assert words.used_so_far(nothing, "metric") == "cannot be told: no rate on the ground is known"
    told = words.support(
        dataclasses.replace(LEDGER, fields=(dataclasses.replace(ONE, products=(nothing,)),), failed=())
    )
    assert len(told) == 1
    assert told[0].startswith("Whether a label's most per season was passed cannot be told everywhere")


def test_sums_that_do_not_close_are_told():
    off = dataclasses.replace(ONE, products=(dataclasses.replace(SEASON, closing=0.998),))
    told = words.support(dataclasses.replace(LEDGER, fields=(off,)))
    assert any("is 0.9980 times what its jobs laid" in sentence for sentence in told)
    assert not any("times what its jobs laid" in sentence for sentence in words.support(LEDGER))


def test_season_json_holds_what_was_promised(papers):
    found = json.loads(papers["season.json"])
    assert found["schema"] == "coverage-audit season 1"
    done, _, failed = found["jobs"]
    assert (done["job"], done["field"], done["start"], done["state"], done["reason"]) == (
        *("jobs/a", "East bench & more", "2026-05-30T15:00:00Z", "done"),
        None,
    )
    assert [done["area_m2"][name] for name in ("target", "covered", "missed", "double")] == [6000, 5800, 200, 50]
    assert (failed["job"], failed["state"], failed["reason"]) == ("jobs/c", "failed", "track.gpx: it is empty")
    (field,) = found["fields"]
    product = field["products"][0]
    assert (field["field"], field["earliest_cut"]) == ("East bench & more", "2026-06-16")
    assert [product[name] for name in ("name", "most_per_ha", "max_per_season", "above_m2")] == [
        *("Larkmoor 200 SL", 3.1, 2.4, 12.0)
    ]


def test_the_table_has_a_row_a_job_and_no_formula(papers):
    rows = list(csv.DictReader(io.StringIO(papers["ledger.csv"])))
    assert [one["job"] for one in rows] == ["jobs/a", "jobs/b", "jobs/c"]
    assert rows[0]["name"].startswith("'=1+1")
    assert (rows[0]["missed_m2"], rows[0]["mended_m2"], rows[0]["outside_m2"]) == ("200.0", "150.0", "")
    assert (rows[2]["state"], rows[2]["reason"]) == ("failed", "track.gpx: it is empty")


def test_geoparquet_is_read_by_its_own_library(papers):
    jobs = geopandas.read_parquet(io.BytesIO(papers["jobs.parquet"]))
    strips = geopandas.read_parquet(io.BytesIO(papers["strips.parquet"]))
    assert (len(jobs), len(strips)) == (2, 1)
    assert jobs.crs.equals("OGC:CRS84")
    assert jobs.geometry.iloc[0].equals(FIELD)
    assert strips.loc[0, ["job", "strip", "cause", "mended_m2"]].tolist() == ["jobs/a", "M1", "spacing", 150.0]
    inside = geopandas.read_parquet(io.BytesIO(papers["strips.parquet"]), bbox=(-80, -50, -71, -42))
    assert len(inside) == 0


@pytest.mark.parametrize("at_once", [1, 2, 5000])
def test_strips_are_written_some_at_a_time_in_order_of_their_fields(monkeypatch, at_once):
    """A season has tens of thousands; those of a field wait packed, and each row keeps its ground."""
    monkeypatch.setattr(ledger_parquet, "ROWS_AT_ONCE", at_once)
    moved = [shapely.affinity.translate(STRIP, float(k)) for k in range(5)]
    rows = [
        dataclasses.replace(ONE.strips[0], strip=f"M{k}", area_m2=float(k), wkb=shapely.to_wkb(shape))
        for k, shape in enumerate(moved)
    ]
    fields = [
        dataclasses.replace(ONE, field=name, strips=PackedStrips.of(own))
        for name, own in (("A", rows[:3]), ("B", ()), ("C", rows[3:]))
    ]
    written = ledger_files(dataclasses.replace(LEDGER, fields=tuple(fields)))["strips.parquet"]
    assert pyarrow.parquet.ParquetFile(io.BytesIO(written)).num_row_groups == -(-5 // at_once)
    found = geopandas.read_parquet(io.BytesIO(written))
    assert found["strip"].tolist() == ["M0", "M1", "M2", "M3", "M4"]
    assert found["field"].tolist() == ["A", "A", "A", "C", "C"]
    assert [one.equals(shape) for one, shape in zip(found.geometry, moved, strict=True)] == [True] * 5


def test_a_season_without_strips_has_an_empty_file_of_them():
    bare = dataclasses.replace(LEDGER, fields=(dataclasses.replace(ONE, strips=()),))
    found = geopandas.read_parquet(io.BytesIO(ledger_files(bare)["strips.parquet"]))
    assert (len(found), "cause" in found) == (0, True)


def test_geoparquet_says_of_itself_what_the_standard_asks(papers):
    """GeoParquet 1.1 (OGC): file metadata "geo" with version, columns and the covering of the primary one."""
    found = pyarrow.parquet.read_schema(io.BytesIO(papers["strips.parquet"]))
    geo = json.loads(found.metadata[b"geo"])
    column = geo["columns"][geo["primary_column"]]
    assert (geo["version"], column["encoding"]) == ("1.1.0", "WKB")
    assert column["covering"]["bbox"]["xmin"] == ["bbox", "xmin"]
    assert {one.name for one in found.field("bbox").type} == {"xmin", "ymin", "xmax", "ymax"}


def test_geoparquet_is_read_by_another_program(papers, tmp_path):
    """DuckDB reads Parquet by code of its own; the box of each row is plain numbers, the ground well-known binary."""
    path = tmp_path / "strips.parquet"
    path.write_bytes(papers["strips.parquet"])
    read = duckdb.read_parquet(str(path)).project("strip, bbox.xmin, bbox.ymax, area_m2").fetchall()
    ((name, *box, area),) = read
    assert (name, area) == ("M1", 200.0)
    assert box == [STRIP.bounds[0], STRIP.bounds[3]]


def test_without_the_library_of_geoparquet_the_other_papers_are_there(papers, monkeypatch):
    monkeypatch.setattr(ledger_parquet.importlib.util, "find_spec", lambda _name: None)
    assert set(papers) - set(ledger_files(LEDGER)) == {"jobs.parquet", "strips.parquet"}


def test_a_season_without_a_finished_job_has_papers_too():
    found = ledger_files(Ledger("Larch Hollow", "2026", "metric", (), LEDGER.failed))
    assert "0 jobs" in shown(found["ledger.html"])
    assert len(geopandas.read_parquet(io.BytesIO(found["jobs.parquet"]))) == 0


def test_the_terminal_says_it_in_lines():
    told = season_text(LEDGER, 0).replace("\u00a0", " ")
    assert told.startswith("Larch Hollow, season 2026: 3 jobs, nothing had to be audited.")
    assert "  jobs/c: track.gpx: it is empty" in told
    many = dataclasses.replace(LEDGER, failed=LEDGER.failed * 12)
    assert "  and 2 more, in ledger.html" in season_text(many, 3)
