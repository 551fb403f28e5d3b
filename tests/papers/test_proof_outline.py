"""What a proof shows of a field does not find the field among others like it; a bar says how much is proven.

The attack in ``outline_attack`` is judged too: drawings that are like the field must give it away.
"""

import dataclasses
import io
import re
from decimal import Decimal

import numpy as np
import outline_attack
import pypdf
import pytest
import shapely
from jobs import worked_job
from shapely import affinity

from coverage_audit.papers.proof.page import page_of
from coverage_audit.papers.proof.pdf import pdf_of
from coverage_audit.papers.proof.picture import bar_of
from coverage_audit.papers.proof.record import buyer_record, grower_record
from coverage_audit.recipe.audit import audit_job

TIME = "2026-06-30T12:00:00Z"
FIELDS, DRAWN, COPIES = 1000, 60, 3
CHANCE = (FIELDS + 1) / 2
SPREAD = np.sqrt((FIELDS**2 - 1) / 12)
"""Mean and standard deviation of a rank that is drawn by lot from 1 ... 1000."""


@pytest.fixture(scope="module")
def pool():
    return outline_attack.Pool(outline_attack.like_fields(np.random.default_rng(5), FIELDS))


@pytest.fixture(scope="module")
def audit():
    return audit_job(worked_job(10.0))


def on_field(audit, shape):
    """*audit* as if its figures were those of a field of another shape."""
    return dataclasses.replace(audit, layers=dataclasses.replace(audit.layers, field=shape))


def copy_for_a_buyer(audit, place, secret):
    return buyer_record(grower_record([audit], TIME), audit, place, secret.hex())


def drawing(record):
    """The outline that a record shows, None when it shows none."""
    outline = record["map"]["outline"]
    shape = shapely.Polygon(outline).buffer(0) if len(outline) > 2 else None
    return shape if shape is None or shape.geom_type == "Polygon" else max(shape.geoms, key=lambda one: one.area)


def chosen(count):
    """Numbers of the fields that are drawn, and their areas from 1 to 60 ha. [m2]"""
    rng = np.random.default_rng(6)
    return rng.choice(FIELDS, count, replace=False).tolist(), np.exp(rng.uniform(np.log(1e4), np.log(6e5), count))


def at_size(shape, area_m2):
    return affinity.scale(shape, np.sqrt(area_m2), np.sqrt(area_m2), origin=(0, 0))


# --- the attack has teeth ----------------------------------------------------------------------------------


def test_an_outline_that_is_smoothed_and_turned_gives_the_field_away(pool):
    """Rounded by a tenth of its size: by lot 20 fields would come first 0.02 times."""
    rng = np.random.default_rng(7)
    drawings = {}
    for number in chosen(20)[0]:
        shape = pool.fields[number].shape
        smooth = max(shapely.get_parts(shape.buffer(0.1).buffer(-0.2).buffer(0.1)), key=lambda one: one.area)
        drawings[number] = [affinity.rotate(smooth, rng.uniform(0, 360))]
    found = outline_attack.ranks(pool, drawings)
    assert max((one == 1).sum() for one in found.values()) >= 10
    assert found["all together"].mean() < 100


def test_corners_moved_along_their_rays_give_the_field_away(pool):
    """The ways from the middle to the corners stay, and name the field however far each corner is moved."""
    rng = np.random.default_rng(8)
    corners = [
        shapely.get_coordinates(shapely.segmentize(hull, hull.length / 9))[:-1]
        for hull in (shapely.simplify(one.shape, 0.1).convex_hull for one in pool.fields[:150])
    ]
    first = 0
    for number in range(0, 150, 15):
        moved = corners[number] * rng.uniform(0.3, 1.9, (len(corners[number]), 1)) @ [[0.6, 0.8], [-0.8, 0.6]] + 3
        off = [outline_attack.on_rays(moved, own) for own in corners]
        first += int(np.argmin(off)) == number
    assert first == 10


# --- what a proof shows ------------------------------------------------------------------------------------


@pytest.mark.parametrize("place", ["blurred", "none"])
def test_what_is_shown_finds_the_field_no_better_than_by_lot(pool, audit, place):
    """Of 60 fields at most one comes first among 1 000 (two by lot: 0.2 %), and their mean rank is that of a lot.

    Three standard errors either way: a drawing that avoids the field's shape would give it away as the last one.
    Several proofs of one field, with other secrets, are averaged.
    """
    rng = np.random.default_rng(9)
    drawings = {}
    for number, area_m2 in zip(*chosen(DRAWN), strict=True):
        own = on_field(audit, at_size(pool.fields[number].shape, area_m2))
        drawings[number] = [drawing(copy_for_a_buyer(own, place, rng.bytes(32))) for _ in range(COPIES)]
    slack = 3 * SPREAD / np.sqrt(DRAWN)
    for name, ranks in outline_attack.ranks(pool, drawings).items():
        assert (ranks == 1).sum() <= 1, name
        assert abs(ranks.mean() - CHANCE) <= slack, name


@pytest.mark.parametrize("place", ["blurred", "none"])
def test_nothing_shown_depends_on_the_shape_or_the_place_of_a_strip(audit, place):
    """Only the commitments differ between a field and another one with the same figures."""
    other = on_field(audit, shapely.Polygon([(0, 0), (300, 0), (0, 40)]))
    moved = [dataclasses.replace(one, polygon=affinity.translate(one.polygon, 9, 5)) for one in audit.missed_strips]
    other = dataclasses.replace(other, missed_strips=type(audit.missed_strips)(moved))
    one, another = (copy_for_a_buyer(each, place, bytes(32)) for each in (audit, other))
    assert one.pop("commitments") != another.pop("commitments")
    assert one == another


# --- the bar -----------------------------------------------------------------------------------------------


def test_the_bar_shares_out_the_ground_to_be_sprayed(audit):
    """Worked field: 100 of 6 000 m2 missed, 98.33 % as logged; a little less with the receiver's error."""
    record = copy_for_a_buyer(audit, "blurred", bytes(32))
    page = page_of(record)
    share = Decimal(record["figures"]["proven_share"]["value"])
    assert Decimal(95) < share <= Decimal("98.33")
    assert f'<rect class="missed" x="{share}" width="{100 - share}" height="8"/>' in page
    assert 'class="outline"' not in page
    assert f"Pale: {int(share)} % proven covered. Black: {100 - int(share)} % not proven" in page
    assert "There is no map" in page
    assert "A blurred map is not drawn" in page


def test_the_pdf_draws_the_same_bar(audit):
    record = copy_for_a_buyer(audit, "blurred", bytes(32))
    first = pypdf.PdfReader(io.BytesIO(pdf_of(record))).pages[0]
    words = " ".join(first.extract_text().split())
    assert bar_of(record).words in words
    assert "There is no map: the seller keeps the field's shape and place back" in words
    boxes = re.findall(rb"^([\d.]+) ([\d.]+) ([\d.]+) -[\d.]+ re (\S)", first.get_contents().get_data(), re.MULTILINE)
    (left, _, whole, how), (start, _, black, _) = boxes[:2]
    assert how == b"B"
    assert float(black) / float(whole) == pytest.approx(
        float(bar_of(record).rest) / 100, abs=1e-4
    )  # places are written to 0.01 pt
    assert float(start) + float(black) == pytest.approx(float(left) + float(whole), abs=0.02)


def test_a_bar_without_a_rest_has_no_black():
    record = {"figures": {key: {"value": "100.00"} for key in ("proven_share", "logged_share")}}
    assert (bar_of(record).proven, bar_of(record).rest) == (100, 0)


def test_an_exact_copy_has_both_map_and_bar(audit):
    page = page_of(copy_for_a_buyer(audit, "exact", bytes(32)))
    assert page.count('class="outline"') == 1
    assert 'class="proven"' in page


def test_an_outline_is_drawn_only_where_the_place_is_exact(audit):
    """A record that carries a shape all the same shows none: its words say that there is no map."""
    exact, hidden = (copy_for_a_buyer(audit, place, bytes(32)) for place in ("exact", "blurred"))
    assert 'class="outline"' not in page_of({**hidden, "map": exact["map"]})
    assert pdf_of({**hidden, "map": exact["map"]}).count(b" l\n") == pdf_of(hidden).count(b" l\n")
